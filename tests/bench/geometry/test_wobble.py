"""Wobble of a plate, against a tilted plane, scipy's least squares and simulation."""

import numpy as np
import pytest
from everyday import ci
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.columns import GeometryError
from bench.geometry.wobble import wobble

EIGHT = np.radians(np.arange(0, 360, 45))


def test_a_tilted_plane_swings_by_its_diameter_times_its_lean():
    """Points of a real plane turned about its axis (3-D rotation), read at radius 110: swing 2 r sin(lean)."""
    lean, axis, radius = 0.0003, 1.1, 110.0
    readings = []
    for turn in EIGHT:
        # height along the arbor of the plate's point that stands at the indicator after this turn
        point = radius * np.array([np.cos(turn), np.sin(turn)])
        readings.append(np.sin(lean) * (point @ [np.cos(axis), np.sin(axis)]))
    found = wobble(EIGHT, readings)
    assert found.tilt == pytest.approx(2 * radius * np.sin(lean))
    assert found.phase == pytest.approx(axis)
    assert found.warp == pytest.approx(0.0, abs=1e-9)


def test_warp_is_what_the_tilt_leaves():
    found = wobble(EIGHT, 0.03 * np.cos(EIGHT - 2.0) + 0.01 * np.cos(2 * EIGHT))
    assert found.tilt == pytest.approx(0.06)
    assert found.warp == pytest.approx(0.02)
    assert found.phase == pytest.approx(2.0)
    assert found.total == pytest.approx(np.ptp(_form(np.linspace(0, 2 * np.pi, 36001))), abs=1e-8)
    assert found.turns == 8 and found.degrees_of_freedom == 3


def _form(turn):
    return 0.03 * np.cos(turn - 2.0) + 0.01 * np.cos(2 * turn)


def test_peaks_between_the_marks_are_in_the_total():
    """The marks lie 22.5 degrees off the crests of a plate of two and three waves."""
    turns = np.concatenate((EIGHT, EIGHT + 2 * np.pi))

    def form(turn):
        return 0.03 * np.cos(turn - np.pi / 8) + 0.004 * np.cos(2 * turn) + 0.006 * np.cos(3 * turn - 1.0)

    found = wobble(turns, form(turns) + np.repeat([-1e-4, 1e-4], 8))
    fine = np.linspace(0, 2 * np.pi, 36001)
    assert found.total == pytest.approx(np.ptp(form(fine)), abs=2e-4) and found.total > np.ptp(form(turns))
    assert found.warp == pytest.approx(np.ptp(form(fine) - 0.03 * np.cos(fine - np.pi / 8)), abs=2e-4)


def test_a_flat_plate_shows_no_warp_beyond_its_uncertainty():
    rng = np.random.default_rng(5)
    found = [wobble(np.repeat(EIGHT, 2), rng.normal(0, 0.001, 16)) for _ in range(200)]
    assert np.mean([f.warp <= 2.2 * f.u_warp for f in found]) >= 0.9  # t of 11, 95 %; of 200
    assert np.mean([f.tilt <= 2.2 * f.u_tilt for f in found]) >= 0.9


@given(st.integers(0, 10**6), st.integers(9, 20))
def test_uneven_turns_with_a_warp_agree_with_a_general_least_squares(seed, n):
    from scipy.optimize import least_squares

    rng = np.random.default_rng(seed)
    turns = (np.arange(n) + rng.uniform(-0.2, 0.2, n)) * 2 * np.pi / n
    readings = _form(turns) + rng.normal(0, 1e-4, n)
    found = wobble(turns, readings)
    waves = 3 if n >= 10 else 2
    assert found.harmonics == waves and found.degrees_of_freedom == n - 1 - 2 * waves
    rows = np.column_stack(
        [np.ones(n), *(f(k * turns) for k in range(1, waves + 1) for f in (np.cos, np.sin))]
    )
    other = least_squares(lambda p: rows @ p - readings, np.zeros(1 + 2 * waves), xtol=1e-15, gtol=1e-15).x
    noise = np.sum((rows @ other - readings) ** 2) / (n - 1 - 2 * waves) * np.linalg.inv(rows.T @ rows)
    clean = []
    for at in range(1, other.size, 2):
        square = np.sum(other[at : at + 2] ** 2)
        left = max(0.0, square - noise[at, at] - noise[at + 1, at + 1])
        clean += list(other[at : at + 2] * np.sqrt(left / square))
    assert found.tilt == pytest.approx(2 * np.hypot(*clean[:2]), abs=1e-7)
    fine = np.linspace(0, 2 * np.pi, 36001)
    rest = sum(
        c * np.cos(k * fine) + s * np.sin(k * fine)
        for k, c, s in zip(range(2, waves + 1), clean[2::2], clean[3::2], strict=True)
    )
    assert found.warp == pytest.approx(np.ptp(rest), abs=1e-7)


@given(st.integers(0, 10**6), st.integers(3, 5))
def test_uneven_turns_agree_with_a_general_least_squares(seed, n):
    from scipy.optimize import least_squares

    rng = np.random.default_rng(seed)
    turns = (np.arange(n) + rng.uniform(-0.3, 0.3, n)) * 2 * np.pi / n
    readings = rng.normal(0, 0.05, n)
    found = wobble(turns, readings)
    other = least_squares(
        lambda p: p[0] + p[1] * np.cos(turns) + p[2] * np.sin(turns) - readings,
        np.zeros(3),
        xtol=1e-15,
        gtol=1e-15,
    )
    assert found.tilt == pytest.approx(2 * np.hypot(other.x[1], other.x[2]), abs=1e-7)
    assert found.warp == pytest.approx(np.ptp(other.fun), abs=1e-7)
    assert 0.0 <= found.phase < 2 * np.pi
    assert found.total == pytest.approx(max(np.ptp(readings), found.tilt))


@given(st.integers(0, 10**6), st.floats(0.0, 6.28), st.floats(-1.0, 1.0))
def test_where_counting_begins_changes_only_the_phase(seed, start, offset):
    rng = np.random.default_rng(seed)
    readings = rng.normal(0, 0.05, 8)
    plain, moved = wobble(EIGHT, readings), wobble(EIGHT + start, readings + offset)
    for name in ("total", "tilt", "warp", "u_tilt", "u_warp"):
        assert getattr(moved, name) == pytest.approx(
            getattr(plain, name), abs=1e-6
        )  # peaks are looked for step by step
    assert np.cos(moved.phase - plain.phase - start) == pytest.approx(1.0, abs=1e-7)
    upside_down = wobble(EIGHT, -readings)
    assert np.cos(upside_down.phase - plain.phase) == pytest.approx(-1.0, abs=1e-7)
    assert upside_down.tilt == pytest.approx(plain.tilt)


@pytest.mark.parametrize("repeats", [pytest.param(1, marks=pytest.mark.ci), 3])
def test_the_uncertainties_are_the_scatter_over_many_plates(repeats):
    rng = np.random.default_rng(3)
    turns = np.concatenate([EIGHT + 2 * np.pi * k for k in range(repeats)])
    form = 0.03 * np.cos(turns - 1.0) + 0.01 * np.cos(2 * turns)
    found = [wobble(turns, form + rng.normal(0, 0.002, turns.size)) for _ in range(300)]

    def ratio(name):
        said = np.sqrt(np.mean([getattr(f, "u_" + name) ** 2 for f in found]))
        return said / np.std([getattr(f, name) for f in found])

    assert ratio("tilt") == pytest.approx(1.0, abs=0.15)
    assert ratio("phase") == pytest.approx(1.0, abs=0.15)
    # a third harmonic that is lost in noise is taken for none: never less than the scatter
    assert 0.85 <= ratio("warp") <= 1.25
    assert ratio("total") == pytest.approx(1.0, abs=0.15)
    assert found[0].degrees_of_freedom == (3 if repeats == 1 else 17)


def _turned(rng, times, again):
    """A plate at eight marks, each stopped at a little off, the arbor floating from turning to turning."""
    turns, readings = [], []
    for mark in EIGHT:
        for k in range(times):
            if k == 0 or again:
                off, x = rng.normal(0, 0.015), rng.normal(0, 0.003)
            turns.append(mark + 2 * np.pi * k * again)
            readings.append(_form(mark + off) + x + rng.normal(0, 0.0005))
    return wobble(turns, readings)


@pytest.mark.parametrize(("plates", "least"), [(100, 0.88), ci((300, 0.93))])
@pytest.mark.parametrize("again", [True, False])
def test_readings_on_one_turning_do_not_hide_how_turnings_differ(again, plates, least):
    """The truth lies within t standard uncertainties in 95 of 100 plates, less what so many plates may show."""
    from scipy.stats import t

    rng = np.random.default_rng(11)
    truth = {"total": np.ptp(_form(np.linspace(0, 2 * np.pi, 7201))), "tilt": 0.06, "warp": 0.02}
    found = [_turned(rng, 2, again) for _ in range(plates)]
    for name, true in truth.items():
        within = [
            abs(getattr(f, name) - true) <= t.ppf(0.975, f.degrees_of_freedom) * getattr(f, "u_" + name)
            for f in found
        ]
        assert np.mean(within) >= least, name


def test_a_warp_on_few_uneven_turns_widens_the_tilt():
    uneven = np.radians([0, 60, 150, 250])
    turns = np.repeat(uneven, 3)
    noise = np.tile([-0.0001, 0.0, 0.0001], 4)
    flat = wobble(turns, 0.03 * np.cos(turns) + noise)
    warped = wobble(turns, 0.03 * np.cos(turns) + 0.01 * np.cos(2 * turns + 1.0) + noise)
    assert warped.u_tilt > 10 * flat.u_tilt
    assert abs(warped.tilt - 0.06) <= 2 * warped.u_tilt


@pytest.mark.parametrize("phase", np.linspace(0.0, np.pi, 7))
def test_one_mark_between_four_shows_a_warp_whichever_way_it_lies(phase):
    turns = np.repeat(np.radians([0, 45, 90, 180, 270]), 2)
    found = wobble(turns, 0.03 * np.cos(turns - 0.4) + 0.01 * np.cos(2 * turns - phase))
    assert found.harmonics == 2 and found.warp == pytest.approx(0.02, rel=1e-6)
    assert found.tilt == pytest.approx(0.06, rel=1e-6)


def test_three_turns_read_once_tell_no_uncertainty():
    found = wobble(np.radians([0, 120, 240]), [0.0, 0.01, 0.02])
    assert (found.u_total, found.u_tilt, found.u_warp, found.u_phase) == (None, None, None, None)
    assert found.degrees_of_freedom == 0
    assert found.warp == pytest.approx(0.0, abs=1e-12)


def test_a_full_turn_is_the_first_mark_again():
    assert wobble(np.radians([0, 90, 180, 270, 360]), [0.0, 0.01, 0.0, -0.01, 0.002]).turns == 4


def test_a_still_plate_has_no_direction():
    found = wobble(EIGHT, np.zeros(8))
    assert (found.tilt, found.phase) == (0.0, 0.0)
    assert found.u_phase == pytest.approx(np.pi / np.sqrt(3))


@pytest.mark.parametrize(
    ("turns", "readings", "says"),
    [
        ([0.0, 1.0], [0.0, 0.0], "three"),
        ([0.0, 1e-4, 2e-4, 3e-4], [0.0] * 4, "too close together"),
    ],
)
def test_what_cannot_be_worked_out_says_why(turns, readings, says):
    with pytest.raises(GeometryError, match=says):
        wobble(turns, readings)

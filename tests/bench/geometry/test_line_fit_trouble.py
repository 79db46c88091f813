"""The line fit on dirt, steps, rests, counts and rubbish; and what must hold for any sweep."""

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from bench.geometry.cells import count_seen, moving
from bench.geometry.line_fit import fit_sweep

SLOPE = 3e-4


def sweep(
    seed: int, n: int = 240, noise: float = 0.0015, count: float = 0.001
) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    s = np.linspace(0, 220, n) + rng.uniform(-0.2, 0.2, n)
    r = 2 + SLOPE * s + rng.normal(0, noise, n)
    return s, np.round(r / count) * count


def within(fit, truth: float = SLOPE, factor: float = 3.5) -> bool:
    return fit.refused is None and abs(fit.slope - truth) < factor * fit.standard_uncertainty


def test_gullet_is_set_aside_and_shown() -> None:
    s, r = sweep(1)
    r[60:110] -= 0.8
    fit = fit_sweep(s, r)
    assert within(fit)
    assert fit.aside[60:110].all()
    assert fit.set_aside == fit.aside.sum() < 54
    assert abs(np.polyfit(s, r, 1)[0] - SLOPE) > 30 * fit.standard_uncertainty


def test_plunger_off_the_end() -> None:
    s, r = sweep(2)
    r[-40:] -= np.minimum(np.arange(40) * 0.2, 2.5)
    fit = fit_sweep(s, r)
    assert within(fit)
    assert fit.aside[-38:].all()
    assert fit.stop < 190


def test_more_than_a_third_is_a_message() -> None:
    rng = np.random.default_rng(3)
    s, r = sweep(3)
    dirty = rng.permutation(240)[:100]
    r[dirty] += rng.uniform(0.1, 2, 100)
    fit = fit_sweep(s, r)
    assert fit.refused is not None
    assert fit.refused.code == "pass-dirty"


@pytest.mark.parametrize("size", [0.01, -0.01, 0.05, 2.5])
@pytest.mark.parametrize("part", [0.3, 0.5, 0.7])
def test_step_is_refused(size: float, part: float) -> None:
    s, r = sweep(4)
    r[int(240 * part) :] += size
    fit = fit_sweep(s, r)
    assert fit.refused is not None
    assert fit.refused.code == "pass-jumps"
    assert fit.refused.values["at"] == pytest.approx(220 * part, abs=12 if abs(size) < 0.02 else 2)


def test_clean_sweeps_are_not_refused() -> None:
    assert all(fit_sweep(*sweep(seed)).refused is None for seed in range(60))


def test_a_dwell_does_not_draw_the_line() -> None:
    """Half of all readings at one place on a bump of the edge: weights by count alone keep the bump whole."""
    s, r = sweep(5)
    bump = 0.02 * np.exp(-(((s - 200) / 12) ** 2))
    r = r + bump
    at = int(np.argmax(bump))
    rng = np.random.default_rng(5)
    held_s = s[at] + rng.uniform(0, 0.01, 240)
    held_r = np.round(r[at] + rng.normal(0, 0.001, 240), 3)
    moved = fit_sweep(s, r)
    dwelt = fit_sweep(np.concatenate([s[:at], held_s, s[at:]]), np.concatenate([r[:at], held_r, r[at:]]))
    by_count = np.polyfit(np.concatenate([s, held_s]), np.concatenate([r, held_r]), 1)[0]
    assert abs(dwelt.slope - moved.slope) < 3e-6
    assert abs(by_count - np.polyfit(s, r, 1)[0]) > 30e-6


def test_bowed_arm_and_slowing_sled() -> None:
    """A symmetrical bow has no slope; readings that crowd at one end would give it one of about 30 urad."""
    t = np.linspace(0, 1, 400)
    s = (t - 0.4 * t**2) / 0.6 * 220
    r = 1 + SLOPE * s + 0.02 * (1 - (s / 110 - 1) ** 2) + np.random.default_rng(6).normal(0, 0.001, 400)
    fit = fit_sweep(s, r, resolution=0.001)
    assert within(fit)
    assert fit.standard_uncertainty < 4e-6
    assert abs(np.polyfit(s, r, 1)[0] - SLOPE) > 15e-6


def test_rests_are_seen_with_and_without_a_clock() -> None:
    s = np.concatenate([np.linspace(0, 100, 100), np.full(80, 100.0), np.linspace(100, 220, 120)])
    assert not moving(s)[105:175].any()
    assert moving(s)[:95].all()
    at = np.concatenate([np.arange(100) * 0.05, 5 + np.arange(80) * 0.5, 45 + np.arange(120) * 0.05])
    assert not moving(s, at)[105:175].any()
    even = np.linspace(0, 220, 300)
    assert moving(np.round(even / 0.5) * 0.5).all()  # a coarse travel scale is not a row of rests


def test_a_stray_mark_is_found_among_nine() -> None:
    s = np.arange(25.0, 226.0, 25.0)
    r = np.round(1 + SLOPE * s + np.random.default_rng(7).normal(0, 0.002, 9), 3)
    r[3] -= 0.3
    fit = fit_sweep(s, r)
    assert list(np.flatnonzero(fit.aside)) == [3]
    assert within(fit)
    assert fit.degrees_of_freedom == pytest.approx(6)


def test_marks_read_several_times() -> None:
    rng = np.random.default_rng(8)
    s = np.repeat(np.arange(25.0, 226.0, 25.0), 5)
    r = np.round(1 + SLOPE * s + np.repeat(rng.normal(0, 0.002, 9), 5) + rng.normal(0, 0.0003, 45), 3)
    r[17] += 10
    fit = fit_sweep(s, r)
    assert fit.aside[17]
    assert fit.set_aside == 1
    assert within(fit)
    assert fit.degrees_of_freedom < 8  # nine places, not 45


@pytest.mark.parametrize(
    ("travel", "reading", "code"),
    [
        ([], [], "pass-few-readings"),
        ([1.0, 2.0, 3.0], [1.0, 2.0, 3.0], "pass-few-readings"),
        ([5.0] * 50, list(np.linspace(0, 1, 50)), "pass-without-travel"),
        ([0.0, 100.0] * 30, [1.0, 1.1] * 30, "pass-few-places"),
    ],
)
def test_rubbish_is_refused_with_its_reason(travel: list[float], reading: list[float], code: str) -> None:
    fit = fit_sweep(travel, reading)
    assert fit.refused is not None
    assert fit.refused.code == code and fit.refused.severity == "refused"
    assert fit.aside.size == len(travel)


def test_wrong_use_raises() -> None:
    with pytest.raises(ValueError, match="one height"):
        fit_sweep([1.0, 2.0], [1.0])
    with pytest.raises(ValueError, match="finite"):
        fit_sweep([1.0, 2.0, np.nan, 4.0], [1.0, 2.0, 3.0, 4.0])


def test_only_the_stretch_is_fitted() -> None:
    s, r = sweep(9)
    r = r + np.where(s > 150, 0.002 * (s - 150), 0.0)
    fit = fit_sweep(s, r, stretch=(0.0, 150.0))
    assert within(fit)
    assert fit.stop <= 150
    assert fit.readings == ((s >= 0) & (s <= 150)).sum()


@pytest.mark.parametrize("count", [0.01, 0.001, 0.005, 0.0005, 0.02, 0.0254, 0.00254, 0.00127])
def test_count_is_seen(count: float) -> None:
    s = np.linspace(0, 220, 300)
    r = np.round((2 + 5e-4 * s + np.random.default_rng(1).normal(0, count, 300)) / count) * count
    assert count_seen(r) == pytest.approx(count)


def test_no_count_on_no_grid() -> None:
    assert count_seen(np.random.default_rng(2).normal(0, 0.01, 50)) == 0
    assert count_seen(np.full(9, 1.25)) == 0


def test_all_readings_alike() -> None:
    fit = fit_sweep(np.linspace(0, 220, 200), np.full(200, 1.25), resolution=0.01)
    assert fit.refused is None
    assert fit.slope == pytest.approx(0, abs=1e-15)
    assert np.isfinite(fit.standard_uncertainty)
    assert fit.residual_spread == pytest.approx(0, abs=1e-12)


numbers = st.floats(-20, 20, allow_nan=False)


@given(
    seed=st.integers(0, 10_000),
    n=st.sampled_from([8, 9, 30, 120, 300]),
    tilt=st.floats(-0.002, 0.002),
    shift=numbers,
    along=st.floats(-300, 300),
)
def test_a_tilted_and_shifted_surface_reads_tilted_and_shifted(
    seed: int, n: int, tilt: float, shift: float, along: float
) -> None:
    s, r = sweep(seed, n, count=1e-6)
    r[n // 3 : n // 3 + n // 9] += 0.3
    plain = fit_sweep(s, r, resolution=0.001)
    moved = fit_sweep(s + along, r + tilt * s + shift, resolution=0.001)
    assert (moved.refused and moved.refused.code) == (plain.refused and plain.refused.code)
    if plain.refused is None:
        assert moved.slope - tilt == pytest.approx(plain.slope, abs=0.05 * plain.standard_uncertainty)
        assert moved.standard_uncertainty == pytest.approx(plain.standard_uncertainty, rel=0.02)


@given(
    seed=st.integers(0, 10_000),
    n=st.sampled_from([8, 30, 120, 300]),
    factor=st.sampled_from([0.1, 25.4, 4.0]),
)
def test_units_order_and_mirror_do_not_matter(seed: int, n: int, factor: float) -> None:
    s, r = sweep(seed, n, count=1e-6)
    r[n // 2 : n // 2 + n // 9] -= 0.2
    plain = fit_sweep(s, r, resolution=0.001)
    small = 0.3 * plain.standard_uncertainty
    bigger = fit_sweep(s * factor, r * factor, resolution=0.001 * factor)
    assert bigger.slope == pytest.approx(plain.slope, abs=1e-3 * small)
    back = fit_sweep(s[::-1], r[::-1], resolution=0.001)
    assert back.slope == pytest.approx(plain.slope, abs=1e-6 * small)
    assert (back.aside[::-1] == plain.aside).all()
    down = fit_sweep(s, -r, resolution=0.001)
    assert down.slope == pytest.approx(-plain.slope, abs=1e-3 * small)
    mirrored = fit_sweep(-s, r, resolution=0.001)
    assert mirrored.slope == pytest.approx(-plain.slope, abs=small)


@settings(max_examples=2 * settings().max_examples)
@example([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (0.5, 0.0), (0.25, 0.0)], None)  # on one line to the last digit
@example([(0.0, 0.0), (1.0, 0.0), (2.0, 0.0), (0.5, 0.0), (2.225073858507203e-309, 1.0)], None)  # one place
@given(
    st.lists(
        st.tuples(st.floats(0, 300), st.one_of(st.floats(-10, 10), st.sampled_from([0.0, 1.0, 1e6]))),
        min_size=0,
        max_size=60,
    ),
    st.one_of(st.none(), st.just(0.01)),
)
def test_never_a_number_that_is_none(rows: list[tuple[float, float]], resolution: float | None) -> None:
    fit = fit_sweep([a for a, _ in rows], [b for _, b in rows], resolution=resolution)
    for value in (
        fit.slope,
        fit.standard_uncertainty,
        fit.intercept,
        fit.start,
        fit.stop,
        fit.residual_spread,
    ):
        assert np.isfinite(value)
    assert fit.standard_uncertainty >= 0
    assert fit.degrees_of_freedom >= 1
    assert fit.aside.shape == (len(rows),)
    assert fit.set_aside == fit.aside.sum()


@given(
    seed=st.integers(0, 10_000),
    where=st.integers(0, 190),
    width=st.integers(3, 45),
    depth=st.floats(0.03, 5),
    side=st.sampled_from([-1.0, 1.0]),
)
def test_one_long_run_never_draws_the_line(
    seed: int, where: int, width: int, depth: float, side: float
) -> None:
    s, r = sweep(seed)
    r[where : where + width] += side * depth
    fit = fit_sweep(s, r)
    if fit.refused is None:
        assert within(fit, factor=5.0)
    else:
        assert where + width >= 230 or where <= 10


@pytest.mark.parametrize("slope", [0.0, 2e-5, 5e-5, 3e-4])
def test_a_counting_instruments_stairs_are_not_steps(slope: float) -> None:
    """0.01 mm counts and hardly any noise: a slope of 50 urad shows as one jump of one count in mid-sweep."""
    rng = np.random.default_rng(10)
    for _ in range(8):
        s = np.sort(rng.uniform(0, 220, 240))
        r = np.round((1 + rng.uniform(0, 0.01) + slope * s + rng.normal(0, 0.0005, 240)) / 0.01) * 0.01
        fit = fit_sweep(s, r)
        assert fit.refused is None
        assert fit.set_aside <= 3
        assert abs(fit.slope - slope) < 1.5 * 0.01 / 220

"""Bends and textures of passes, against polynomials and numpy's own correlation, and shifts that were put in."""

from __future__ import annotations

import numpy as np
import pytest
from everyday import ci
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.arm_form import bend_of, bend_of_speed, texture_shift


def rough(rng: np.random.Generator, size: int, reach: float = 8.0) -> np.ndarray:
    kernel = np.exp(-0.5 * (np.arange(-40, 41) / (reach / 2)) ** 2)
    return 0.002 * np.convolve(rng.standard_normal(size + 80), kernel, "valid") / np.sqrt(np.sum(kernel**2))


@given(
    bend=st.floats(-5e-6, 5e-6),
    slope=st.floats(-1e-2, 1e-2),
    level=st.floats(0, 5),
    begin=st.floats(-200, 400),
)
def test_a_parabolas_bend_is_its_second_derivative(
    bend: float, slope: float, level: float, begin: float
) -> None:
    s = begin + np.linspace(0.0, 220.0, 130)
    found = bend_of(s, level + slope * (s - begin) + bend / 2 * (s - begin) ** 2)
    assert found is not None and found.value == pytest.approx(bend, abs=1e-9)


def test_its_uncertainty_is_that_of_least_squares() -> None:
    rng = np.random.default_rng(1)
    s = np.linspace(0.0, 220.0, 500)
    found = [bend_of(s, 1e-3 * s + rng.normal(0, 1e-3, s.size)) for _ in range(300)]
    assert np.std([b.value for b in found if b]) == pytest.approx(
        np.mean([b.standard_uncertainty for b in found if b]), rel=0.12
    )


def test_too_few_places_have_no_bend() -> None:
    assert bend_of([0, 50, 100, 150], [1, 2, 1, 2]) is None


def test_speed_that_rises_and_falls_bends_as_its_parabola() -> None:
    at = np.linspace(0.0, 1.0, 2000)
    # s = 220 (3 t^2 - 2 t^3): the speed is 1320 t (1 - t)
    travel = 220 * (3 * at**2 - 2 * at**3)
    speed = 1320 * at * (1 - at)
    by_numpy = 2 * np.polyfit(travel, speed, 2)[0]
    assert bend_of_speed(travel, at) == pytest.approx(by_numpy, rel=0.25)
    assert bend_of_speed(at * 200, at) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("shift", [-40.0, -12.3, 0.0, 0.4, 7.5, 30.0])
def test_a_shift_that_was_put_in_is_found(shift: float) -> None:
    rng = np.random.default_rng(7)
    edge, places = rough(rng, 500), np.arange(500.0) - 100.0
    found = []
    for at in (0.0, shift):
        passes = []
        for _ in range(3):
            s = np.linspace(1.0, 219.0, 130) + rng.uniform(-0.8, 0.8, 130)
            read = np.interp(s - at, places, edge) + 1e-4 * s + 1e-6 * s**2
            passes.append((s, read + rng.normal(0, 4e-4, s.size)))
        found.append(passes)
    seen = texture_shift(*found)
    assert seen is not None and seen.distance == pytest.approx(shift, abs=1.0)
    assert abs(seen.distance - shift) < 2.5 * seen.standard_uncertainty < 3.0


@pytest.mark.parametrize("count", [0.001, ci(0.005), ci(0.01)])
def test_the_uncertainty_of_a_shift_is_that_of_its_errors(count: float) -> None:
    """Arms whose texture a coarse count half hides: many drawn, shifts as a hand sets the stand down."""
    rng = np.random.default_rng(11)
    errors, believed = [], 0
    for _ in range(40):
        edge, places = rough(rng, 500), np.arange(500.0) - 100.0
        shift = rng.normal(0, 10.0)
        found = []
        for at in (0.0, shift):
            passes = []
            for _ in range(3):
                s = np.linspace(1.0, 219.0, 110)
                read = (
                    np.interp(s - at, places, edge) + rng.normal(0, 3e-5) * s + rng.normal(0, count / 3, 110)
                )
                passes.append((s, np.round(read / count) * count))
            found.append(passes)
        seen = texture_shift(*found)
        believed += seen is not None
        if seen is not None:
            errors.append((seen.distance - shift) / seen.standard_uncertainty)
    assert believed >= (38 if count == 0.001 else 20)
    assert np.mean(np.abs(errors) < 2.0) >= 0.9


@pytest.mark.parametrize(("arms", "most"), [(40, 5), ci((150, 12))])
def test_unlike_edges_smooth_ones_and_marks_show_none(arms: int, most: int) -> None:
    rng = np.random.default_rng(8)
    s = np.arange(220.0)
    seen = [texture_shift([(s, rough(rng, 220))], [(s, rough(rng, 220))]) for _ in range(arms)]
    assert sum(found is not None for found in seen) <= most  # 5 % of arms are taken to be strangers
    smooth = [(s, 2.0 + 1e-6 * s**2 + rng.normal(0, 5e-4, s.size)) for _ in range(3)]
    assert texture_shift(smooth, smooth[:1]) is None or texture_shift(smooth[:1], smooth[1:]) is None
    marks = [(np.arange(10) * 25.0, rough(rng, 10))]
    assert texture_shift(marks, marks) is None


def test_columns_of_unlike_length_are_refused() -> None:
    with pytest.raises(ValueError, match="one height"):
        bend_of([0, 1, 2], [0, 1])

"""Averaging, levelling and the straightedge reversal, against worked cases and exact invariants."""

import json
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.columns import GeometryError, least_of_convex, noisy_copies, standard_uncertainty
from bench.geometry.reversal import (
    common_grid,
    interpolation_matrix,
    level,
    levelling_matrix,
    reverse_sweeps,
    smooth,
    smoothing_matrix,
)

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"
height = st.floats(-0.5, 0.5)


def uneven(n, seed, low=-300.0, high=300.0):
    x = np.sort(np.random.default_rng(seed).uniform(low, high, n))
    x[0], x[-1] = low, high
    return x


def reversed_at(x, as_is, rolled_over):
    """One sweep each over evenly spaced places, none of them averaged with another."""
    step = (x[1] - x[0]) * (1 + 1e-9)
    return reverse_sweeps([(x, as_is)], [(x, rolled_over)], step=step, window=step / 2)


def test_the_worked_straightedge_reversal_is_told_apart():
    """Equations and signs: Evans, Hocken and Estler (1996), CIRP Annals 45(2), 617-634; case constructed."""
    case = json.loads((REFERENCE / "reversal_equations.json").read_text())["examples_constructed_here"][0]
    result = reversed_at(np.asarray(case["x"]), case["r1"], case["r2"])
    assert result.face == pytest.approx(level(case["x"], case["slide"]), abs=1e-12)
    assert result.straightedge == pytest.approx(level(case["x"], case["straightedge"]), abs=1e-12)


@given(st.integers(0, 1000), height, height, height, height)
def test_set_up_lines_leave_the_face_as_it_is(seed, a, b, c, d):
    rng = np.random.default_rng(seed)
    x = np.linspace(-300.0, 300.0, 40)
    f, g = rng.normal(0, 0.02, 40), rng.normal(0, 0.02, 40)
    result = reversed_at(x, f + g + a + b * x, f - g + c + d * x)
    assert result.face == pytest.approx(level(x, f), abs=1e-10)
    assert result.straightedge == pytest.approx(level(x, g), abs=1e-10)


def test_levelling_agrees_with_numpy_polyfit():
    x = uneven(50, 3)
    y = np.random.default_rng(4).normal(0, 1, 50)
    expected = y - np.polyval(np.polyfit(x, y, 1), x)
    assert level(x, y) == pytest.approx(expected, abs=1e-10)
    assert levelling_matrix(x) @ y == pytest.approx(expected, abs=1e-10)


@given(st.integers(2, 200), st.integers(0, 1000), height, st.floats(-1e-3, 1e-3), st.floats(5.0, 900.0))
def test_a_straight_face_stays_straight_to_its_ends_however_unevenly_it_was_swept(n, seed, a, b, window):
    x = uneven(n, seed)
    at = np.linspace(-300.0, 300.0, 61)
    assert smooth(x, a + b * x, at, window) == pytest.approx(a + b * at, abs=1e-10)


@given(st.integers(2, 200), st.integers(0, 1000), st.floats(5.0, 900.0))
def test_averaging_is_nowhere_noisier_than_one_reading(n, seed, window):
    weights = smoothing_matrix(uneven(n, seed), np.linspace(-300.0, 300.0, 61), window)
    assert np.sum(weights**2, axis=1).max() <= 1.0 + 1e-9
    assert weights.sum(axis=1) == pytest.approx(1.0)


def test_what_averaging_does_to_a_crown_is_what_it_says():
    """Even readings, second derivative k: +k w^2/24 within, -k w^2/12 at an end (integrals of the window)."""
    x = np.linspace(-450.0, 450.0, 9001)
    k = -0.1 / 450.0**2
    shift = smooth(x, 0.05 + k * x**2 / 2.0, [-450.0, 0.0, 450.0], 45.0) - (
        0.05 + k * np.array([-450.0, 0.0, 450.0]) ** 2 / 2.0
    )
    assert shift[1] == pytest.approx(k * 45.0**2 / 24.0, rel=0.02)
    assert shift[0] == pytest.approx(-k * 45.0**2 / 12.0, rel=0.02)
    assert shift[2] == pytest.approx(shift[0], rel=0.02)


def test_a_rest_of_the_sled_does_not_pull_the_average():
    x = np.concatenate((np.arange(0.0, 100.0, 0.5), np.full(2000, 40.0)))
    texture = 0.01 * np.sin(x / 2.0)
    with_rest = smooth(x, texture, [50.0], 45.0)[0]
    without = smooth(x[:200], texture[:200], [50.0], 45.0)[0]
    assert with_rest == pytest.approx(without, abs=0.0004)
    assert abs(np.mean(texture[np.abs(x - 50.0) <= 22.5])) > 0.005  # a plain mean of readings is off by this


def test_marks_too_far_apart_to_average_are_joined_by_straight_lines():
    marks = np.array([0.0, 100.0, 200.0, 300.0])
    heights = [0.0, 0.02, 0.01, 0.0]
    assert smooth(marks, heights, [0.0, 50.0, 100.0, 250.0, 300.0], 45.0) == pytest.approx(
        [0.0, 0.01, 0.02, 0.005, 0.0]
    )


def test_interpolation_agrees_with_numpy_interp_and_averages_repeats():
    x, y = np.array([3.0, 1.0, 2.0]), np.array([5.0, 1.0, 4.0])
    at = np.array([1.0, 1.5, 2.0, 2.75, 3.0])
    assert interpolation_matrix(x, at) @ y == pytest.approx(np.interp(at, [1.0, 2.0, 3.0], [1.0, 4.0, 5.0]))
    assert interpolation_matrix([1.0, 1.0, 2.0], [1.0]) @ np.array([2.0, 4.0, 9.0]) == pytest.approx([3.0])


def test_whole_sweeps_of_different_places_give_the_face():
    rng = np.random.default_rng(7)

    def sweep(sign, seed):
        x = uneven(900, seed, -455.0 - seed, 455.0 + seed)
        return x, 0.05 * (1 - (x / 450) ** 2) + sign * 0.03 * np.sin(x / 150) + 1e-4 * x * seed + rng.normal(
            0, 0.002, 900
        )

    result = reverse_sweeps([sweep(1, s) for s in (1, 2, 3)], [sweep(-1, s) for s in (4, 5, 6)])
    face = level(result.x, 0.05 * (1 - (result.x / 450) ** 2))
    edge = level(result.x, 0.03 * np.sin(result.x / 150))
    sigma = np.sqrt(np.diag(result.covariance))
    assert sigma.max() < 0.0005
    assert np.abs(result.face - face).max() < 4.0 * sigma.max() + 0.0003
    assert np.abs(result.straightedge - edge).max() < 4.0 * sigma.max() + 0.0003


@pytest.mark.parametrize("sweeps", [pytest.param(1, marks=pytest.mark.ci), 3])
def test_the_covariance_is_the_scatter_of_the_face_over_many_trials(sweeps):
    rng = np.random.default_rng(11)
    x = uneven(150, 1)
    faces, said = [], []
    for _ in range(120):
        traces = [(x, rng.normal(0, 0.01, 150)) for _ in range(2 * sweeps)]
        result = reverse_sweeps(traces[:sweeps], traces[sweeps:], step=20.0)
        faces.append(result.face)
        said.append(np.diag(result.covariance))
    ratio = np.mean(said, axis=0) / np.var(faces, axis=0)
    assert np.mean(ratio) == pytest.approx(1.0, abs=0.15)
    assert result.degrees_of_freedom > 10.0


def test_noisy_copies_have_the_covariance_asked_for():
    covariance = np.array([[4.0, 1.0], [1.0, 9.0]])
    copies = noisy_copies([10.0, 20.0], covariance, count=20000)
    assert copies.mean(axis=0) == pytest.approx([10.0, 20.0], abs=0.1)
    assert np.cov(copies.T) == pytest.approx(covariance, abs=0.25)
    assert np.array_equal(copies, noisy_copies([10.0, 20.0], covariance, count=20000))
    assert standard_uncertainty([1.0, -1.0], covariance) == pytest.approx(np.sqrt(11.0))
    assert standard_uncertainty([1.0, -1.0], [2.0, 3.0]) == pytest.approx(np.sqrt(13.0))
    assert standard_uncertainty([1.0, -1.0], 2.0) == pytest.approx(np.sqrt(8.0))


def test_the_least_of_many_convex_functions_is_found_at_once():
    middles = np.array([-0.3, 0.0, 0.7])
    found = least_of_convex(lambda m: np.abs(m - middles), np.full(3, -1.0), np.full(3, 1.0))
    assert found == pytest.approx(middles, abs=1e-10)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: level([0.0, 1.0], [0.0]), "2 positions but 1"),
        (lambda: level([1.0, 1.0], [0.0, 1.0]), "all positions are the same"),
        (lambda: level([0.0, 1.0], [0.0, float("nan")]), "heights: value 2"),
        (lambda: level([[0.0, 1.0]], [0.0, 1.0]), "one column"),
        (lambda: smooth([0.0, 1.0], [0.0, 1.0], [2.0]), "outside"),
        (lambda: common_grid([[0.0, 1.0], [2.0, 3.0]]), "share no stretch"),
    ],
)
def test_what_cannot_be_worked_out_says_why(call, says):
    with pytest.raises(GeometryError, match=says):
        call()


def test_two_readings_a_sweep_give_a_face_without_noise():
    result = reverse_sweeps([([0.0, 100.0], [0.0, 1.0])], [([0.0, 100.0], [0.0, 2.0])])
    assert result.covariance is None
    assert np.abs(result.face).max() < 1e-12


def test_one_sweep_each_read_at_places_of_its_own() -> None:
    """Live sweeps never begin and end at the same places: the stretch in common ends between readings."""
    face, edge = [], []
    for sign, shift, sweeps in ((1, 0.0, face), (-1, 0.7, edge)):
        x = np.arange(1.6 + shift, 199.0 - shift, 2.1)
        sweeps.append((x, 0.1 * (x / 200) ** 3 + sign * 0.02 * (x / 200) ** 2))
    found = reverse_sweeps(face, edge)
    assert found.covariance is not None
    crooked = 0.1 * (found.x / 200) ** 3
    # averaging over w shifts the ends by k w^2/12, here 0.0026
    assert np.max(np.abs(found.face - level(found.x, crooked))) < 4e-3

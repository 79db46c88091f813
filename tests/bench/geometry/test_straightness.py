"""Straightness about three lines, and the bow, against exact answers and linear programming."""

import csv
import json
from fractions import Fraction
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.columns import GeometryError, standard_uncertainty
from bench.geometry.straightness import bow, least_squares, less_noise, minimum_zone

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"
EXACT = json.loads((REFERENCE / "straightness_minimum_zone_exact.json").read_text())["cases"]
CLASSIC = json.loads((REFERENCE / "minimum_zone_classic.json").read_text())["cases"]

profiles = st.lists(
    st.tuples(st.integers(-400, 400), st.integers(-200, 200)),
    min_size=3,
    max_size=40,
    unique_by=lambda p: p[0],
).map(lambda points: (np.array([p[0] for p in points], float), np.array([p[1] for p in points]) / 1000.0))


def straightness_about(x: npt.ArrayLike, y: npt.ArrayLike, slope: float) -> float:
    """Largest less smallest deviation from any line of this slope, along y."""
    return float(np.ptp(np.asarray(y) - slope * np.asarray(x)))


def zone_by_linear_programme(x, y):
    """Least width of two parallel lines along y: minimise b - a with a <= y - m x <= b."""
    from scipy.optimize import linprog

    scale = 100.0
    one = np.ones_like(x)
    rows = np.vstack(
        (np.column_stack((-x / scale, 0 * one, -one)), np.column_stack((x / scale, one, 0 * one)))
    )
    found = linprog([0, -1, 1], rows, np.concatenate((-y, y)), bounds=[(None, None)] * 3, method="highs")
    assert found.status == 0
    return found.fun


def case_data(case):
    if "data_file" not in case:
        return np.array(case["x"], float), np.array(case["y"], float)
    with (REFERENCE / case["data_file"]).open() as file:
        rows = list(csv.DictReader(file))
    return np.array([float(r["x[1]"]) for r in rows]), np.array([float(r["y[1]"]) for r in rows])


@pytest.mark.parametrize("case", EXACT, ids=lambda c: c["name"])
def test_exact_answers_by_rational_arithmetic(case):
    x, y = case_data(case)
    zone, fit = minimum_zone(x, y), least_squares(x, y)
    size = float(np.ptp(y))
    assert zone.straightness == pytest.approx(
        case["minimum_zone"]["straightness"], rel=1e-12, abs=1e-12 * size
    )
    assert zone.slope == pytest.approx(case["minimum_zone"]["slope"], rel=1e-10, abs=1e-14)
    assert zone.intercept == pytest.approx(case["minimum_zone"]["mid_line_intercept"], rel=1e-10, abs=1e-12)
    assert fit.straightness == pytest.approx(
        case["least_squares"]["straightness"], rel=1e-11, abs=1e-12 * size
    )
    assert fit.slope == pytest.approx(case["least_squares"]["slope"], rel=1e-12, abs=1e-15)
    assert fit.intercept == pytest.approx(case["least_squares"]["intercept"], rel=1e-10, abs=1e-12)
    if "end_points" in case:
        ends = case["end_points"]
        assert straightness_about(x, y, ends["slope"]) == pytest.approx(ends["straightness"], abs=1e-12)


@pytest.mark.parametrize("case", CLASSIC, ids=lambda c: c["name"])
def test_curves_whose_minimax_line_is_known_in_closed_form(case):
    """Atkinson (1989), An Introduction to Numerical Analysis, 2nd ed., sections 4.2 and 4.3; Chebyshev."""
    low = -1.0 if "[-1,1]" in case["name"] else 0.0
    x = np.linspace(low, 1.0, 4001)
    y = np.exp(x) if case["name"].startswith("exp") else x**2
    zone, fit, exact = minimum_zone(x, y), least_squares(x, y), case["exact"]
    published = case.get("published", {})
    assert zone.straightness == pytest.approx(exact["minimum_zone_width"], rel=1e-6)
    assert zone.straightness / 2 == pytest.approx(
        published.get("minimax_error", exact["minimax_error"]), abs=6e-5
    )
    assert zone.slope == pytest.approx(exact["minimax_slope"], abs=1e-3)
    assert zone.intercept == pytest.approx(exact["minimax_intercept"], abs=1e-3)
    assert fit.slope == pytest.approx(exact["least_squares_slope"], abs=1e-4)
    assert fit.straightness == pytest.approx(exact["least_squares_range"], abs=1e-3)


def test_the_autocollimator_table():
    """University teaching notes, 100 mm base; published answer 3 um about the end points (+2, -1)."""
    with (REFERENCE / "straightness_autocollimator.csv").open() as file:
        rows = list(csv.DictReader(file))
    x = np.array([float(r["position[mm]"]) for r in rows])
    y = np.cumsum([float(r["rise_per_step[um]"]) for r in rows])
    assert y == pytest.approx([float(r["height[um]"]) for r in rows])
    ends = y - (y[0] + (y[-1] - y[0]) * (x - x[0]) / (x[-1] - x[0]))
    assert ends == pytest.approx([float(r["end_point_deviation[um]"]) for r in rows])
    assert straightness_about(x, y, (y[-1] - y[0]) / (x[-1] - x[0])) == pytest.approx(3.0)
    assert least_squares(x, y).straightness == pytest.approx(float(Fraction(85, 28)))
    assert least_squares(x, y).slope == pytest.approx(float(Fraction(57, 5600)))
    assert minimum_zone(x, y).straightness == pytest.approx(3.0)
    assert minimum_zone(x, y).slope == pytest.approx(0.01)


@given(profiles)
def test_no_narrower_zone_exists(profile):
    x, y = profile
    zone = minimum_zone(x, y)
    assert zone.straightness == pytest.approx(zone_by_linear_programme(x, y), abs=1e-7)
    assert straightness_about(x, y, zone.slope) == pytest.approx(zone.straightness, abs=1e-12)
    off = y - (zone.intercept + zone.slope * x)
    assert off.max() == pytest.approx(-off.min(), abs=1e-10)
    assert zone.straightness <= least_squares(x, y).straightness + 1e-12


@given(profiles, st.floats(-1.0, 1.0), st.floats(-1e-3, 1e-3))
def test_a_line_added_changes_no_form_and_a_mirror_keeps_it(profile, a, b):
    x, y = profile
    for measure in (minimum_zone, least_squares):
        plain = measure(x, y)
        tilted = measure(x, y + a + b * x)
        assert tilted.straightness == pytest.approx(plain.straightness, abs=1e-10)
        assert tilted.slope == pytest.approx(plain.slope + b, abs=1e-8)
        assert measure(-x, y).straightness == pytest.approx(plain.straightness, abs=1e-12)
        assert measure(-x, y).slope == pytest.approx(-plain.slope, abs=1e-10)
        assert measure(x, -y).straightness == pytest.approx(plain.straightness, abs=1e-12)
    assert bow(x, y + a + b * x).height == pytest.approx(bow(x, y).height, abs=1e-9)
    assert bow(-x, y).height == pytest.approx(bow(x, y).height, abs=1e-9)
    assert bow(x, -y).height == pytest.approx(-bow(x, y).height, abs=1e-9)


@given(profiles)
def test_a_straightness_is_its_sensitivity_times_the_heights(profile):
    """Every one of them is piecewise linear in the heights, and has no memory of a line."""
    x, y = profile
    size = 1.0 + float(np.abs(x).max())
    for found in (minimum_zone(x, y), least_squares(x, y)):
        assert found.sensitivity @ y == pytest.approx(found.straightness, abs=1e-10)
        assert found.sensitivity @ x == pytest.approx(0.0, abs=1e-9 * size)
        assert found.sensitivity.sum() == pytest.approx(0.0, abs=1e-10)


def test_bow_is_crown_positive_and_exact_on_a_parabola():
    x = np.array([-450.0, -300.0, -10.0, 120.0, 450.0])
    assert bow(x, 0.05 * (1 - (x / 450) ** 2) + 0.3 + 1e-4 * x).height == pytest.approx(0.05)
    assert bow(x, -0.05 * (1 - (x / 450) ** 2)).height == pytest.approx(-0.05)


def test_an_s_shaped_face_has_no_bow():
    x = np.linspace(-300.0, 300.0, 61)
    assert bow(x, 0.04 * np.sin(np.pi * x / 300)).height == pytest.approx(0.0, abs=1e-12)


def test_bow_agrees_with_numpy_polyfit():
    rng = np.random.default_rng(2)
    x, y = np.sort(rng.uniform(-400, 400, 80)), rng.normal(0, 0.02, 80)
    quadratic = np.polyfit(x, y, 2)[0]
    assert bow(x, y).height == pytest.approx(-quadratic * np.ptp(x) ** 2 / 4.0)
    noise = 0.003
    spread = np.std([bow(x, y + rng.normal(0, noise, 80)).height for _ in range(300)])
    assert spread == pytest.approx(standard_uncertainty(bow(x, y).sensitivity, noise), rel=0.13)


@pytest.mark.parametrize("measure", [minimum_zone, least_squares])
@pytest.mark.parametrize(
    ("crown", "covers"),
    [
        (0.0, 0.80),
        pytest.param(0.01, 0.87, marks=pytest.mark.ci),
        pytest.param(0.05, 0.87, marks=pytest.mark.ci),
    ],
)
def test_the_interval_less_noise_holds_the_form_where_the_plain_range_does_not(measure, crown, covers):
    rng = np.random.default_rng(5)
    x = np.linspace(-450.0, 450.0, 31)
    form = crown * (1 - (x / 450) ** 2)
    truth = measure(x, form).straightness
    held, errors, plain = [], [], []
    for _ in range(40):
        y = form + rng.normal(0, 0.001, x.size)
        found = less_noise(x, y, 0.001, measure)
        held.append(abs(found.straightness - truth) <= 2.0 * found.standard_uncertainty)
        errors.append(found.straightness - truth)
        plain.append(measure(x, y).straightness - truth)
    assert np.mean(held) >= covers
    assert abs(np.mean(errors)) < 0.7 * np.mean(plain)  # and what noise adds is mostly gone


def test_less_noise_of_a_profile_without_noise_is_the_plain_one():
    x = np.linspace(-450.0, 450.0, 91)
    found = less_noise(x, 0.05 * (1 - (x / 450) ** 2) + 0.4 + 0.001 * x, 0.0)
    assert found.straightness == pytest.approx(0.05, abs=1e-9)
    assert found.standard_uncertainty == pytest.approx(0.0, abs=1e-9)


def test_repeated_places_are_welcome():
    zone = minimum_zone([0.0, 0.0, 100.0, 100.0], [0.0, 1.0, 0.0, 1.0])
    assert zone.straightness == pytest.approx(1.0)
    assert zone.slope == pytest.approx(0.0)


def test_a_bow_needs_three_places():
    with pytest.raises(GeometryError, match="three"):
        bow([0.0, 1.0, 1.0], [0.0, 1.0, 2.0])

"""The line fit against certified and published fits, and against general libraries by other routes."""

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest

from bench.geometry.columns import line_of
from bench.geometry.correlated_noise import _grams, fit_line
from bench.geometry.line_fit import fit_sweep
from bench.geometry.robust import least_quantile, redescend

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"


def columns(name: str) -> np.ndarray:
    with (REFERENCE / name).open() as file:
        rows = list(csv.reader(file))[1:]
    return np.array(rows, dtype=float).T


def published(name: str) -> dict:
    return json.loads((REFERENCE / name).read_text())


def certified(name: str) -> dict:
    return published("nist_strd_linear_certified.json")["datasets"][name]


def test_least_squares_norris() -> None:
    """NIST StRD, Norris (certified to 15 digits)."""
    x, y = columns("nist_norris.csv")
    b0, b1 = (row["estimate"] for row in certified("Norris")["parameters"])
    slope = line_of(x, y).slope
    intercept = y.mean() - slope * x.mean()
    assert slope == pytest.approx(b1, rel=1e-12)
    assert intercept == pytest.approx(b0, rel=1e-10)


@pytest.mark.parametrize("name", ["NoInt1", "NoInt2"])
def test_least_squares_through_the_origin(name: str) -> None:
    """NIST StRD, NoInt1 and NoInt2: data joined by their point reflection have a line through the origin."""
    x, y = columns(f"nist_{name.lower()}.csv")
    line = line_of(np.concatenate([x, -x]), np.concatenate([y, -y]))
    assert line.slope == pytest.approx(certified(name)["parameters"][0]["estimate"], rel=1e-13)


@pytest.mark.parametrize("case", [0, 1])
def test_weighted_fit(case: int) -> None:
    """ISO/TS 28037:2010, pp. 13 and 14: known uncertainties; ours are then scaled by the residuals."""
    data = published("line_fit_weighted.json")["cases"][case]
    x, y, u = (np.array(data[key], dtype=float) for key in ("x", "y", "u_y"))
    want = data["recomputed_unrounded"]
    judged = fit_line(x, y, 1 / u**2)
    assert judged.slope == pytest.approx(want["slope"], rel=1e-9)
    assert judged.intercept == pytest.approx(want["intercept"], rel=1e-9)
    scatter = np.sqrt(want["chi_squared"] / data["published"]["dof"])
    assert judged.standard_uncertainty == pytest.approx(want["u_slope"] * scatter, rel=1e-9)
    assert judged.degrees_of_freedom == pytest.approx(data["published"]["dof"])


def test_calibration_line_of_a_thermometer() -> None:
    """JCGM 100:2008, H.3: slope 0.00218, s 0.00067, 9 degrees of freedom, s of residuals 0.0035."""
    data = published("gum_h3_thermometer.json")
    fit = fit_sweep(data["data"]["t_k"], data["data"]["b_k"])
    want = data["recomputed_unrounded"]
    assert fit.refused is None
    assert fit.set_aside == 0
    assert fit.slope == pytest.approx(want["y2"], rel=1e-9)
    assert fit.standard_uncertainty == pytest.approx(want["s_y2"], rel=1e-6)
    assert fit.degrees_of_freedom == pytest.approx(9)
    assert fit.residual_spread == pytest.approx(want["s"], rel=1e-6)
    assert fit.intercept + fit.slope * data["t0"] == pytest.approx(want["y1"], rel=1e-9)
    assert fit.count == pytest.approx(0.001)


def test_bisquare_on_the_telephones() -> None:
    """Rousseeuw and Leroy (1987), p. 26; Venables and Ripley (2002), 6.5."""
    year, calls = columns("belgian_phones.csv")
    answer = published("belgian_phones.json")["recomputed"]["bisquare_fixed_point"]
    design = np.column_stack([np.ones_like(year), year])
    intercept, slope = least_quantile(year, calls)
    beta, scale = redescend(design, calls, intercept + slope * year, rounds=400, floor=1e-9)
    assert beta == pytest.approx([answer["intercept"], answer["slope"]], rel=1e-5)
    assert scale == pytest.approx(answer["scale"], rel=1e-4)


@pytest.mark.ci  # the import alone takes a second
def test_bisquare_on_stackloss() -> None:
    """Brownlee (1965), pp. 491-500; the bisquare fit as printed, which stopped 2e-4 from its fixed point."""
    import statsmodels.api as sm

    *predictors, loss = columns("stackloss.csv")
    design = np.column_stack([np.ones_like(loss), *predictors])
    start = design @ np.linalg.lstsq(design, loss, rcond=None)[0]
    beta, scale = redescend(design, loss, start, rounds=400, floor=1e-9)
    data = published("stackloss.json")
    names = ["intercept", "air_flow", "water_temperature", "acid_concentration"]
    assert beta == pytest.approx([data["published"]["bisquare_k_4_685_mad"][n] for n in names], rel=2e-4)
    assert beta == pytest.approx([data["recomputed"]["bisquare_fixed_point"][n] for n in names], rel=1e-6)
    assert scale == pytest.approx(data["published"]["bisquare_k_4_685_mad"]["scale"], rel=2e-4)
    model = sm.RLM(loss, design, M=sm.robust.norms.TukeyBiweight(c=4.685)).fit(maxiter=500, tol=1e-12)
    assert beta == pytest.approx(model.params, rel=2e-4)


def test_sweep_fit_leaves_the_telephones_wrong_years_out() -> None:
    """The years 1964 to 1969 counted minutes: least squares is off by a factor of five."""
    year, calls = columns("belgian_phones.csv")
    fit = fit_sweep(year, calls)
    answer = published("belgian_phones.json")["published"]
    assert fit.refused is None
    assert set(np.arange(64, 70)) <= set(year[fit.aside])
    assert abs(fit.slope - answer["bisquare_k_4_685_mad"]["slope"]) < 2.5 * fit.standard_uncertainty
    assert abs(fit.slope - answer["bisquare_k_4_685_mad"]["slope"]) < 0.05
    assert answer["least_squares"]["slope"] > 4 * fit.slope


@pytest.mark.parametrize("case", [0, 1])
def test_agrees_with_the_median_of_slopes(case: int) -> None:
    """Sen (1968) and Hollander, Wolfe, Chicken (2014), Example 9.1: another sharp and robust slope."""
    from scipy.special import stdtrit

    data = published("theil_sen.json")["cases"][case]
    fit = fit_sweep(data["x"], data["y"])
    half = stdtrit(fit.degrees_of_freedom, 0.975) * fit.standard_uncertainty
    assert abs(fit.slope - data["published"]["slope"]) < half
    if case == 0:
        assert data["published"]["slope_low"] < fit.slope < data["published"]["slope_high"]


def test_stations_are_ordinary_regression() -> None:
    """Eight clean marks: slope, standard error and degrees of freedom of numpy's regression."""
    rng = np.random.default_rng(4)
    x = np.arange(25.0, 201.0, 25.0)
    y = np.round(1.5 + 2e-4 * x + rng.normal(0, 0.003, 8), 3)
    (slope, _), covariance = np.polyfit(x, y, 1, cov=True)
    fit = fit_sweep(x, y)
    assert fit.slope == pytest.approx(slope, rel=1e-9)
    assert fit.standard_uncertainty == pytest.approx(math.sqrt(covariance[0, 0]), rel=1e-6)
    assert fit.degrees_of_freedom == pytest.approx(6)


def test_whitening_is_that_of_the_dense_covariance() -> None:
    """The filter's Gram matrices and determinants against a dense solve of every covariance of the grid."""
    from bench.geometry import correlated_noise as room

    rng = np.random.default_rng(5)
    u = np.sort(rng.uniform(-1, 1, 20))
    u[0], u[-1] = -1, 1
    n = rng.integers(1, 6, 20).astype(float)
    b = rng.normal(size=(20, 4))
    gram, logdet, _ = _grams(u, n, b, True)
    grid = [(0.0, 1.0)]
    grid += [(low / (low + 2 * reach * 20), reach) for reach in room.REACHES for low in room.LOW_ENDS]
    for row, (share, reach) in enumerate(grid):
        covariance = (1 - share) * np.diag(n.mean() / n)
        covariance += share * np.exp(-np.abs(u[:, None] - u[None, :]) / 2 / reach)
        assert gram[row] == pytest.approx(b.T @ np.linalg.solve(covariance, b), rel=1e-9)
        assert logdet[row] == pytest.approx(np.linalg.slogdet(covariance)[1], rel=1e-9)


@pytest.mark.ci
def test_related_noise_agrees_with_generalised_least_squares() -> None:
    """Noise that is related over 6 mm: statsmodels' GLS is told the covariance, ours has to see it; the
    usual independent standard error of ordinary least squares is far too small."""
    import statsmodels.api as sm

    rng = np.random.default_rng(6)
    s = np.linspace(0, 220, 240)
    covariance = 0.004**2 * np.exp(-np.abs(s[:, None] - s[None, :]) / 6) + 0.001**2 * np.eye(240)
    root = np.linalg.cholesky(covariance)
    ours, usual, apart = [], [], []
    for _ in range(25):
        r = 1 + 2e-4 * s + root @ rng.standard_normal(240)
        known = sm.GLS(r, sm.add_constant(s), sigma=covariance).fit()
        true_error = np.sqrt(known.normalized_cov_params[1, 1])
        fit = fit_sweep(s, r)
        ours.append(fit.standard_uncertainty / true_error)
        usual.append(sm.OLS(r, sm.add_constant(s)).fit().bse[1] / true_error)
        apart.append((fit.slope - known.params[1]) / true_error)
    assert 0.8 < np.mean(ours) < 1.5
    assert np.mean(usual) < 0.45
    assert np.sqrt(np.mean(np.square(apart))) < 0.45

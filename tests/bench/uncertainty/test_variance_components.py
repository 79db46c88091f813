"""Components of scatter against published analyses of variance, a general library, and saws whose components are known."""

from __future__ import annotations

import csv
import json
import math
from pathlib import Path

import numpy as np
import pytest

from bench.checks.model import SetUpScatter
from bench.uncertainty.variance_components import SET_UP, between_set_ups, one_way, over_days

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"


def test_a_voltage_standard_on_ten_days() -> None:
    """JCGM 100:2008, H.5: five observations whose scatter and mean are those printed stand for each day's."""
    zener = json.loads((REFERENCE / "gum_h5_zener.json").read_text())
    # five values of mean 0 and standard deviation 1
    spread = np.array([-2.0, -1.0, 0.0, 1.0, 2.0]) / math.sqrt(2.5)
    days = [
        list(mean * 1e6 - 1e7 + s * spread)
        for mean, s in zip(zener["means"], zener["standard_deviations_uV"], strict=True)
    ]
    found, said = one_way(days), zener["published"]
    assert round(math.sqrt(found.between_mean_square)) == said["between_uV"]
    assert round(math.sqrt(found.within)) == said["within_uV"]
    assert found.between_mean_square / found.within == pytest.approx(said["F"], abs=0.02)
    assert found.within_dof == said["degrees_of_freedom"][1]
    # printed 43 from rounded 128 and 85
    assert math.sqrt(found.between) == pytest.approx(said["between_days_uV"], abs=0.5)


def test_calcium_of_turnip_leaves() -> None:
    """Snedecor and Cochran, Statistical Methods, one-way classification with random effects (from memory): four
    leaves, four determinations each; mean squares 0.2961 and 0.0066, component between leaves 0.0724."""
    leaves = [
        [3.28, 3.09, 3.03, 3.03],
        [3.52, 3.48, 3.38, 3.38],
        [2.88, 2.80, 2.81, 2.76],
        [3.34, 3.38, 3.23, 3.26],
    ]
    found = one_way(leaves)
    assert round(found.between_mean_square, 4) == 0.2961
    assert round(found.within, 4) == 0.0066
    assert round(found.between, 4) == 0.0724


def test_repeatability_of_a_gauge_study() -> None:
    """AIAG, Measurement Systems Analysis, 4th ed.: the cells of part and appraiser are groups of three trials."""
    study = json.loads((REFERENCE / "aiag_gauge_rr.json").read_text())["anova"]["published"]
    with (REFERENCE / "aiag_gauge_rr.csv").open() as file:
        rows = list(csv.DictReader(file))
    cells: dict[tuple[str, str], list[float]] = {}
    for row in rows:
        for part in (name for name in row if name.startswith("part")):
            cells.setdefault((row["appraiser"], part), []).append(float(row[part]))
    found = one_way(list(cells.values()))
    assert found.within * found.within_dof == pytest.approx(study["SS"]["equipment"], abs=5e-5)
    assert found.within_dof == study["df"]["equipment"] == 60
    of_cells = sum(study["SS"][name] for name in ("appraiser", "part", "interaction"))
    assert found.between_mean_square * 29 == pytest.approx(of_cells, abs=2e-4)


@pytest.mark.ci  # the library takes seconds to import; every day the published analyses above stand for it
def test_groups_of_one_size_as_restricted_maximum_likelihood_has_them() -> None:
    """statsmodels' mixed model; in balanced data both estimators are one (Searle, Casella and McCulloch (1992))."""
    sm = pytest.importorskip("statsmodels.api")
    rng = np.random.default_rng(5)
    groups = [list(rng.normal(rng.normal(0, 2.0), 1.0, 4)) for _ in range(12)]
    labels = np.repeat(np.arange(12), 4)
    flat = np.concatenate(groups)
    fit = sm.MixedLM(flat, np.ones_like(flat), groups=labels).fit(reml=True)
    found = one_way(groups)
    assert found.within == pytest.approx(float(fit.scale), rel=1e-3)
    assert found.between == pytest.approx(float(fit.cov_re[0, 0]), rel=1e-3)


def test_uneven_groups_are_unbiased() -> None:
    """Over many draws the mean estimate is what was put in, whatever the sizes."""
    rng = np.random.default_rng(6)
    sizes = (1, 2, 5, 3, 9)
    within, between = [], []
    for _ in range(1500):
        groups = [list(rng.normal(rng.normal(0, 3.0), 1.0, n)) for n in sizes]
        found = one_way(groups)
        within.append(found.within)
        # before it is cut off at zero
        usual = (20 - sum(n * n for n in sizes) / 20) / 4
        between.append((found.between_mean_square - found.within) / usual)
    assert np.mean(within) == pytest.approx(1.0, abs=0.03)
    assert np.mean(between) == pytest.approx(9.0, abs=0.6)


@pytest.mark.parametrize("groups", [[[1.0, 2.0]], [[1.0], [2.0]], [[], [1.0, 2.0]]])
def test_too_little_to_part(groups: list[list[float]]) -> None:
    with pytest.raises(ValueError, match="two"):
        one_way(groups)


def test_pastes_of_ten_batches_three_casks_two_tests() -> None:
    """Davies and Goldsmith (1972), Statistical Methods in Research and Production, 4th ed., table 6.5; the components
    between batches, casks and tests are those published for the same data by Bates et al. (2015), J. Stat. Softw. 67(1):
    standard deviations 1.287, 2.904 and 0.823 by restricted maximum likelihood, which in balanced data is this."""
    with (REFERENCE / "pastes.csv").open() as file:
        rows = list(csv.DictReader(file))
    casks: dict[tuple[str, str], list[float]] = {}
    for row in rows:
        casks.setdefault((row["batch"], row["cask"]), []).append(float(row["strength"]))
    tests = one_way(list(casks.values()))
    means: dict[str, list[float]] = {}
    for (batch, _), values in casks.items():
        means.setdefault(batch, []).append(float(np.mean(values)))
    batches = one_way(list(means.values()))
    assert math.sqrt(tests.within) == pytest.approx(0.823, abs=5e-4)
    assert math.sqrt(batches.within - tests.within / 2) == pytest.approx(2.904, abs=5e-4)
    assert math.sqrt(batches.between) == pytest.approx(1.287, abs=5e-4)
    # one cask of a new batch, of two tests
    total, dof = over_days(list(means.values()))
    assert total == pytest.approx(1.287**2 + 2.904**2 + 0.823**2 / 2, rel=2e-3)
    assert 15 < dof < 29


def test_the_day_is_a_component_of_its_own() -> None:
    """Checks of one day are related: their variance alone would say too little, and twenty are not nineteen."""
    rng = np.random.default_rng(8)
    alone, whole, freedom = [], [], []
    for _ in range(400):
        days = [list(rng.normal(rng.normal(0, 2.0), 1.0, 5)) for _ in range(4)]
        variance, dof = over_days(days)
        whole.append(variance)
        freedom.append(dof)
        alone.append(one_way(days).within)
    assert np.mean(whole) == pytest.approx(5.0, rel=0.1) and np.mean(alone) == pytest.approx(1.0, rel=0.1)
    assert 3 <= np.median(freedom) <= 6
    days = [[float(v)] for v in rng.normal(0, 1, 7)]  # one a day: nothing to part
    assert over_days(days) == (pytest.approx(float(np.var(days, ddof=1))), 6.0)
    assert over_days([list(rng.normal(0, 1, 12))])[1] == 4.0  # a single day does not show what days differ by


def history(variance: float, own: float, checks: int) -> SetUpScatter:
    return SetUpScatter(variance, checks - 1.0, own, 80.0, checks)


def test_the_row_before_and_after_a_history() -> None:
    default = between_set_ups((0.5, 0.5), None)
    assert (default.type, default.standard_uncertainty) == ("B", pytest.approx(SET_UP / math.sqrt(2)))
    # one set-up carries all of what two would average
    assert between_set_ups((1.0,), None).standard_uncertainty == pytest.approx(SET_UP)
    own = (10e-6) ** 2
    quiet = between_set_ups((0.5, 0.5), history(own, own, 20))
    assert quiet.standard_uncertainty < 0.4 * SET_UP
    loud = between_set_ups((0.5, 0.5), history(own + (30e-6) ** 2, own, 20))
    assert loud.type == "A" and loud.standard_uncertainty == pytest.approx(30e-6, rel=0.15)
    assert loud.degrees_of_freedom > 12
    few = between_set_ups((0.5, 0.5), history(own + (30e-6) ** 2, own, 3))
    assert few.standard_uncertainty < loud.standard_uncertainty and few.degrees_of_freedom < 6


def test_set_ups_made_anew_average_and_speak_where_they_scatter() -> None:
    twice = between_set_ups((0.25,) * 4)
    assert twice.standard_uncertainty == pytest.approx(SET_UP / 2)
    own = (10e-6) ** 2
    calm = between_set_ups((0.25,) * 4, None, SetUpScatter(own, 2.0, own, 8.0, 0))
    assert calm == twice
    wild = between_set_ups((0.25,) * 4, None, SetUpScatter(own + (60e-6) ** 2, 2.0, own, 8.0, 0))
    assert wild.type == "A" and wild.standard_uncertainty > 2 * twice.standard_uncertainty

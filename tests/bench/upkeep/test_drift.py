"""Charts of findings against the published worked examples, and alarms counted by simulation."""

from __future__ import annotations

import csv
import json
import math
import random
import statistics
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.finding import BudgetRow, Finding, Quantity
from bench.upkeep import drift
from bench.upkeep.drift import Look

REFERENCE = Path(__file__).parents[3] / "fixtures/reference"


def reference(name: str) -> dict:
    return json.loads((REFERENCE / f"{name}.json").read_text())


def looks(values: list[float], varying: float = 1.0, expanded: float = 0.0, every: float = 7.0) -> list[Look]:
    return [Look(f"f{n}", every * n, value, varying, expanded) for n, value in enumerate(values)]


# ---- published --------------------------------------------------------------------------------------


def test_individuals_limits_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.2: mean moving range and three-sigma limits of the flow-rate example."""
    told = reference("nist_individuals_chart")
    data, published = told["data"], told["published"]
    ranges = drift.mean_moving_range(data)
    assert ranges == pytest.approx(published["mean_moving_range"], abs=5e-5)
    mean = statistics.fmean(data)
    assert mean + 3 * ranges / drift.D2 == pytest.approx(published["ucl"], abs=5e-4)
    assert mean - 3 * ranges / drift.D2 == pytest.approx(published["lcl"], abs=5e-4)


def test_ewma_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4; its limits are the steady ones."""
    told = reference("nist_ewma_chart")
    ours = drift.ewma(told["data"], told["start_value"], told["lambda_"])
    assert ours == pytest.approx(told["published"]["ewma_including_start"], abs=0.0101)  # two places, chopped
    assert ours == pytest.approx(told["recomputed"]["ewma_including_start"], abs=1e-9)
    limit = told["start_value"] + told["k"] * told["sigma"] * drift.ewma_sigma(10_000, told["lambda_"])
    assert limit == pytest.approx(told["published"]["ucl"], abs=5e-4)


def test_ewma_of_the_textbook_with_its_exact_limits() -> None:
    """Montgomery, Introduction to Statistical Quality Control, table 9.1 and example 9.2."""
    told = reference("montgomery_cusum_ewma")
    with (REFERENCE / told["data_file"]).open() as file:
        rows = list(csv.DictReader(file))
    x = [float(row["x[1]"]) for row in rows]
    weight, width = told["ewma"]["lambda_"], told["ewma"]["L"]
    ours = drift.ewma(x, told["target"], weight)[1:]
    assert ours == pytest.approx([float(row["ewma[1]"]) for row in rows], abs=5e-5)
    limits = [told["target"] + width * drift.ewma_sigma(n, weight) for n in range(1, len(x) + 1)]
    assert limits == pytest.approx([float(row["ewma_ucl[1]"]) for row in rows], abs=5e-5)
    signals = [
        n for n, (z, top) in enumerate(zip(ours, limits, strict=True), 1) if abs(z - 10) > abs(top - 10)
    ]
    assert signals == told["ewma"]["published"]["signals"]


NAMES = {
    "2_two_of_three_beyond_2_sigma": "two of three beyond two sigma",
    "3_four_of_five_beyond_1_sigma": "four of five beyond one sigma",
    "4_eight_same_side": "eight on one side",
}


def test_runs_of_the_western_electric_handbook() -> None:
    told = reference("western_electric_rules")
    assert told["sequences_constructed_here"]
    for case in told["sequences_constructed_here"]:
        first: dict[str, int] = {}
        for n in range(1, len(case["z"]) + 1):
            for name in drift.runs(case["z"][:n]):
                first.setdefault(name, n)
        wanted = {NAMES[k]: n for k, n in case["first_signal_point"].items() if k in NAMES}
        assert first == wanted, case["name"]


# ---- by simulation ----------------------------------------------------------------------------------


def test_degrees_of_freedom_of_a_mean_moving_range() -> None:
    """The weight of the looks' own scatter: 2 mean^2 / variance of its square, as for any estimate of a variance."""
    toss = random.Random(11)
    for n in (8, 20):
        squares = [
            (drift.mean_moving_range([toss.gauss(0, 1) for _ in range(n)]) / drift.D2) ** 2
            for _ in range(4000)
        ]
        dof = 2 * statistics.fmean(squares) ** 2 / statistics.variance(squares)
        assert dof == pytest.approx(drift.DOF_OF_RANGES * (n - 1), rel=0.12)


def test_it_seldom_cries_when_nothing_changes() -> None:
    """Thirty looks, sigma right: three sigma alone cries in 7.5 % of histories, the weighted mean as often."""
    toss = random.Random(5)
    count = 400
    cries = dict.fromkeys(("step", "creep"), 0)
    for _ in range(count):
        alarms = drift.judge(looks([toss.gauss(0, 1) for _ in range(30)])).alarms
        for kind in {one.alarm for one in alarms}:
            cries[kind] += 1
    for kind, times in cries.items():
        assert 0.03 * count < times < 0.16 * count, kind


@pytest.mark.parametrize(("step", "by_then", "share"), [(3.0, 4, 0.8), (1.5, 10, 0.55)])
def test_a_change_is_told(step: float, by_then: int, share: float) -> None:
    """After eight quiet looks; measured 0.88 and 0.64. The mean before is no better known than eight looks know it."""
    toss = random.Random(6)
    told = 0
    for _ in range(300):
        values = [toss.gauss(0, 1) for _ in range(8)] + [toss.gauss(step, 1) for _ in range(by_then)]
        told += any(one.look.at >= 8 * 7 for one in drift.judge(looks(values)).alarms)
    assert told / 300 >= share


def test_a_step_is_told_at_once_and_goes_on_being_told() -> None:
    stretch = drift.judge(looks([0.0, 0.2, -0.1, 0.1, 6.0, 6.1]))
    assert [one.alarm for one in stretch.looks[4:]] == ["step", "step"]
    assert stretch.mean == pytest.approx(0.05)  # the mean is of those before


def test_a_move_begins_anew() -> None:
    values = looks([5.0, 5.1, 0.0, 0.1, -0.1])
    (before, after) = drift.stretches(values, {"f1"}, None)
    assert (before.after, after.after) == (None, "f1")
    assert not after.alarms and len(after.looks) == 3
    (whole,) = drift.stretches(values, [], None)
    assert whole.alarms


def test_what_lasts_is_not_scatter() -> None:
    """An error that is the same at every look widens the answer, not the step that can be told."""
    rows = [
        BudgetRow("between sweeps", "A", 3e-6, 4, 0.1),
        BudgetRow("closure", "B", 4e-6, None, 0.1),
        BudgetRow("square", "B", 90e-6, None, 0.8),
    ]
    finding = Finding(check="fence-square", quantities=[Quantity("fence", 0, "rad", 1e-4, None)], budget=rows)
    assert drift.varying(finding) == pytest.approx(5e-6)


# ---- trend ------------------------------------------------------------------------------------------


@pytest.mark.ci  # the import alone takes a second
@given(
    values=st.lists(st.floats(-10, 10), min_size=5, max_size=30),
    gaps=st.lists(st.floats(0.5, 60), min_size=30, max_size=30),
)
def test_the_slope_is_that_of_statsmodels(values: list[float], gaps: list[float]) -> None:
    from statsmodels.regression.linear_model import OLS
    from statsmodels.tools import add_constant

    days = [sum(gaps[:n]) for n in range(len(values))]
    ours = drift.trend(
        [Look("f", d, v, 0.0, 0.0) for d, v in zip(days, values, strict=True)], 0.0, tolerance=1.0
    )
    theirs = OLS(values, add_constant(days)).fit()
    assert ours is not None
    assert ours.slope == pytest.approx(theirs.params[1], rel=1e-6, abs=1e-9)
    low, high = theirs.conf_int(0.05)[1]
    assert ours.uncertainty == pytest.approx((high - low) / 2, rel=1e-4, abs=1e-9)


def test_no_day_is_named_for_a_slope_that_may_be_none_nor_too_far_ahead() -> None:
    toss = random.Random(3)
    flat = drift.judge(looks([toss.gauss(0, 1) for _ in range(12)]), tolerance=5.0)
    assert flat.trend is not None and not flat.trend.significant and flat.trend.earliest is None
    far = drift.judge(looks([0.1 * n for n in range(12)], varying=0.01), tolerance=50.0)
    assert far.trend is not None and far.trend.significant and far.trend.earliest is None
    near = drift.judge(looks([-0.1 * n for n in range(12)], varying=0.01, expanded=0.05), tolerance=1.5)
    assert near.trend is not None and near.trend.earliest is not None
    # it stands at -1.1 and goes by 0.1 in 7 days; 0.35 are left of 1.5 - 0.05: not later than after 24.5 days
    assert 77 + 20 < near.trend.earliest <= 77 + 24.5
    assert drift.look_again(near) <= near.trend.earliest


def test_when_to_look_again() -> None:
    young = drift.judge(looks([0.0, 0.1, 0.0]))
    assert drift.look_again(young) == 14 + 7
    old = drift.judge(looks([0.0, 0.1, -0.1, 0.1, 0.0, 0.1]))
    assert drift.look_again(old) == 35 + 30
    jumped = drift.judge(looks([0.0, 0.1, -0.1, 9.0]))
    assert drift.look_again(jumped) == 21


@given(values=st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=20), u=st.floats(0, 10))
def test_any_history_is_judged(values: list[float], u: float) -> None:
    stretch = drift.judge(looks(values, varying=u), tolerance=1.0)
    assert len(stretch.looks) == len(values)
    assert math.isfinite(stretch.sigma) and math.isfinite(stretch.mean)
    assert stretch.looks[0].alarm is None

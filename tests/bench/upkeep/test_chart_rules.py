"""Control charts against the published worked examples, digit by digit."""

from __future__ import annotations

import csv
import json
import math
from itertools import accumulate
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.upkeep import chart_rules

REFERENCE = Path(__file__).parents[3] / "fixtures/reference"


def reference(name: str) -> dict:
    return json.loads((REFERENCE / f"{name}.json").read_text())


def table(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open() as file:
        return list(csv.DictReader(file))


def weighted_means(values: list[float], start: float, weight: float) -> list[float]:
    """`start` first."""
    return list(
        accumulate(values, lambda before, value: chart_rules.ewma(before, value, weight), initial=start)
    )


def test_ewma_of_the_handbook() -> None:
    """NIST/SEMATECH e-Handbook 6.3.2.4; its limits are the steady ones. It chops its digits."""
    told = reference("nist_ewma_chart")
    ours = weighted_means(told["data"], told["start_value"], told["lambda_"])
    assert ours == pytest.approx(told["recomputed"]["ewma_including_start"], abs=1e-9)
    for mine, theirs in zip(ours, told["published"]["ewma_including_start"], strict=True):
        assert abs(mine - theirs) < 0.0101
    width = told["k"] * told["sigma"] * chart_rules.ewma_sigma(10_000, told["lambda_"])
    published = told["published"]
    assert round(told["start_value"] + width, 4) == published["ucl"]
    assert math.floor((told["start_value"] - width) * 1e4) / 1e4 == published["lcl"]


def test_ewma_of_the_textbook() -> None:
    """Montgomery, Introduction to Statistical Quality Control, table 9.2, example 9.2: a shift of one sigma
    behind the twentieth value is told at the 29th."""
    told = reference("montgomery_cusum_ewma")
    rows = table(told["data_file"])
    x = [float(row["x[1]"]) for row in rows]
    weight, width = told["ewma"]["lambda_"], told["ewma"]["L"]
    ours = weighted_means(x, told["target"], weight)[1:]
    assert ours == pytest.approx([float(row["ewma[1]"]) for row in rows], abs=5e-5)
    limits = [told["target"] + width * chart_rules.ewma_sigma(n, weight) for n in range(1, len(x) + 1)]
    assert limits == pytest.approx([float(row["ewma_ucl[1]"]) for row in rows], abs=5e-5)
    signals = [n for n, (z, top) in enumerate(zip(ours, limits, strict=True), 1) if abs(z - 10) > top - 10]
    assert signals == told["ewma"]["published"]["signals"]


NAMES = {
    "2_two_of_three_beyond_2_sigma": "two-of-three-beyond-two",
    "3_four_of_five_beyond_1_sigma": "four-of-five-beyond-one",
    "4_eight_same_side": "eight-on-one-side",
}


def test_runs_of_the_western_electric_handbook() -> None:
    told = reference("western_electric_rules")
    assert told["sequences_constructed_here"]
    for case in told["sequences_constructed_here"]:
        first: dict[str, int] = {}
        for n in range(1, len(case["z"]) + 1):
            for name in chart_rules.run_rules(case["z"][:n]):
                first.setdefault(name, n)
            if abs(case["z"][n - 1]) > chart_rules.THREE_SIGMA:
                first.setdefault("beyond", n)
        wanted = {NAMES.get(k, "beyond"): n for k, n in case["first_signal_point"].items()}
        assert first == wanted, case["name"]


@given(t=st.floats(-60, 60), dof=st.floats(1, 200))
def test_a_score_is_as_far_out_as_its_t(t: float, dof: float) -> None:
    from scipy.special import ndtr, ndtri, stdtr

    mine = chart_rules.normal_score(t, dof)
    tail = 2 * stdtr(dof, -abs(t))
    if 1e-12 < tail < 1:
        if dof < chart_rules.MANY_FREEDOM:
            assert 2 * ndtr(-abs(mine)) == pytest.approx(tail, rel=1e-6)
        else:
            assert abs(mine) == pytest.approx(-ndtri(tail / 2), abs=2.5e-3)
    assert (mine > 0) == (t > 0) or abs(mine) < 1e-9


def test_three_sigma_of_a_few_results_is_farther_out() -> None:
    """Two-sided 0.27 %; JCGM 100:2008, table G.2, column 99.73 %."""
    with (REFERENCE / "gum_table_g2_t.csv").open() as file:
        rows = list(csv.DictReader(file))
    column = next(name for name in rows[0] if "99.73" in name)
    name = next(iter(rows[0]))
    checked = 0
    for row in rows:
        if row[name].isdigit():
            assert chart_rules.alarm_limit(float(row[name])) == pytest.approx(
                float(row[column]), rel=1.5e-4, abs=0.006
            )
            checked += 1
    assert checked > 20

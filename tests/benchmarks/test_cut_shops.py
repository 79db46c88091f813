"""Boards of simulated shops, cut as bodies, against the forecast: few every day, a thousand shops apart."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest
from cut_shops import figures, shop_cases

HERE = Path(__file__).parent


def lines(*args: str) -> dict:
    command = [sys.executable, str(HERE / "cut_shops.py"), *args]
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    return json.loads(done.stdout)


def test_a_few_shops() -> None:
    cases = [case for seed in range(4) for case in shop_cases(seed, boards=1, cuts=8)]
    found = figures(cases)
    assert found["interval holds"] >= 0.7  # 4 shops: three in four and more, but once in 70
    assert all(case.forecast["good_share"] <= 1.0 for case in cases)


@pytest.mark.ci
def test_the_interval_holds_in_small() -> None:
    cases = [case for seed in range(1000, 1030) for case in shop_cases(seed, cuts=10, advise=False)]
    found = figures(cases)
    assert 0.89 <= found["interval holds"] <= 1.0  # the edges of a shop go together: 30 shops, no more


def test_who_forgets_a_term_is_found_out() -> None:
    """The benchmark can fail: with the fence's bias left out of the forecast the interval holds far less."""
    cases = [case for seed in range(6) for case in shop_cases(seed, 1, 4, known=1.0, advise=False)]
    for case in cases:
        for row in case.forecast["rows"]:
            case.forecast["square"]["value"] -= 3 * row["value"]
    assert figures(cases)["interval holds"] < 0.7


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_what_comes_out_of_a_thousand_shops() -> None:
    """All faults at once, half of the shops with something that nobody measured. A thousand, since the boards of a
    shop go together: a tenth of 500 shops tells a share to .02 only. Found: .938, and .027 in the worst tenth."""
    seeds = range(10000, 11000)
    cases = [case for seed in seeds for case in shop_cases(seed, boards=4, cuts=12, advise=False)]
    found = figures(cases)
    assert 0.93 <= found["interval holds"] <= 0.98
    assert abs(found["worst decile"]) <= 0.03


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_what_is_named_first_helps_most() -> None:
    """Where the faults are known well (100 passes a set-up), on the boards of 80 shops: found .943, and .969 to .003
    per 300. One board of 194 was made worse by more than .001: by a form of the fence between a profile's heights."""
    found = lines("80", "--known", "1", "--passes", "100")["put right, all known"]
    assert found["helps most"] >= 0.9
    assert found["makes worse by more than .001"] <= 0.01


@pytest.mark.slow
@pytest.mark.timeout(3600)
def test_who_does_as_he_is_told_makes_nothing_worse() -> None:
    """After the usual checks of three passes, and those that are named first. Found on 260 boards of 110 shops: none
    made worse; named was the part that helps most in .84, to .003 per 300 in .88: the rest three passes cannot tell."""
    found = lines("60")["put right, after its checks"]
    assert found["makes worse by more than .001"] <= 0.01
    assert found["helps within .003 of the most"] >= 0.75

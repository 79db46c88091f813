"""The season's part: its line and F test against a general library, and what the charts make of it."""

from __future__ import annotations

import random

import pytest

from bench.finding import Climate
from bench.upkeep.drift import charted_series, drift_document
from bench.upkeep.history import History, sound_climate
from bench.upkeep.moisture import moisture
from bench.upkeep.season import fit_season
from bench.upkeep.series import Baseline
from tests.bench.upkeep.conftest import MM, SIGMA, climates, results

DAYS = [30.4 * n for n in range(24)]


def seasonal(swing: float, seed: int = 3, days: list[float] = DAYS):
    toss = random.Random(seed)
    air = climates(days, toss)
    return results(
        [toss.gauss(0, SIGMA) + swing * MM * ((c.humidity or 0) - 0.475) / 0.35 for c in air],
        days=days,
        climates=air,
    )


@pytest.mark.ci  # the import alone takes a second
def test_line_and_f_test_are_those_of_statsmodels() -> None:
    from statsmodels.regression.linear_model import OLS
    from statsmodels.tools import add_constant

    found = seasonal(0.03)
    season = fit_season([Baseline("first", found[0].day, tuple(found))])
    theirs = OLS([one.value for one in found], add_constant([moisture(one.climate) for one in found])).fit()
    assert season is not None and season.kept == (theirs.f_pvalue < 0.05)
    assert season.per_percent == pytest.approx(theirs.params[1], rel=1e-9)
    low, high = theirs.conf_int(0.05)[1]
    assert season.expanded == pytest.approx((high - low) / 2, rel=1e-6)


def test_a_season_is_told_and_taken_out() -> None:
    (told,) = drift_document(History(tuple(seasonal(0.03))))["series"]
    season = told["season"]
    assert season["kept"] and season["significant"] and not told["alarm"]
    assert (season["high"] - season["low"]) * 300 == pytest.approx(0.03, abs=0.008)
    (baseline,) = told["baselines"]
    assert all(one["alarm"] is None for one in baseline["results"])
    # without the climate the same results alarm
    bare = [
        r.__class__(**{f: getattr(r, f) for f in r.__slots__} | {"climate": None}) for r in seasonal(0.03)
    ]
    (told,) = drift_document(History(tuple(bare)))["series"]
    assert told["season"] is None
    assert any(one["alarm"] for one in told["baselines"][0]["results"])


@pytest.mark.parametrize(
    ("days", "low", "high"),
    [(DAYS[:7], 0.30, 0.65), ([4.0 * n for n in range(20)], 0.30, 0.65), (DAYS, 0.45, 0.48)],
    ids=["seven results", "less than half a year", "an even climate"],
)
def test_too_little_shows_no_season(days: list[float], low: float, high: float) -> None:
    toss = random.Random(5)
    found = results(
        [toss.gauss(0, SIGMA) for _ in days],
        days=days,
        climates=[Climate(20.0, toss.uniform(low, high)) for _ in days],
    )
    (told,) = charted_series(History(tuple(found)))
    assert told.season is None


def test_what_follows_nothing_is_seldom_kept() -> None:
    kept = 0
    for seed in range(60):
        season = charted_series(History(tuple(seasonal(0.0, seed))))[0].season
        assert season is not None
        kept += season.kept
    assert kept <= 8  # 5 % of 60 are 3


@pytest.mark.parametrize(
    ("temperature", "humidity", "is_sound"),
    [
        (21.0, 0.45, True),
        (21.0, 1.2, False),
        (-60.0, 0.45, False),
        (None, 0.45, True),
        (21.0, None, True),
        (float("nan"), 0.5, False),
        (21.0, -0.1, False),
        (None, None, False),
    ],
)
def test_a_sensor_that_lies_is_believed_in_nothing(temperature, humidity, is_sound) -> None:
    assert (sound_climate(Climate(temperature, humidity)) is not None) == is_sound

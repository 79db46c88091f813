"""The checks that are due, with day and reason: the day on which the chance that it has
left the tolerance reaches one in ten.

Pure: no clock, no files.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist
from typing import Any, Literal

import msgspec

from bench.upkeep.dates import date_of
from bench.upkeep.drift import SQUARE, ChartedSeries, charted_series, moisture_swing
from bench.upkeep.history import History
from bench.upkeep.moisture import moisture
from bench.upkeep.quick_check import TURNED_OVER, YEAR_DAYS, whole_check_reason

CHANCE_OF_OUT = 0.10  # of standing outside the tolerance, at which a check is due
SOONEST_DAYS, LATEST_DAYS = 7.0, 91.0  # days; a week, a quarter of a year
# the same where two minutes are enough: by simulation (tests/benchmarks/shop_years.py)
# the longest that halves the days out of tolerance of a whole check each month
LATEST_QUICK = 42.0
SOON_DAYS = 7.0  # days before it is due that it is called soon
MOISTURE_CHANGE = 2.0  # percent, from which on the last result no longer speaks
FRESH_CLIMATE = 7.0  # days that a reading of the air speaks for today
# jigs that move by themselves, a year: before the log knows better, as if one had been
# watched for so long
USUAL_MOVES, USUAL_YEARS = 0.5, 1.0
# common practice, no source
QUICK_MINUTES, WHOLE_MINUTES = 2, 8

Why = Literal["step", "trend", "interval", "moved", "season", "never-checked"]

_normal = NormalDist()


class BeforeLastResult(ValueError):
    """The day asked about lies before the last result, so nothing is known of it."""


class NextCheck(msgspec.Struct, frozen=True):
    day: float
    why: Why


def self_moves(history: History) -> float:
    """The number of times a year that a sled of this shop moves without anybody meaning
    it to."""
    spans: dict[str, tuple[float, float]] = {}
    for one in history.results:
        if one.jig is not None:
            low, high = spans.get(one.jig, (one.day, one.day))
            spans[one.jig] = min(low, one.day), max(high, one.day)
    years = math.fsum(high - low for low, high in spans.values()) / YEAR_DAYS
    moved = sum(event.what in ("dropped", "accepted") for event in history.events)
    return (USUAL_MOVES * USUAL_YEARS + moved) / (USUAL_YEARS + years)


def next_check(one: ChartedSeries, moves_a_year: float) -> NextCheck:
    """moves_a_year: see `self_moves`."""
    period = one.last
    if not period.results:
        return NextCheck(period.baseline.from_day, "moved")
    last = period.results[-1]
    if last.alarm is not None:
        why: Why = "step" if last.alarm == "step" else "trend"
        return NextCheck(last.result.day, why)
    # while nothing is seen: as long again as nothing was seen
    quiet = last.result.day - period.baseline.from_day
    latest = LATEST_QUICK if one.key.set_up == TURNED_OVER else LATEST_DAYS
    days, why = min(max(SOONEST_DAYS, quiet), latest), "interval"
    if one.tolerance is not None:
        sooner, because = _within(one, moves_a_year, days)
        if sooner < days:
            days, why = sooner, because
    return NextCheck(last.result.day + days, why)


def _within(one: ChartedSeries, moves_a_year: float, days: float) -> tuple[float, Why]:
    """The latest day until which the chance of being out stays below its limit, a week
    at least, and what brings it on."""
    ahead = SOONEST_DAYS
    while (
        ahead + 1 <= days
        and chance_of_out(one, moves_a_year, ahead + 1) < CHANCE_OF_OUT
    ):
        ahead += 1
    if ahead + 1 > days:
        return days, "interval"
    found = one.last.trend
    if found is not None and found.significant:
        return ahead, "trend"
    seasonal = one.season is not None and one.season.kept
    still = chance_of_out(one, moves_a_year, ahead + 1, season=False) < CHANCE_OF_OUT
    return ahead, "season" if seasonal and still else "interval"


def chance_of_out(
    one: ChartedSeries, moves_a_year: float, ahead: float, *, season: bool = True
) -> float:
    """That it stands outside its tolerance so many days after its last result. From
    its level, how well that is known, trend, season and what moves by itself."""
    tolerance, last = one.tolerance, one.last.results[-1].result
    assert tolerance is not None and one.last.sigma is not None
    level, spread = _level(one, ahead)
    # what all results share (the square, the travel's scale) is not in their scatter
    spread = math.sqrt(spread**2 + max(0.0, (last.expanded / 2) ** 2 - last.varying**2))
    places = [level]
    if season and one.season is not None and one.season.kept:
        here = one.correction.corrected(last) - last.value
        places = [
            level - here + (end - level + here) * min(1.0, ahead / LATEST_DAYS)
            for end in moisture_swing(one, level)
        ]
    out = max(_outside(place, spread, tolerance) for place in places)
    jumped = _outside(level, math.hypot(spread, tolerance), tolerance)
    return 1 - (1 - out) * math.exp(-moves_a_year * ahead / YEAR_DAYS * jumped)


def _level(one: ChartedSeries, ahead: float) -> tuple[float, float]:
    """Level without the season's part so many days after the last result, and its
    standard uncertainty."""
    period = one.last
    sigma = period.sigma or 0.0
    quiet = [j for j in period.results if j.alarm is None]
    level = math.fsum(j.corrected for j in quiet) / len(quiet)
    known = sigma / math.sqrt(len(quiet))
    found = period.trend
    if found is None or not found.significant:
        return level, known
    day = period.results[-1].result.day + ahead
    spread = math.hypot(known, found.standard * (day - found.middle))
    return found.at(day), spread


def _outside(level: float, spread: float, tolerance: float) -> float:
    if spread <= 0:
        return float(abs(level) > tolerance)
    return _normal.cdf((level - tolerance) / spread) + _normal.cdf(
        (-level - tolerance) / spread
    )


# ---- the document ------------------------------------------------------------------


def due_document(
    history: History, *, at: float, judged: Sequence[ChartedSeries] | None = None
) -> dict[str, Any]:
    """The document that `sweepgauge due --json` prints. at: the day in question;
    judged: the series of the history, where they are known already.

    Raises BeforeLastResult.
    """
    last = max((one.day for one in history.results), default=at)
    if at // 1 < last // 1:
        raise BeforeLastResult(
            f"{date_of(at)} lies before the last result, of {date_of(last)}:"
            " ask for that day or a later one"
        )
    rate = self_moves(history)
    rows = [
        _row(one, history, rate, at)
        for one in _latest(judged or charted_series(history))
    ]
    checked = {one.jig for one in history.results if one.turns_fence}
    rows += [
        _document(history.first_check, jig, NextCheck(at, "never-checked"), at)
        for jig in history.jigs
        if jig not in checked
    ]
    order = ("now", "never-checked", "soon", "later")
    rows.sort(key=lambda row: (order.index(row["state"]), row["by"], row["check"]))
    return {"at": date_of(at), "due": rows}


def _latest(judged: Sequence[ChartedSeries]) -> list[ChartedSeries]:
    """The series with the latest result of each check, sled and saw. A board that
    judges a fence which the square judges too is not due by itself."""
    charted = [
        one
        for one in judged
        if one.key.quantity != SQUARE and one.tolerance is not None
    ]
    by_day = sorted(charted, key=lambda one: one.results[-1].day)
    newest = {one.key[:3]: one for one in by_day}
    latest = [one for one in charted if newest[one.key[:3]] is one]
    squared = {one.key[1:3] for one in latest if one.key.set_up == TURNED_OVER}
    return [
        one
        for one in latest
        if one.key.set_up == TURNED_OVER
        or not one.results[-1].turns_fence
        or one.key[1:3] not in squared
    ]


def _row(
    one: ChartedSeries, history: History, rate: float, at: float
) -> dict[str, Any]:
    key, last, coming = one.key, one.results[-1], next_check(one, rate)
    if _air_changed(one, history, at):
        coming = NextCheck(min(coming.day, at), "season")
    quick = (
        key.set_up == TURNED_OVER
        and coming.why not in ("moved", "step")
        and whole_check_reason(history, jig=key.jig, saw=key.saw, day=at) is None
    )
    return _document(key.check, key.jig, coming, at, key.saw, last.day, quick=quick)


def _document(
    check: str,
    jig: str | None,
    coming: NextCheck,
    at: float,
    saw: str | None = None,
    last: float | None = None,
    *,
    quick: bool = False,
) -> dict[str, Any]:
    state = "later" if coming.day > at + SOON_DAYS else "soon"
    if coming.day <= at:
        state = "now" if last is not None else "never-checked"
    return {
        "check": check,
        "jig": jig,
        "saw": saw,
        "state": state,
        "by": date_of(coming.day),
        "last": None if last is None else date_of(last),
        "reason": coming.why,
        "minutes": QUICK_MINUTES if quick else WHOLE_MINUTES,
        "quick": quick,
    }


def _air_changed(one: ChartedSeries, history: History, at: float) -> bool:
    """Whether the wood has taken up or lost so much that the last result no longer
    speaks for it."""
    if one.key.jig is None or history.climate is None:
        return False
    day, climate = history.climate
    now, then = moisture(climate), moisture(one.results[-1].climate)
    if now is None or then is None or not 0 <= at - day <= FRESH_CLIMATE:
        return False
    return abs(now - then) > MOISTURE_CHANGE

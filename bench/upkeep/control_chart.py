"""The control chart of one baseline period: the score of each result, its alarm, the
trend.

A result is compared with the mean of the baseline's first quiet results, so that a
slow change cannot take the mean along. Individuals beyond three sigma and the EWMA
alarm; run rules are remarked on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import takewhile
from typing import Literal, NamedTuple

import msgspec

from bench.uncertainty.distributions import t_quantile
from bench.upkeep import chart_rules
from bench.upkeep.history import Measurement
from bench.upkeep.moisture import moisture
from bench.upkeep.season import Correction
from bench.upkeep.series import Baseline
from bench.upkeep.shape import (
    NO_SCATTER,
    QUICK_VARIANCE,
    Scatter,
    about_line,
    best_shape,
    fit_shapes,
    result_variance,
)

FIRST_RESULTS = 15  # of which the mean is made, once there are so many
FEWEST_TO_TELL_SHAPES = 6  # results
SURE_SLOPE = 0.99  # that a slope is one: it is asked at every result
AHEAD = 0.5  # of the span looked back on: no day farther ahead is named

Alarm = Literal["step", "creep"]


class ChartedResult(msgspec.Struct, frozen=True):
    """z: the deviation as a normal score. ewma: the weighted mean of the scores, and
    the limit beyond which it alarms. None: the first of a period."""

    result: Measurement
    corrected: float  # less the season's part
    z: float | None = None
    ewma: float | None = None
    ewma_limit: float | None = None
    alarm: Alarm | None = None
    runs: tuple[str, ...] = ()


class Trend(msgspec.Struct, frozen=True):
    """A straight line through a period. slope, its expanded and its standard
    uncertainty: a day. middle, level: mean day and mean value, through which it goes.
    leaves: day on which the tolerance may be left at the earliest, or None."""

    slope: float
    expanded: float
    standard: float
    significant: bool
    middle: float
    level: float
    leaves: float | None = None

    def at(self, day: float) -> float:
        return self.level + self.slope * (day - self.middle)


class ChartedPeriod(msgspec.Struct, frozen=True):
    """A baseline period judged. mean and sigma are None without a result; detectable:
    the step that a further result would have to make to alarm."""

    baseline: Baseline
    results: tuple[ChartedResult, ...]
    mean: float | None = None
    sigma: float | None = None
    detectable: float | None = None
    trend: Trend | None = None

    @property
    def trailing_alarms(self) -> int:
        """Results at its end that alarm, one after the other."""
        alarms = takewhile(lambda one: one.alarm is not None, reversed(self.results))
        return sum(1 for _ in alarms)


class _Quiet(NamedTuple):
    """A result that does not alarm: its value and moisture content, and its weight."""

    day: float
    value: float
    weight: float
    wet: float | None


def _mean(first: Sequence[_Quiet]) -> tuple[float, float, float | None]:
    """The value that further results are compared with: the weighted mean of the first
    quiet ones, their weight, and the mean of their moisture content."""
    origin = first[0].value
    weight = sum(one.weight for one in first)
    mean = origin + sum(one.weight * (one.value - origin) for one in first) / weight
    wets = [one.wet for one in first if one.wet is not None]
    return mean, weight, sum(wets) / len(wets) if wets else None


def charted_period(
    baseline: Baseline,
    correction: Correction,
    elsewhere: Scatter = NO_SCATTER,
    set_up: Scatter = NO_SCATTER,
) -> ChartedPeriod:
    """elsewhere: scatter of the same series' other periods. set_up: scatter of the
    square's error."""
    quiet: list[_Quiet] = []
    judged: list[ChartedResult] = []
    scores: list[float] = []
    weighted = budget = 0.0

    def scatter() -> tuple[float, float]:
        own = about_line([(one.day, one.value, one.weight) for one in quiet])
        return result_variance(own + elsewhere, set_up, math.sqrt(budget))

    for number, one in enumerate(baseline.results, 1):
        value = correction.corrected(one)
        factor = QUICK_VARIANCE if one.quick else 1.0
        budget += ((one.varying or one.expanded / 2) ** 2 - budget) / number
        sigma2, freedom = scatter()
        row = ChartedResult(one, value)
        if quiet and sigma2 > 0:
            mean, weight, wet = _mean(quiet[:FIRST_RESULTS])
            spread = sigma2 * (factor + 1 / weight) + correction.variance(one, wet)
            z = chart_rules.normal_score((value - mean) / math.sqrt(spread), freedom)
            scores.append(z)
            capped = max(-chart_rules.MOST_SCORE, min(chart_rules.MOST_SCORE, z))
            weighted = chart_rules.ewma(weighted, capped)
            limit = chart_rules.LIMIT * chart_rules.ewma_sigma(len(scores))
            alarm = _alarm(z, weighted, limit, [*judged, row])
            runs = tuple(chart_rules.run_rules(scores))
            row = ChartedResult(one, value, z, weighted, limit, alarm, runs)
        judged.append(row)
        if row.alarm is None:
            quiet.append(_Quiet(one.day, value, 1 / factor, moisture(one.climate)))
    if not judged:
        return ChartedPeriod(baseline, ())
    sigma2, freedom = scatter()
    sigma = math.sqrt(sigma2)
    mean, weight, _ = _mean(quiet[:FIRST_RESULTS])
    known = sigma / math.sqrt(weight)
    step = (
        chart_rules.alarm_limit(freedom) * math.hypot(sigma, known) if freedom else 0.0
    )
    slope = fit_trend(judged, sigma)
    return ChartedPeriod(baseline, tuple(judged), mean, sigma, step, slope)


def _alarm(
    z: float, weighted: float, limit: float, judged: Sequence[ChartedResult]
) -> Alarm | None:
    if abs(z) > chart_rules.THREE_SIGMA:
        return "creep" if _is_line(judged) else "step"
    return "creep" if abs(weighted) > limit else None


def _is_line(judged: Sequence[ChartedResult]) -> bool:
    if len(judged) < FEWEST_TO_TELL_SHAPES:
        return False
    days = [one.result.day for one in judged]
    return best_shape(days, [one.corrected for one in judged]).kind == "trend"


def fit_trend(judged: Sequence[ChartedResult], sigma: float) -> Trend | None:
    """Least squares over the days; None where there are too few results, all on one
    day, or where one step says it better (AICc)."""
    n = len(judged)
    days = [one.result.day for one in judged]
    values = [one.corrected for one in judged]
    found = fit_shapes(days, values)
    line = found.get("trend")
    if line is None or min(found.values(), key=lambda one: one.aicc).kind == "step":
        return None
    left = math.sqrt(line.sums.yy / (n - 2))
    standard = max(sigma, left) / math.sqrt(line.times)
    significant = line.aicc < found["level"].aicc and (
        abs(line.slope) > t_quantile(SURE_SLOPE, n - 2) * standard
    )
    expanded = t_quantile(0.95, n - 2) * standard
    middle, level = math.fsum(days) / n, math.fsum(values) / n
    trend = Trend(line.slope, expanded, standard, significant, middle, level)
    leaves = _leaves(judged, trend) if significant else None
    return msgspec.structs.replace(trend, leaves=leaves)


def _leaves(judged: Sequence[ChartedResult], trend: Trend) -> float | None:
    """The first day on which the tolerance may be left, by the steepest slope of the
    interval and less the last result's own uncertainty; None where it lies farther
    ahead than half the span looked back on."""
    last = judged[-1].result
    if last.tolerance is None:
        return None
    here = math.copysign(1.0, trend.slope) * trend.at(last.day)
    steepest = abs(trend.slope) + trend.expanded
    ahead = max(0.0, last.tolerance - last.expanded - here) / steepest
    span = last.day - judged[0].result.day
    return last.day + ahead if ahead <= AHEAD * span else None

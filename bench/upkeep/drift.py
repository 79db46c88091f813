"""Whether what was squared has stayed so: every series of a log, its baseline periods
and alarms, as one JSON document.

Pure: no clock, no files. The document's shape is a promise to other people's tools: add
freely, change no meaning.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import msgspec

from bench.upkeep.control_chart import ChartedPeriod, ChartedResult, charted_period
from bench.upkeep.dates import date_of, time_of
from bench.upkeep.history import History, Measurement
from bench.upkeep.season import (
    MATTERS,
    Correction,
    Season,
    fit_season,
    season_correction,
)
from bench.upkeep.series import Baseline, Key, baselines, by_series
from bench.upkeep.shape import NO_SCATTER, Scatter, best_shape

SQUARE = "square"  # the quantity that is the square's own error


class ChartedSeries(msgspec.Struct, frozen=True):
    """One series with its periods, oldest first; the last may have no results yet."""

    key: Key
    periods: tuple[ChartedPeriod, ...]
    season: Season | None
    correction: Correction
    results: tuple[Measurement, ...]

    @property
    def last(self) -> ChartedPeriod:
        return self.periods[-1]

    @property
    def tolerance(self) -> float | None:
        return self.results[-1].tolerance

    @property
    def alarm(self) -> bool:
        """Whether its latest result alarms and nothing has answered that yet."""
        return self.last.trailing_alarms > 0


def charted_series(history: History) -> list[ChartedSeries]:
    """Every series of the log, by its first result."""
    groups = by_series(history.results)
    set_ups = {
        key: _scatters(baselines(results, history), Correction())
        for key, results in groups.items()
        if key.quantity == SQUARE
    }
    return [_judged(key, results, history, set_ups) for key, results in groups.items()]


def _judged(
    key: Key,
    results: Sequence[Measurement],
    history: History,
    set_ups: dict[Key, list[Scatter]],
) -> ChartedSeries:
    set_up, tolerance = _set_up(key, set_ups), results[-1].tolerance

    def judged(parts: Sequence[Baseline]) -> ChartedSeries:
        season = fit_season(_quiet(parts, tolerance, set_up))
        taken_out = season_correction(season, tolerance)
        periods = tuple(_periods(parts, taken_out, set_up))
        return ChartedSeries(key, periods, season, taken_out, tuple(results))

    def alarms(parts: Sequence[Baseline]) -> list[int]:
        return [period.trailing_alarms for period in judged(parts).periods]

    return judged(baselines(results, history, alarms))


def _periods(
    parts: Sequence[Baseline], taken_out: Correction, set_up: Scatter
) -> list[ChartedPeriod]:
    own = _scatters(parts, taken_out)
    return [
        charted_period(
            part, taken_out, sum([*own[:n], *own[n + 1 :]], NO_SCATTER), set_up
        )
        for n, part in enumerate(parts)
    ]


def _quiet(
    parts: Sequence[Baseline], tolerance: float | None, set_up: Scatter
) -> Sequence[Baseline]:
    """The periods without what alarms at the end of the last one: a step must not be
    taken for a season. The last result is judged by the season of those before it."""
    filled = [part for part in parts if part.results]
    *earlier, last = filled
    if fit_season(parts) is None:
        return parts
    before = [*earlier, msgspec.structs.replace(last, results=last.results[:-1])]
    taken_out = season_correction(fit_season(before), tolerance)
    others = sum(_scatters(earlier, taken_out), NO_SCATTER)
    alarms = charted_period(last, taken_out, others, set_up).trailing_alarms
    if not alarms:
        return parts
    return [*earlier, msgspec.structs.replace(last, results=last.results[:-alarms])]


def _scatters(parts: Sequence[Baseline], taken_out: Correction) -> list[Scatter]:
    """The scatter of each period about its own shape."""
    return [
        best_shape(
            [one.day for one in part.results],
            [taken_out.corrected(one) for one in part.results],
        ).scatter
        if len(part.results) > 1
        else NO_SCATTER
        for part in parts
    ]


def _set_up(key: Key, set_ups: dict[Key, list[Scatter]]) -> Scatter:
    """Scatter of the square's error that speaks for a series: measured by the same
    check, instrument and square, on whatever sled."""
    alike = (key.check, key.instrument, key.square, key.set_up)
    return sum(
        (
            scatter
            for of, scatters in set_ups.items()
            if of != key and (of.check, of.instrument, of.square, of.set_up) == alike
            for scatter in scatters
        ),
        NO_SCATTER,
    )


# ---- the document ------------------------------------------------------------------


def drift_document(
    history: History,
    *,
    jig: str | None = None,
    check: str | None = None,
    judged: Sequence[ChartedSeries] | None = None,
) -> dict[str, Any]:
    """The document that `sweepgauge drift --json` prints; jig, check: only those
    series; judged: its series, where they are known already.

    Beside what the contract names: `hold`, `set_up`, `instrument` and `square` of each
    series, `ewma_limit` and `runs` of each result, and `left_out`: results that could
    not be charted, and why.
    """
    from bench.upkeep.due_dates import next_check, self_moves

    rate = self_moves(history)
    return {
        "series": [
            _series(one, date_of(next_check(one, rate).day))
            for one in judged or charted_series(history)
            if jig in (None, one.key.jig) and check in (None, one.key.check)
        ],
        "left_out": left_out_rows(history),
    }


def left_out_rows(history: History) -> list[dict[str, str]]:
    """The results that could not be charted, with the reason."""
    return [
        {"id": one.finding, "at": one.at, "why": one.why} for one in history.left_out
    ]


def _series(one: ChartedSeries, look_again: str) -> dict[str, Any]:
    key = one.key
    return {
        "check": key.check,
        "jig": key.jig,
        "saw": key.saw,
        "quantity": key.quantity,
        "unit": key.unit,
        "tolerance": one.tolerance,
        "alarm": one.alarm,
        "look_again": look_again,
        "season": _season(one),
        "baselines": [_period(period) for period in one.periods],
        "hold": key.hold,
        "set_up": key.set_up,
        "instrument": key.instrument,
        "square": key.square,
        "way": one.results[-1].way,
    }


def _season(one: ChartedSeries) -> dict[str, Any] | None:
    """low, high: where it stands in the driest and in the wettest air seen."""
    season = one.season
    if season is None:
        return None
    # where the charts took nothing out the mean is that of the air it was seen in
    mean = next((p.mean for p in reversed(one.periods) if p.mean is not None), 0.0)
    dry, wet = season.swing(mean)
    matters = one.tolerance is None or abs(wet - dry) >= MATTERS * one.tolerance
    return {
        "kept": season.kept,
        "per_percent_moisture": season.per_percent,
        "uncertainty": season.expanded,
        "low": dry,
        "high": wet,
        "significant": season.kept and matters,
        "dry_percent": season.dry,
        "wet_percent": season.wet,
    }


def moisture_swing(one: ChartedSeries, level: float) -> tuple[float, float]:
    """A level without the season's part, in the driest and in the wettest air."""
    season = one.season
    if season is None or not season.kept:
        return level, level
    return season.swing(level)


def _period(period: ChartedPeriod) -> dict[str, Any]:
    found = period.trend
    return {
        "from": date_of(period.baseline.from_day),
        "reason": period.baseline.reason,
        "after_move_of": period.baseline.after_move_of,
        "mean": period.mean,
        "sigma": period.sigma,
        "detectable": period.detectable,
        "trend": None
        if found is None
        else {
            "per_day": found.slope,
            "uncertainty": found.expanded,
            "significant": found.significant,
            "leaves_tolerance": None if found.leaves is None else date_of(found.leaves),
        },
        "results": [_result(one) for one in period.results],
    }


def _result(one: ChartedResult) -> dict[str, Any]:
    climate = one.result.climate
    return {
        "id": one.result.finding,
        "at": time_of(one.result.day),
        "value": one.result.value,
        "uncertainty": one.result.expanded,
        "z": one.z,
        "ewma": one.ewma,
        "alarm": one.alarm,
        "temperature": None if climate is None else climate.temperature,
        "humidity": None if climate is None else climate.humidity,
        "corrected": one.corrected,
        "ewma_limit": one.ewma_limit,
        "runs": list(one.runs),
        "quick": one.result.quick,
    }

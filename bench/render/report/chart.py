"""A chart over time as shapes on a plane: where points, bars, band and labels stand.

Units of the plane are those of the SVG's view box; x grows to the right, y down.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import msgspec

from bench.render.report.figures import Scale, tick_words
from bench.render.report.sentences import report_text
from bench.render.result import good_edges
from bench.upkeep.dates import date_of, day_of

WIDTH, HEIGHT = 640.0, 330.0
LEFT, RIGHT, TOP, BOTTOM = 66.0, 626.0, 46.0, 284.0
PAD = 0.08  # of the span, left free at each end
MOST_TICKS = 6
LABEL_WIDTH = 78.0  # width that the label of an event takes
STEPS_MONTHS = (1, 2, 3, 6, 12, 24, 60, 120, 240)


class Mark(msgspec.Struct, frozen=True):
    """A label at a place of an axis, or an event; y: of its text."""

    at: float
    words: str
    y: float = 0.0


class Point(msgspec.Struct, frozen=True):
    """A result with the ends of its give or take. alarm, quick: how it is drawn."""

    x: float
    y: float
    low: float
    high: float
    alarm: bool
    quick: bool
    words: str


class Chart(msgspec.Struct, frozen=True):
    """season: corners of the curve that the season's part follows. means: x from, x to
    and y of each baseline period."""

    width: float
    height: float
    box: tuple[float, float, float, float]  # left, top, right, bottom
    zero: float | None
    band: tuple[float, float] | None  # y of the upper and lower limit
    x_ticks: list[Mark]
    y_ticks: list[Mark]
    events: list[Mark]
    means: list[tuple[float, float, float]]
    season: list[tuple[float, float]]
    points: list[Point]
    axis: str
    up: str
    down: str


class _Axis(msgspec.Struct, frozen=True):
    low: float
    high: float
    start: float
    end: float

    def place(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return round(self.start + share * (self.end - self.start), 1)


def chart(
    series: Mapping[str, Any], scale: Scale, ways: tuple[str, str] = ("", "")
) -> Chart:
    """Of one series of the drift document, which has a result. ways: what a value above
    and below zero means."""
    periods = series["baselines"]
    results = [one for period in periods for one in period["results"]]
    days = [day_of(one["at"]) for one in results]
    edges = [day_of(period["from"]) for period in periods]
    x = _padded([*days, *edges[1:]], LEFT, RIGHT, 1.0)
    limit = series["tolerance"]
    values = [
        edge
        for one in results
        for edge in (
            one["value"] - one["uncertainty"],
            one["value"] + one["uncertainty"],
        )
    ]
    limits = [] if limit is None else good_edges(limit, *ways)
    least = max(1e-12, (limit or 0.0) * 0.1)
    y = _padded([*values, *limits], BOTTOM, TOP, least)
    return Chart(
        width=WIDTH,
        height=HEIGHT,
        box=(LEFT, TOP, RIGHT, BOTTOM),
        zero=y.place(0.0) if y.low < 0 < y.high else None,
        band=None if limit is None else (y.place(limits[1]), y.place(limits[0])),
        x_ticks=_month_ticks(x),
        y_ticks=_value_ticks(y, scale),
        events=_events(periods[1:], edges[1:], x),
        means=[*_means(periods, x, y)],
        season=_season(series, results, days, x, y),
        points=[_point(one, x, y, scale) for one in results],
        axis=scale.axis,
        up=ways[0],
        down=ways[1],
    )


def _padded(values: Sequence[float], start: float, end: float, least: float) -> _Axis:
    """least: how much the axis shows on each side of a single value."""
    low, high = min(values), max(values)
    pad = max(PAD * (high - low), least)
    return _Axis(low - pad, high + pad, start, end)


def _month_ticks(x: _Axis) -> list[Mark]:
    first, last = date_of(x.low), date_of(x.high)
    year, month = int(first[:4]), int(first[5:7])
    months = 12 * (int(last[:4]) - year) + int(last[5:7]) - month
    step = next((s for s in STEPS_MONTHS if months / s <= MOST_TICKS), STEPS_MONTHS[-1])
    marks = []
    for number in range(12 * year + month - 1, 12 * year + month + months):
        if number % step:
            continue
        text = f"{number // 12:04}-{number % 12 + 1:02}"
        day = day_of(text + "-01")
        if x.low <= day <= x.high:
            marks.append(Mark(x.place(day), text[:4] if step >= 12 else text))
    return marks or [Mark(x.place((x.low + x.high) / 2), date_of((x.low + x.high) / 2))]


def _value_ticks(y: _Axis, scale: Scale) -> list[Mark]:
    """At round numbers of the unit that is shown."""
    low, high = y.low * scale.factor, y.high * scale.factor
    rough = (high - low) / 5
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(s * power for s in (1, 2, 5, 10) if s * power >= rough)
    decimals = max(0, -math.floor(math.log10(step) + 1e-9))
    return [
        Mark(y.place(n * step / scale.factor), tick_words(n * step, decimals))
        for n in range(math.ceil(low / step), math.floor(high / step) + 1)
    ]


def _events(
    periods: Sequence[Mapping[str, Any]], edges: Sequence[float], x: _Axis
) -> list[Mark]:
    """Labels that would lie on one another stand in two rows."""
    marks: list[Mark] = []
    ends = [-LABEL_WIDTH, -LABEL_WIDTH]
    for period, day in zip(periods, edges, strict=True):
        at = x.place(day)
        row = 0 if at - ends[0] >= LABEL_WIDTH or ends[0] <= ends[1] else 1
        clear = at - ends[row] >= LABEL_WIDTH
        if clear:
            ends[row] = at
        words = report_text(f"event-{period['reason']}") if clear else ""
        marks.append(Mark(at, words, TOP - 8 - 16 * row))
    return marks


def _means(
    periods: Sequence[Mapping[str, Any]], x: _Axis, y: _Axis
) -> list[tuple[float, float, float]]:
    return [
        (
            x.place(day_of(period["results"][0]["at"])),
            x.place(day_of(period["results"][-1]["at"])),
            y.place(period["mean"]),
        )
        for period in periods
        if len(period["results"]) > 1 and period["mean"] is not None
    ]


def _season(
    series: Mapping[str, Any],
    results: Sequence[Mapping[str, Any]],
    days: Sequence[float],
    x: _Axis,
    y: _Axis,
) -> list[tuple[float, float]]:
    """The curve that the season alone makes of the last mean, at each result with a
    climate."""
    season = series["season"]
    means = [p["mean"] for p in series["baselines"] if p["mean"] is not None]
    if season is None or not season["kept"] or not means:
        return []
    return [
        (x.place(day), y.place(means[-1] + one["value"] - one["corrected"]))
        for one, day in zip(results, days, strict=True)
        if one.get("corrected") is not None and one["humidity"] is not None
    ]


def _point(one: Mapping[str, Any], x: _Axis, y: _Axis, scale: Scale) -> Point:
    value, give = one["value"], one["uncertainty"]
    return Point(
        x=x.place(day_of(one["at"])),
        y=y.place(value),
        low=y.place(value - give),
        high=y.place(value + give),
        alarm=one["alarm"] is not None,
        quick=bool(one.get("quick")),
        words=f"{one['at'][:10]}: {scale.give_or_take(value, give)}",
    )

"""One series of results over time, with the band that is good enough."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any

from bench.console.canvas import Label, overlaid
from bench.console.plot import DotCanvas
from bench.console.text import Block
from bench.console.widgets.drawing import Drawing
from bench.console.widgets.words import Words
from bench.render.result import told_over
from bench.render.upkeep import drift_lines
from bench.units import length_words

LEAST_HIGH, LEAST_WIDE = 6, 30
DASH = 40  # dots of a band's edge


class DriftWords(Words):
    """What the series says, in whole sentences; None: there is no series."""

    watches = frozenset({"gear"})

    def __init__(self, series: Mapping[str, Any] | None) -> None:
        super().__init__()
        self._series = series

    def sentences(self) -> Iterable[tuple[str, str]]:
        if self._series is None:
            yield "No results yet that could have changed.", "text"
            return
        document = {"series": [self._series], "left_out": []}
        first, *lines = drift_lines(document, self.view.units)
        yield first, "strong"
        for line in lines:
            yield line.strip(), "text"


class DriftChart(Drawing):
    """Each result with its give or take; a dotted upright where it was moved."""

    watches = frozenset({"gear"})

    def __init__(self, series: Mapping[str, Any]) -> None:
        super().__init__()
        self._series = series

    def draw(self, wide: int, high: int) -> Block:
        results = [r for b in self._series["baselines"] for r in b["results"]]
        if high < LEAST_HIGH or wide < LEAST_WIDE or not results:
            return []
        days = [_day(r["at"]) for r in results]
        limit = self._series["tolerance"] or 0.0
        most = max([limit, *(abs(r["value"]) + r["uncertainty"] for r in results)])
        first, span = days[0], max(1, days[-1] - days[0])
        canvas = DotCanvas(wide, high - 1, self.glyphs)

        def x(day: int) -> float:
            return 0.04 + 0.92 * (day - first) / span

        def y(value: float) -> float:
            return 0.5 + 0.45 * value / (most or 1.0)

        for n in range(DASH):
            canvas.dot(n / (DASH - 1), y(limit), "old-trace")
            canvas.dot(n / (DASH - 1), y(-limit), "old-trace")
            for baseline in self._series["baselines"][1:]:
                at = x(_day(baseline["from"]))
                if 0.0 <= at <= 1.0 and n % 2:
                    canvas.dot(at, n / (DASH - 1), "rule")
        for day, one in zip(days, results, strict=True):
            for n in range(9):
                off = (n - 4) / 4 * one["uncertainty"]
                canvas.dot(x(day), y(one["value"] + off), "trace")
        for day, one in zip(days, results, strict=True):
            role = "bad" if one["alarm"] else "strong"
            canvas.sign(x(day), y(one["value"]), self.glyphs.here, role)  # type: ignore[arg-type]
        labels: list[Label] = [
            (0, high - 1, results[0]["at"][:10], "faint", "left"),
            (wide - 1, high - 1, results[-1]["at"][:10], "faint", "right"),
        ]
        if limit:
            words = f"dotted: good enough within {self._limit(limit)}"
            labels.append((wide // 2, high - 1, words, "faint", "middle"))
        return overlaid([*canvas.block(), []], wide, self.glyphs, labels)

    def _limit(self, limit: float) -> str:
        units = self.view.units
        span = told_over(None, units) if self._series["unit"] == "rad" else 1.0
        return length_words(limit * span, units)


def _day(at: str) -> int:
    return date.fromisoformat(at[:10]).toordinal()

"""The contents of the pages: the move, the sled, the forecast of the cut, the
charts."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from typing import Any

from bench.console.drawings.canvas import Canvas
from bench.console.drawings.cut import draw_bars, draw_edge
from bench.console.drawings.sled import draw_sled
from bench.console.drawings.styled_text import Block, Role
from bench.console.host import LOW
from bench.console.widgets.viewer import Sentences, Viewer
from bench.protocol import Jig
from bench.render.result import (
    good_edges,
    leaves,
    short_move,
    slope_span,
)
from bench.render.upkeep import CHART_WORDS, drift_lines, series_ways
from bench.units import System, length_words

EDGE_HIGH = 18  # rows of the part's edge at most
LEAST_HIGH, LEAST_WIDE = 6, 30  # of a chart
NO_SLED = "Choose a sled first: 7."


def move_words(v: Viewer) -> Sentences:
    """The move, the leaves to stack and their place."""
    finding, units = v.view.finding, v.view.units
    if finding is None or finding.proposed is None:
        yield "Nothing to move.", "text"
        return
    yield short_move(finding.proposed, units), "act"
    told = leaves(finding.proposed, v.view.find_jig(finding.jig), units)
    for text in told[:1] if v.app.size.height < LOW else told:
        yield text, "text"


def move_picture(v: Viewer, wide: int, high: int) -> Block:
    """The sled with its moving end, its leaves and its stop."""
    finding = v.view.finding
    if finding is None or finding.proposed is None:
        return []
    jig = v.view.find_jig(finding.jig)
    if jig is None:
        return []
    return draw_sled(jig, finding.proposed, wide, high, v.glyphs, v.view.units)


def sled_picture(v: Viewer, wide: int, high: int, jig: Jig | None = None) -> Block:
    """A sled as it is described; the one that the screen is about."""
    jig = jig or v.view.find_jig()
    if jig is None:
        return []
    return draw_sled(jig, None, wide, high, v.glyphs, v.view.units)


def notes(v: Viewer) -> Sentences:
    """The daemon's notes of its start, and the notices since."""
    yield "What was noted", "strong"
    noted = v.view.notes
    for words in (*noted, *(s.words for s in v.view.notices if s.words not in noted)):
        yield words, "text"


# ---- the cut -------------------------------------------------------------------------


def cut_words(v: Viewer) -> Sentences:
    """The forecast of the cut in words."""
    document = v.view.cut
    yield "How will the cut come out?", "strong"
    if document is None or "sleds" in document:
        yield NO_SLED if document else "Nothing is known of it yet.", "text"
        return
    # loaded when it is looked at: the start must stay quick
    from bench.render.cut import answer_lines

    *lines, last = answer_lines(document, v.view.units)
    for line in lines:
        yield line, "text"
    yield f"{v.glyphs.right_mark} {last}", "act"


def cut_picture(v: Viewer, wide: int, high: int) -> Block:
    """The cut that is to be expected: the edge, and its causes as signed bars."""
    document = v.view.cut
    if document is None or "rows" not in document:
        return []
    bars = draw_bars(document, wide, v.glyphs)
    room = min(EDGE_HIGH, high - len(bars) - 1)
    return [*bars, [], *draw_edge(document, wide, room, v.glyphs)]


def shop_words(v: Viewer) -> Sentences:
    """The forecast of all sleds."""
    yield "All sleds of the shop", "strong"
    document = v.view.shop
    if document is None or not document["sleds"]:
        yield "No sled is described yet.", "text"
        return
    from bench.render.cut import sled_lines  # as above

    for line in sled_lines(document, v.view.units):
        yield line, "text"


# ---- the charts ----------------------------------------------------------------------


def drift_words(v: Viewer, series: Mapping[str, Any] | None) -> Sentences:
    """The series in whole sentences; None: there is no series."""
    if series is None:
        yield "No results yet that could have changed.", "text"
        return
    document = {"series": [series], "left_out": []}
    first, *lines = drift_lines(document, v.view.units)
    yield first, "strong"
    for line in lines:
        yield line.strip(), "text"


def drift_chart(v: Viewer, wide: int, high: int, series: Mapping[str, Any]) -> Block:
    """Each result with its give or take; a dashed upright where a baseline begins."""
    results = [r for b in series["baselines"] for r in b["results"]]
    if high < LEAST_HIGH or wide < LEAST_WIDE or not results:
        return []
    days = [_day(r["at"]) for r in results]
    limit = series["tolerance"] or 0.0
    most = max([limit, *(abs(r["value"]) + r["uncertainty"] for r in results)]) or 1.0
    first, span = days[0], max(1, days[-1] - days[0])
    canvas = Canvas(wide, high, v.glyphs, high - 1)

    def x(day: int) -> float:
        return 0.04 + 0.92 * (day - first) / span

    def y(value: float) -> float:
        return 0.5 + 0.45 * value / most

    above, below = series_ways(series)
    for edge in good_edges(limit, above, below):
        canvas.line((0.0, y(edge)), (1.0, y(edge)), "old-trace", dashed=True)
    for baseline in series["baselines"][1:]:
        at = x(_day(baseline["from"]))
        if 0.0 <= at <= 1.0:
            canvas.line((at, 0.0), (at, 1.0), "rule", dashed=True)
            _beside(canvas, at, [1.0, 0.0], baseline["reason"], "faint")
    for day, one in zip(days, results, strict=True):
        at, value, give = x(day), one["value"], one["uncertainty"]
        canvas.line((at, y(value - give)), (at, y(value + give)), "trace")
        canvas.sign(at, y(value), v.glyphs.middle, "bad" if one["alarm"] else "strong")
        if one["alarm"]:
            near = [y(value) + rows / canvas.field for rows in (0, 1, -1)]
            _beside(canvas, at, near, one["alarm"], "bad")
    _chart_words(canvas, series, results, v.view.units)
    return canvas.block()


def _beside(
    canvas: Canvas, x: float, heights: list[float], code: str, role: Role
) -> None:
    """What a mark stands for, at one of the heights to the right or left of it."""
    column, last = int(x * canvas.wide), canvas.field - 1
    rows = [max(0, min(last, int((1.0 - y) * canvas.field))) for y in heights]
    sides = ((2, "left"), (-2, "right"))
    places = [(column + step, row, side) for row in rows for step, side in sides]
    canvas.label_where_free(CHART_WORDS.get(code, code), role, *places)


def _chart_words(
    canvas: Canvas, series: Mapping[str, Any], results: list[Any], units: System
) -> None:
    """The words for up and down, for the dashed lines, for the first and the last
    day."""
    limit = series["tolerance"]
    above, below = series_ways(series)
    canvas.label(0, 0, above, "faint")
    canvas.label(0, canvas.high - 2, below, "faint")
    length = slope_span(None, units) if series["unit"] == "rad" else 1.0
    within = (
        f"dashed: good enough within {length_words((limit or 0.0) * length, units)}"
    )
    canvas.foot(results[0]["at"][:10], within if limit else "", results[-1]["at"][:10])


def _day(at: str) -> int:
    return date.fromisoformat(at[:10]).toordinal()

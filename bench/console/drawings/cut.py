"""The forecast of a cut drawn: the part's edge against square, and its causes as bars.

What is right of the middle makes the part longer away from the sled fence.
"""

from __future__ import annotations

from typing import Any

from bench.console.drawings.canvas import Canvas
from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.styled_text import Block, Role

CAUSES = {
    "fence": "sled fence",
    "bow": "fence's bow",
    "slot": "slot's bend",
    "heel": "rear teeth",
    "play": "play",
    "seat": "seat",
    "season": "season",
}
NAME_WIDE = 12
LEAST_WIDE, LEAST_HIGH = 30, 6
COVERAGE = 1.96  # standard uncertainties of 95 %


def draw_bars(document: dict[str, Any], wide: int, glyphs: GlyphSet) -> Block:
    """A row for each cause: how far it turns the edge, and within how much."""
    rows, half = document["rows"], (wide - NAME_WIDE - 2) // 2
    most = max((_reach(row) for row in rows), default=0.0)
    if half < 6 or most <= 0:
        return []
    canvas, zero = Canvas(wide, len(rows) + 1, glyphs), NAME_WIDE + 1 + half
    canvas.label(zero - 2, 0, "shorter", "faint", "right")
    canvas.label(zero + 2, 0, "longer", "faint")
    canvas.words(zero, 0, glyphs.down, "faint")
    way = 1 if document["at"] != "right" else -1
    for y, row in enumerate(rows, 1):
        value = way * row["value"] / most * half
        give = COVERAGE * row["standard_uncertainty"] / most * half
        canvas.words(0, y, CAUSES[row["part"]], "text")
        _span(canvas, zero, y, value - give, value + give, glyphs.across, "faint")
        if abs(value) >= 0.5:
            _span(canvas, zero, y, min(value, 0), max(value, 0), glyphs.full, "trace")
        canvas.words(zero, y, glyphs.down, "faint")
    return canvas.block()


def _span(
    c: Canvas, zero: int, y: int, low: float, high: float, sign: str, role: Role
) -> None:
    first, last = round(low), round(high)
    c.words(zero + first, y, sign * (last - first + 1), role)


def draw_edge(
    document: dict[str, Any], wide: int, high: int, glyphs: GlyphSet
) -> Block:
    """The part from above: its edge on the sled fence below, its cut edge standing on
    it, far too steep, between the dashed lines of what is good enough."""
    if wide < LEAST_WIDE or high < LEAST_HIGH:
        return []
    value, limit = document["square"]["value"], document["tolerance"]
    give = COVERAGE * document["square"]["uncertainty"]
    steep = 0.4 / max(abs(value) + give, 1.2 * limit, 1e-9)
    canvas = Canvas(wide, high, glyphs, high - 2)
    canvas.line((0.0, 0.0), (1.0, 0.0), "wood")
    for edge in (-limit, limit):
        canvas.line((0.5, 0.0), (0.5 + edge * steep, 1.0), "old-trace", dashed=True)
    # a fence turned counter-clockwise, drawn level, has the cut lean clockwise
    canvas.line((0.5, 0.0), (0.5 + value * steep, 1.0), "trace")
    at = (wide - 2, "right") if document["at"] == "right" else (1, "left")
    canvas.label(at[0], 0, "part", "strong", at[1])
    canvas.label(1, high - 2, "sled fence", "faint")
    canvas.label(wide // 2, high - 1, "you", "strong", "middle")
    canvas.label(wide - 1, high - 1, "dashed: good enough", "faint", "right")
    return canvas.block()


def _reach(row: dict[str, Any]) -> float:
    return float(abs(row["value"]) + COVERAGE * row["standard_uncertainty"])

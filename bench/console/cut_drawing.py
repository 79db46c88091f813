"""The forecast of a cut drawn: the part's edge against square, and its causes as bars.

What is right of the middle makes the part longer away from the sled fence.
"""

from __future__ import annotations

from typing import Any

from bench.console.canvas import Label, overlaid
from bench.console.glyphs import GlyphSet
from bench.console.plot import DotCanvas
from bench.console.text import Block, Line, fit

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
DOTS = 200  # dots of a line, more than any screen has
COVERAGE = 1.96  # standard uncertainties of 95 %


def draw_bars(document: dict[str, Any], wide: int, glyphs: GlyphSet) -> Block:
    """A row for each cause: how far it turns the edge, and within how much."""
    rows = document["rows"]
    half = (wide - NAME_WIDE - 2) // 2
    most = max((_reach(row) for row in rows), default=0.0)
    if half < 6 or most <= 0:
        return []
    way = 1 if document["at"] != "right" else -1
    head = f"{'shorter':>{NAME_WIDE + 1 + half - 1}} {glyphs.down} longer"
    out: Block = [fit([(head, "faint")], wide)]
    for row in rows:
        value = way * row["value"] / most * half
        give = COVERAGE * row["standard_uncertainty"] / most * half
        line: Line = [(f"{CAUSES[row['part']]:<{NAME_WIDE}} ", "text")]
        for at in range(-half, half + 1):
            if at == 0:
                line.append((glyphs.down, "faint"))
            elif min(value, 0) - 0.5 < at < max(value, 0) + 0.5 and abs(value) >= 0.5:
                line.append((glyphs.full, "trace"))
            elif value - give <= at <= value + give:
                line.append((glyphs.across, "faint"))
            else:
                line.append((" ", "text"))
        out.append(fit(line, wide))
    return out


def draw_edge(
    document: dict[str, Any], wide: int, high: int, glyphs: GlyphSet
) -> Block:
    """The part from above: its edge on the sled fence below, its cut edge standing on
    it, far too steep, between the dotted lines of what is good enough."""
    if wide < LEAST_WIDE or high < LEAST_HIGH:
        return []
    value, limit = document["square"]["value"], document["tolerance"]
    give = COVERAGE * document["square"]["uncertainty"]
    steep = 0.4 / max(abs(value) + give, 1.2 * limit, 1e-9)
    canvas = DotCanvas(wide, high - 2, glyphs)
    for n in range(DOTS):
        y = n / (DOTS - 1)
        canvas.dot(y, 0.0, "wood")
        if n % 8 < 4:
            canvas.dot(0.5 - limit * steep * y, y, "old-trace")
            canvas.dot(0.5 + limit * steep * y, y, "old-trace")
        # a fence turned counter-clockwise, drawn level, has the cut lean clockwise
        canvas.dot(0.5 + value * steep * y, y, "trace")
    part = "right" if document["at"] == "right" else "left"
    labels: list[Label] = [
        (1 if part == "left" else wide - 2, 0, "part", "strong", part),
        (1, high - 2, "sled fence", "faint", "left"),
        (wide // 2, high - 1, "you", "strong", "middle"),
    ]
    return overlaid([*canvas.block(), [], []], wide, glyphs, labels)


def _reach(row: dict[str, Any]) -> float:
    return float(abs(row["value"]) + COVERAGE * row["standard_uncertainty"])

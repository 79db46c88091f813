"""A part that is turned a little, seen from above; up is away from you.

It is drawn from a quantity in rad, whose sign is that of the turn: counter-clockwise is
positive. The turn is drawn far too steep, and the band that is good enough as much so,
which makes the two comparable.
"""

from __future__ import annotations

import msgspec

from bench.console.canvas import overlaid
from bench.console.glyphs import GlyphSet
from bench.console.plot import DotCanvas
from bench.console.text import Block, Role
from bench.protocol import Jig, Quantity
from bench.render.result import told_over
from bench.units import System, rounded_words

LEAST_WIDE, LEAST_HIGH = 30, 5
MOST_HIGH = 12
DOTS = 400  # dots of a line, more than any screen has


class Part(msgspec.Struct, frozen=True):
    """What is drawn. across: from left to right, else from front to rear."""

    label: str
    across: bool
    role: Role


# by the name of the quantity
PARTS = {
    "fence": Part("sled fence", True, "wood"),
    "board": Part("board", True, "wood"),
    "blade": Part("blade", False, "steel"),
    "rip-fence": Part("rip fence", False, "steel"),
    "toe": Part("rip fence", False, "steel"),
}


def draw_rotation(
    q: Quantity,
    jig: Jig | None,
    board: float | None,
    wide: int,
    high: int,
    glyphs: GlyphSet,
    units: System,
) -> Block:
    """Empty where the quantity is of nothing that is known to be drawn."""
    part = PARTS.get(q.name)
    if part is None or wide < LEAST_WIDE or high < LEAST_HIGH:
        return []
    high = min(high, MOST_HIGH)
    limit = q.tolerance or 0.0
    steep = 0.42 / max(abs(q.value) + q.uncertainty, limit * 1.2, 1e-9)
    if part.across:
        return _across(q, part, jig, board, wide, high, glyphs, units, steep)
    return _along(q, part, wide, high, glyphs, steep)


def _across(q, part, jig, board, wide, high, g, units, steep):  # type: ignore[no-untyped-def]
    """A sled fence: its pivot stays, its free end stands off the line of square."""
    canvas = DotCanvas(wide, high - 1, g)
    free_left = jig is None or jig.pivot == "right"
    for n in range(DOTS):
        x = n / (DOTS - 1)
        reach = (1.0 - x) if free_left else -x  # left of the pivot, as a share
        for edge in (-(q.tolerance or 0.0), q.tolerance or 0.0):
            if n % 8 < 4 and q.tolerance:
                canvas.dot(x, 0.5 - edge * steep * abs(reach), "old-trace")
        canvas.dot(x, 0.5 - q.value * steep * reach, part.role)
    off = -q.value if free_left else q.value
    length = told_over(board, units)
    much = rounded_words(abs(off) * length, q.uncertainty * length, units)
    where = "away from you" if off > 0 else "toward you"
    label = f"{'left' if free_left else 'right'} end {much} {where}"
    row = 0 if off <= 0 else high - 2
    end = "left" if free_left else "right"
    texts = [
        (1 if free_left else wide - 2, row, label, "strong", end),
        (
            wide - 2 if free_left else 1,
            high - 1,
            "pivot",
            "faint",
            "right" if free_left else "left",
        ),
        (wide // 2, high - 1, "you", "strong", "middle"),
    ]
    if q.tolerance:
        texts.append(
            (
                1 if free_left else wide - 2,
                high - 1,
                "between the dots: good enough",
                "faint",
                end,
            )
        )
    return overlaid([*canvas.block(), []], wide, g, texts)


def _along(q, part, wide, high, g, steep):  # type: ignore[no-untyped-def]
    """A blade or a rip fence: front below, rear above; the rear stands to one side."""
    canvas = DotCanvas(wide, high, g)
    share = 0.8 / wide * high  # a cell is about twice as high as wide
    for n in range(DOTS):
        y = n / (DOTS - 1)
        for edge in (-(q.tolerance or 0.0), q.tolerance or 0.0):
            if n % 8 < 4 and q.tolerance:
                canvas.dot(0.5 - edge * steep * share * y, y, "old-trace")
        for off in (-0.004, 0.0, 0.004):
            canvas.dot(0.5 + off - q.value * steep * share * y, y, part.role)
    texts = [
        (1, 0, f"rear of the {part.label}", "faint", "left"),
        (1, high - 1, "front, you stand here", "strong", "left"),
    ]
    if q.tolerance:
        texts.append(
            (wide - 2, high - 1, "between the dots: straight enough", "faint", "right")
        )
    return overlaid(canvas.block(), wide, g, texts)

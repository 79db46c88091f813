"""A part that is turned a little, seen from above; up is away from you.

It is drawn from a quantity in rad, whose sign is that of the turn: counter-clockwise is
positive. The turn is drawn far too steep, and the band that is good enough as much so,
which makes the two comparable.
"""

from __future__ import annotations

import msgspec

from bench.console.canvas import Label, overlaid
from bench.console.glyphs import GlyphSet
from bench.console.plot import DotCanvas
from bench.console.text import Block, Role
from bench.protocol import Jig, Quantity
from bench.render.result import told_over
from bench.units import System, rounded_words

LEAST_WIDE, LEAST_HIGH = 30, 5
MOST_HIGH = 24
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
        return _across(
            q, jig, told_over(board, units), wide, high, glyphs, units, steep
        )
    return _along(q, part, wide, high, glyphs, steep)


def _across(
    q: Quantity,
    jig: Jig | None,
    length: float,
    wide: int,
    high: int,
    glyphs: GlyphSet,
    units: System,
    steep: float,
) -> Block:
    """A sled fence: its pivot stays, its free end stands off the line of square."""
    canvas = DotCanvas(wide, high - 2, glyphs)
    free_left = jig is None or jig.pivot == "right"
    limit = q.tolerance or 0.0
    for n in range(DOTS):
        x = n / (DOTS - 1)
        reach = (1.0 - x) if free_left else -x  # left of the pivot, as a share
        if n % 8 < 4 and limit:
            canvas.dot(x, 0.5 - limit * steep * reach, "old-trace")
            canvas.dot(x, 0.5 + limit * steep * reach, "old-trace")
        canvas.dot(x, 0.5 - q.value * steep * reach, "wood")
    off = -q.value if free_left else q.value
    much = rounded_words(abs(off) * length, q.uncertainty * length, units)
    free, pivot = ("left", "right") if free_left else ("right", "left")
    column = {"left": 0, "right": wide - 1}
    where = "away from you" if off > 0 else "toward you"
    labels: list[Label] = [
        (column[free], high - 2, f"{free} end {much} {where}", "strong", free),
        (column[pivot], high - 2, "pivot", "faint", pivot),
        (wide // 2, high - 1, "you", "strong", "middle"),
    ]
    return overlaid([*canvas.block(), [], []], wide, glyphs, labels)


def _along(
    q: Quantity, part: Part, wide: int, high: int, glyphs: GlyphSet, steep: float
) -> Block:
    """A blade or a rip fence: front below, rear above; the rear stands to one side."""
    canvas = DotCanvas(wide, high - 1, glyphs)
    limit = q.tolerance or 0.0
    share = 0.8 * high / wide  # a cell is about twice as high as wide
    for n in range(DOTS):
        y = n / (DOTS - 1)
        if n % 8 < 4 and limit:
            canvas.dot(0.5 - limit * steep * share * y, y, "old-trace")
            canvas.dot(0.5 + limit * steep * share * y, y, "old-trace")
        for thick in (-0.004, 0.0, 0.004):
            canvas.dot(0.5 + thick - q.value * steep * share * y, y, part.role)
    labels: list[Label] = [
        (1, 0, "rear", "faint", "left"),
        (1, high - 2, "front", "faint", "left"),
        (wide - 2, high - 2, part.label, "faint", "right"),
        (wide // 2, high - 1, "you", "strong", "middle"),
    ]
    return overlaid([*canvas.block(), []], wide, glyphs, labels)

"""The drawing of a result, from what it carries, whatever check it came from.

A part that is turned a little is seen from above; up is away from you. Its quantity is
in rad and counter-clockwise is positive. The turn is drawn far too steep, and the band
that is good enough as much so, which makes the two comparable.
"""

from __future__ import annotations

import math
from itertools import pairwise

import msgspec

from bench.console.canvas import Canvas
from bench.console.glyphs import GlyphSet
from bench.console.plot import LEAST_SPAN
from bench.console.text import Block, Role
from bench.protocol import Contact, Finding, Jig, Position, Quantity
from bench.render.result import judged, opening, told_over
from bench.units import System, length_words, rounded_words

LEAST_WIDE, LEAST_HIGH = 30, 5
MOST_HIGH = 24


class Part(msgspec.Struct, frozen=True):
    """A part that turns. across: from left to right, else from front to rear."""

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


def draw_result(
    finding: Finding,
    jig: Jig | None,
    board: float | None,
    wide: int,
    high: int,
    glyphs: GlyphSet,
    units: System,
) -> Block:
    """At most `wide` x `high`; empty where there is nothing to draw, or no room."""
    if wide < LEAST_WIDE or high < LEAST_HIGH:
        return []
    canvas = Canvas(wide, min(high, MOST_HIGH), glyphs, min(high, MOST_HIGH) - 2)
    q = judged(finding)
    phase = next((one for one in finding.quantities if one.name == "phase"), None)
    if finding.profile:
        _face(canvas, finding.profile, finding.contact or [], units)
    elif finding.positions:
        _fit(canvas, finding.positions, units)
    elif phase is not None:
        _turn(canvas, finding, phase.value, units)
    elif q.name in PARTS:
        draw_rotation(canvas, q, jig, board, units, opening(finding))
    else:
        return []
    return canvas.block()


# ---- a part that is turned -----------------------------------------------------------


def draw_rotation(
    c: Canvas,
    q: Quantity,
    jig: Jig | None,
    board: float | None,
    units: System,
    opens: float | None = None,
) -> None:
    """opens: how far a rip fence opens at the rear, in rad; good is to one side."""
    limit = q.tolerance or 0.0
    steep = 0.42 / max(abs(q.value) + q.uncertainty, limit * 1.2, 1e-9)
    part = PARTS[q.name]
    if part.across:
        _across(c, q, jig, told_over(board, units), units, steep)
    else:
        _along(c, q, part, steep * 0.8 * c.field / c.wide, opens)
    c.label(c.wide // 2, c.high - 1, "you", "strong", "middle")


def _across(
    c: Canvas, q: Quantity, jig: Jig | None, length: float, units: System, steep: float
) -> None:
    """A sled fence: its pivot stays, its free end stands off the line of square."""
    free_left = jig is None or jig.pivot == "right"
    off, limit = -q.value if free_left else q.value, q.tolerance
    free, pivot = (0, 1) if free_left else (1, 0)
    for edge in (-limit, limit) if limit else ():
        c.line((pivot, 0.5), (free, 0.5 + edge * steep), "old-trace", dashed=True)
    c.line((pivot, 0.5), (free, 0.5 + off * steep), "wood")
    much = rounded_words(abs(off) * length, q.uncertainty * length, units)
    where = "away from you" if off > 0 else "toward you"
    ends = ("left", "right")
    words, row, last = f"{ends[free]} end {much} {where}", c.high - 2, c.wide - 1
    c.label(free * last, row, words, "strong", ends[free])
    c.label(pivot * last, row, "pivot", "faint", ends[pivot])


def _along(
    c: Canvas, q: Quantity, part: Part, steep: float, opens: float | None
) -> None:
    """A blade or a rip fence: front below, rear above; the rear stands to one side."""
    limit = q.tolerance or 0.0
    edges = [-limit, limit] if limit else []
    if opens is not None and limit:  # to close is never good
        edges = [0.0, -limit if (opens > 0) == (q.value > 0) else limit]
    for edge in edges:
        c.line((0.5, 0.0), (0.5 + edge * steep, 1.0), "old-trace", dashed=True)
    for thick in (-0.004, 0.0, 0.004):
        top = 0.5 + thick - q.value * steep
        c.line((0.5 + thick, 0.0), (top, 1.0), part.role)
    c.label(1, 0, "rear", "faint")
    c.label(1, c.high - 3, "front", "faint")
    c.label(c.wide - 2, c.high - 3, part.label, "faint", "right")


# ---- a face, a runner, a plate -------------------------------------------------------


def _face(
    c: Canvas,
    profile: list[tuple[float, float]],
    contact: list[Contact],
    units: System,
) -> None:
    """The face from above, proud side up, and below it between which two places the
    widest board touches."""
    points = sorted(profile)
    left, right = points[0][0], points[-1][0]
    low, top = min(y for _, y in points), max(y for _, y in points)
    middle, span = (low + top) / 2, max(LEAST_SPAN, (top - low) * 1.2)
    columns = c.wide * c.per_x
    for n in range(columns):
        share = n / (columns - 1)
        height = _between(points, left + (right - left) * share)
        c.dot(share, (height - middle) / span + 0.5, "trace")

    def place(x: float) -> int:
        share = (x - left) / (right - left or 1.0)
        return min(c.wide - 1, max(0, round(share * (c.wide - 1))))

    g = c.glyphs
    if contact:
        widest = max(contact, key=lambda one: one.to - one.from_)
        first, last = sorted((place(widest.from_), place(widest.to)))
        line = g.across * (last - first - 1)
        c.words(first, c.high - 2, f"{g.up_mark}{line}{g.up_mark}", "strong")
    proud = f"{length_words(top - low, units)} from hollow to proud"
    corners: tuple[tuple[int, int, str], ...] = (
        (c.wide - 1, 0, "right"),
        (0, 0, "left"),
        (c.wide // 2, c.field - 1, "middle"),
    )
    for column, row, end in corners:  # wherever the face leaves room
        if c.label(column, row, proud, "faint", end):
            break
    words = "a board touches here" if contact else "the sled fence"
    c.foot(length_words(left, units), words, length_words(right, units))


def _between(points: list[tuple[float, float]], x: float) -> float:
    for (x0, y0), (x1, y1) in pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * ((x - x0) / (x1 - x0) if x1 > x0 else 0.0)
    return points[-1][1]


def _fit(c: Canvas, positions: list[Position], units: System) -> None:
    """How loose the runner is from place to place in the slot: columns of play, a mark
    where it binds."""
    ordered = sorted(positions, key=lambda p: p.at)
    left, right = ordered[0].at, ordered[-1].at
    most = max((p.side_play or 0.0 for p in ordered), default=0.0) or LEAST_SPAN
    binds, rows = False, c.field
    for p in ordered:
        x = round((p.at - left) / (right - left or 1.0) * (c.wide - 1))
        if p.relief > 0 or p.side_play == 0:
            c.words(x, c.high - 2, c.glyphs.bad, "bad")
            binds = True
            continue
        play = most if p.side_play is None else p.side_play
        for y in range(max(1, round(play / most * rows))):
            c.words(x, rows - 1 - y, c.glyphs.full, "trace")
    c.label(
        c.wide // 2, 0, f"play up to {length_words(most, units)}", "faint", "middle"
    )
    words = f"{c.glyphs.bad} binds" if binds else "along the slot"
    before = f"{length_words(abs(left), units)} before it" if left < 0 else "at 0"
    c.foot(before if left else "at 0", words, length_words(right, units))


def _turn(c: Canvas, finding: Finding, phase: float, units: System) -> None:
    """What the tilt alone does over one turn of the plate, and where it stands out
    most."""
    tilts = [q.value for q in finding.quantities if q.name == "tilt"]
    tilt = tilts[0] if tilts else finding.quantities[0].value
    columns = c.wide * c.per_x
    for n in range(columns):
        share = n / (columns - 1)
        height = 0.5 + 0.46 * math.cos(share * 2 * math.pi - phase)
        c.dot(share, height, "trace")
    at = min(c.wide - 1, round(phase / (2 * math.pi) * (c.wide - 1)))
    words = f"high at {math.degrees(phase):.0f} degrees"
    right = at < c.wide // 2
    c.words(at, c.high - 2, c.glyphs.up_mark, "strong")
    beside = at + 2 if right else at - 2
    c.label(beside, c.high - 2, words, "strong", "left" if right else "right")
    c.foot("0 degrees", f"tilt {length_words(tilt, units)}", "360 degrees")

"""The drawing of a result, from what it carries, whatever check it came from.

A part that is turned a little is seen from above; up is away from you. Its quantity is
in rad and counter-clockwise is positive. The turn is drawn far too steep, and the band
that is good enough as much so, which makes the two comparable.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise
from typing import Literal

import msgspec

from bench.console.canvas import Canvas
from bench.console.glyphs import GlyphSet
from bench.console.plot import LEAST_SPAN
from bench.console.text import Block, Role
from bench.protocol import Finding, Jig, Quantity
from bench.render.finding import limit_words
from bench.render.result import judged, large_size, opening, opposite, told_over
from bench.units import System, length_words, rounded_words

LEAST_WIDE, LEAST_HIGH = 30, 5
MOST_HIGH = 24


class Part(msgspec.Struct, frozen=True):
    """A part that turns. lies: seen from above, from left to right or from front to
    rear; or seen along its face, from `view`, standing on `base`."""

    label: str
    lies: Literal["across", "along", "upright"]
    role: Role
    view: str = ""
    base: str = ""


# by the name of the quantity
PARTS = {
    "fence": Part("sled fence", "across", "wood"),
    "board": Part("board", "across", "wood"),
    "blade": Part("blade", "along", "steel"),
    "rip-fence": Part("rip fence", "along", "steel"),
    "toe": Part("rip fence", "along", "steel"),
    "fence-lean": Part(
        *("sled fence", "upright", "wood", "seen from its right end", "sled's base")
    ),
    "blade-lean": Part(
        *("blade", "upright", "steel", "seen from where you stand", "table")
    ),
}


class Scene(msgspec.Struct, frozen=True):
    """What a drawing knows. board: mm, the widest board, of a sled fence."""

    finding: Finding
    jig: Jig | None
    board: float | None
    units: System


def has_picture(finding: Finding) -> bool:
    return _drawer(finding) is not None


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
    draw = _drawer(finding)
    if wide < LEAST_WIDE or high < LEAST_HIGH or draw is None:
        return []
    canvas = Canvas(wide, min(high, MOST_HIGH), glyphs, min(high, MOST_HIGH) - 2)
    draw(canvas, Scene(finding, jig, board, units))
    return canvas.block()


def _drawer(finding: Finding) -> Callable[[Canvas, Scene], None] | None:
    """What draws the finding: by what it carries, then by what is judged."""
    if finding.profile:
        return _face
    if finding.positions:
        return _fit
    if any(q.name == "phase" for q in finding.quantities):
        return _turn
    q = judged(finding)
    if q.name in PARTS:
        return {"across": _across, "along": _along, "upright": _upright}[
            PARTS[q.name].lies
        ]
    return None if q.band is None else _clearance


# ---- a part that is turned -----------------------------------------------------------


def _steep(q: Quantity, share: float = 0.42) -> float:
    """Shares of the field for one rad: the turn, or what is good enough, fills it."""
    limit = q.tolerance or 0.0
    return share / max(abs(q.value) + q.uncertainty, limit * 1.2, 1e-9)


def _across(c: Canvas, scene: Scene) -> None:
    """A sled fence: its pivot stays, its free end stands off the line of square."""
    q, jig, units = judged(scene.finding), scene.jig, scene.units
    free_left = jig is None or jig.pivot == "right"
    off, steep = -q.value if free_left else q.value, _steep(q)
    free, pivot = (0, 1) if free_left else (1, 0)
    for edge in _edges(q):
        c.line((pivot, 0.5), (free, 0.5 + edge * steep), "old-trace", dashed=True)
    c.line((pivot, 0.5), (free, 0.5 + off * steep), "wood")
    length = told_over(scene.board, units)
    much = rounded_words(abs(off) * length, q.uncertainty * length, units)
    where = "away from you" if off > 0 else "toward you"
    ends = ("left", "right")
    words, row, last = f"{ends[free]} end {much} {where}", c.high - 2, c.wide - 1
    c.label(free * last, row, words, "strong", ends[free])
    c.label(pivot * last, row, "pivot", "faint", ends[pivot])
    _you(c)


def _edges(q: Quantity) -> tuple[float, ...]:
    """Where good enough ends, to either side."""
    return (-q.tolerance, q.tolerance) if q.tolerance else ()


def _you(c: Canvas) -> None:
    c.label(c.wide // 2, c.high - 1, "you", "strong", "middle")


def _along(c: Canvas, scene: Scene) -> None:
    """A blade or a rip fence: front below, rear above; the rear stands to one side."""
    q, opens = judged(scene.finding), opening(scene.finding)
    part, edges = PARTS[q.name], _edges(q)
    steep = _steep(q) * 0.8 * c.field / c.wide
    if opens is not None and edges:  # to close is never good
        edges = (0.0, edges[0 if (opens > 0) == (q.value > 0) else 1])
    for edge in edges:
        c.line((0.5, 0.0), (0.5 + edge * steep, 1.0), "old-trace", dashed=True)
    _thick(c, 0.5 - q.value * steep, part.role)
    c.label(1, 0, "rear", "faint")
    c.label(1, c.high - 3, "front", "faint")
    c.label(c.wide - 2, c.high - 3, part.label, "faint", "right")
    _you(c)


def _thick(c: Canvas, top: float, role: Role) -> None:
    """A part from the middle below to `top` above."""
    for thick in (-0.004, 0.0, 0.004):
        c.line((0.5 + thick, 0.0), (top + thick, 1.0), role)


def _upright(c: Canvas, scene: Scene) -> None:
    """A face that leans, seen along it: its top stands off the plumb line."""
    q, units = judged(scene.finding), scene.units
    part, steep = PARTS[q.name], _steep(q) * 1.4 * c.field / c.wide
    for edge in _edges(q) or (0.0,):
        c.line((0.5, 0.0), (0.5 + edge * steep, 1.0), "old-trace", dashed=True)
    _thick(c, 0.5 - q.value * steep, part.role)
    c.bar(0, c.high - 2, c.wide, "wood" if part.role == "wood" else "steel")
    way = (q.way or "").removeprefix("top leans ").removeprefix("to the ")
    left, right = (way, opposite(way)) if q.value > 0 else (opposite(way), way)
    c.label(0, c.high - 3, left, "faint")
    c.label(c.wide - 1, c.high - 3, right, "faint", "right")
    much, over = large_size(q, units, None)
    corners = ((0, "left"), (c.wide - 1, "right"))
    for words in (f"{much} {over}", much):
        if any(c.label(x, 0, words, "strong", end) for x, end in corners):
            break  # wherever the part leaves room
    c.foot(part.base, part.view, part.label)


# ---- a face, a runner, a plate -------------------------------------------------------


def _face(c: Canvas, scene: Scene) -> None:
    """The face from above, proud side up, and below it between which two places the
    widest board touches."""
    units, contact = scene.units, scene.finding.contact
    points = sorted(scene.finding.profile or [])
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


def _fit(c: Canvas, scene: Scene) -> None:
    """How loose the runner is as it is pushed in, from standing out over the front edge
    of the table: columns of play over where good ends, a mark where it binds."""
    ordered = sorted(scene.finding.positions or [], key=lambda p: p.at)
    units, band = scene.units, judged(scene.finding).band
    left, right = ordered[0].at, ordered[-1].at
    loosest = max((p.side_play or 0.0 for p in ordered), default=0.0) or LEAST_SPAN
    most = loosest if band is None else max(loosest, band[1] * 1.1)
    binds, rows = False, c.field
    for edge in band or ():
        c.line((0.0, edge / most), (1.0, edge / most), "old-trace", dashed=True)
    for p in ordered:
        x = round((p.at - left) / (right - left or 1.0) * (c.wide - 1))
        if p.relief > 0 or p.side_play == 0:
            c.words(x, c.high - 2, c.glyphs.bad, "bad")
            binds = True
            continue
        play = loosest if p.side_play is None else p.side_play
        for y in range(max(1, round(play / most * rows))):
            c.words(x, rows - 1 - y, c.glyphs.full, "trace")
    up_to = f"play up to {length_words(loosest, units)}"
    if band is not None:
        good = f"good {limit_words(judged(scene.finding), units)}"
        whole = f"{up_to}, dashed: {good}"
        up_to = whole if len(whole) < c.wide - 8 else good
    c.label(c.wide // 2, 0, up_to, "faint", "middle")
    words = f"{c.glyphs.bad} binds" if binds else "runner's near end"
    out = f"{length_words(-left, units)} over the front edge"
    within = f"{length_words(right, units)} in"
    c.foot(out if left < 0 else f"{length_words(left, units)} in", words, within)


def _clearance(c: Canvas, scene: Scene) -> None:
    """The runner pressed to one wall of its slot, and the gap at the other to scale:
    good where the runner's edge stands between the two dashed lines."""
    q, units, g = judged(scene.finding), scene.units, c.glyphs
    least, most = q.band or (0.0, q.value)
    wall, room = 4, c.wide - 12  # columns of the slot's wall, and for the gap
    scale = room / max(q.value + q.uncertainty, most * 1.15, 1e-9)
    edge = wall + min(room, max(0, round(q.value * scale)))
    for y in range(1, c.high - 2):
        c.fill(0, y, wall, "steel")
        c.bar(edge, y, c.wide - edge, "wood")
    marks = [wall + round(one * scale) for one in (least, most)]
    for mark in marks:
        for y in range(1, c.high - 2):
            c.words(mark, y, g.dash if edge <= mark else g.down, "good")
    middle = (c.high - 1) // 2
    line = g.across * (edge - wall - 2)
    if edge - wall > 2:
        c.words(wall, middle, f"{g.left_mark}{line}{g.right_mark}", "probe")
    c.label(edge + 1, 0, "runner", "faint")
    c.label(0, 0, "slot", "faint")
    c.label(marks[0], c.high - 2, "binds", "faint", "right")
    c.label(marks[1] + 1, c.high - 2, "loose", "faint")
    c.label((marks[0] + marks[1]) // 2, c.high - 2, "good", "good", "middle")
    much = rounded_words(q.value, q.uncertainty, units)
    words = f"{much}, good from {limit_words(q, units)}"
    c.label(c.wide // 2, c.high - 1, words, "strong", "middle")


def _turn(c: Canvas, scene: Scene) -> None:
    """What the tilt alone does over one turn of the plate, and where it stands out
    most."""
    values = {q.name: q.value for q in scene.finding.quantities}
    phase, units = values["phase"], scene.units
    tilt = values.get("tilt", scene.finding.quantities[0].value)
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

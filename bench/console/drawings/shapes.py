"""The drawings of a result that is a shape: a face, a runner in its slot, a plate."""

from __future__ import annotations

import math
from collections.abc import Callable
from itertools import pairwise

import msgspec

from bench.console.drawings.canvas import Canvas
from bench.console.drawings.plot import LEAST_SPAN
from bench.console.drawings.styled_text import Role
from bench.protocol import Contact, Finding, Jig, Position
from bench.render.finding import good_enough_words, limit_words
from bench.render.result import judged
from bench.units import System, nominal_words, value_words

Point = tuple[float, float]
ROOM_FOR_EDGE = 60  # columns from which the front edge is named


class Scene(msgspec.Struct, frozen=True):
    """The data of a drawing. board: mm, the widest board, of a sled fence."""

    finding: Finding
    jig: Jig | None
    board: float | None
    units: System


def draw_face(c: Canvas, scene: Scene) -> None:
    """The face from above, proud side up, its high and its low place, and below it
    between which two places the widest board touches."""
    contact, points = scene.finding.contact, sorted(scene.finding.profile or [])
    left, right = points[0][0], points[-1][0]
    low, high = min(points, key=_height), max(points, key=_height)
    middle, size = (low[1] + high[1]) / 2, high[1] - low[1]

    def height(y: float) -> float:
        return (y - middle) / max(LEAST_SPAN, size * 1.2) + 0.5

    _curve(c, lambda share: height(_between(points, left + (right - left) * share)))
    for word, (x, y) in (("high", high), ("low", low)):
        _named(c, word, _place(c, x, left, right), height(y))
    _touching(c, contact or [], left, right)
    c.label_where_free(
        "toward the work", "faint", (0, 0, "left"), (c.wide - 1, 0, "right")
    )
    _face_foot(c, scene.units, left, right, touched=bool(contact))


def _named(c: Canvas, word: str, column: int, height: float) -> None:
    """A mark with its word beside it, else under a high place or over a low one."""
    row, inward = int((1 - height) * c.field), 1 if word == "high" else -1
    c.words(column, row, c.glyphs.middle, "strong")
    beside = ((column + 2, row, "left"), (column - 2, row, "right"))
    under = [(column, row + n * inward, "middle") for n in (1, 2, 3)]
    c.label_where_free(word, "strong", *beside, *under)


def _face_foot(
    c: Canvas, units: System, left: float, right: float, *, touched: bool
) -> None:
    """Where the face ends, and what lies between."""
    first, last = (nominal_words(abs(mm), units) for mm in (left, right))
    if left < 0 < right:  # the travel counts from the blade
        of_blade = " of the blade" * (c.wide > ROOM_FOR_EDGE)
        first, last = f"{first} left{of_blade}", f"{last} right{of_blade}"
    c.foot(first, "", last)
    words = "a board touches here" if touched else "the sled fence"
    rows = (c.high - 1, c.high - 3, 1)
    c.label_where_free(words, "faint", *((c.wide // 2, y, "middle") for y in rows))


def _touching(c: Canvas, contact: list[Contact], left: float, right: float) -> None:
    """Between which two places the widest board touches the face."""
    if contact:
        widest = max(contact, key=lambda one: one.to - one.from_)
        ends = (_place(c, x, left, right) for x in (widest.from_, widest.to))
        first, last = sorted(ends)
        line, mark = c.glyphs.across * (last - first - 1), c.glyphs.up_mark
        c.words(first, c.high - 2, f"{mark}{line}{mark}", "strong")


def _height(point: Point) -> float:
    return point[1]


def _place(c: Canvas, x: float, left: float, right: float) -> int:
    """The column of a place, where the field reaches from `left` to `right`."""
    share = (x - left) / (right - left or 1.0)
    return min(c.wide - 1, max(0, round(share * (c.wide - 1))))


def _curve(c: Canvas, height: Callable[[float], float]) -> None:
    """height: share of the field's height at a share of its width."""
    columns = c.wide * c.per_x
    for n in range(columns):
        share = n / (columns - 1)
        c.dot(share, height(share), "trace")


def _between(points: list[Point], x: float) -> float:
    for (x0, y0), (x1, y1) in pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * ((x - x0) / (x1 - x0) if x1 > x0 else 0.0)
    return points[-1][1]


def draw_fit(c: Canvas, scene: Scene) -> None:
    """The runner's play as it is pushed in, from standing out over the front edge of
    the table: columns of play over where good ends, a mark where it binds, and how much
    to take off there."""
    ordered = sorted(scene.finding.positions or [], key=lambda p: p.at)
    units, q = scene.units, judged(scene.finding)
    edges = q.band or ((q.tolerance,) if q.tolerance else ())
    loosest = max((p.side_play or 0.0 for p in ordered), default=0.0) or LEAST_SPAN
    most = max(loosest, *(edge * 1.1 for edge in edges), 0.0)
    for edge in edges:
        c.line((0.0, edge / most), (1.0, edge / most), "old-trace", dashed=True)
    for p in ordered:
        x = _place(c, p.at, ordered[0].at, ordered[-1].at)
        if _binds(p):
            c.words(x, c.high - 2, c.glyphs.bad, "bad")
            continue
        play = loosest if p.side_play is None else p.side_play
        high = max(1, round(play / most * c.field))
        c.body(x, c.field - high, 1, high, "trace")
    words = f"play up to {value_words(loosest, q.uncertainty, units)}"
    if edges:
        good = good_enough_words(q, units)
        whole = f"{words}, dashed: {good}"
        words = whole if len(whole) < c.wide - 8 else good
    c.label(c.wide // 2, 0, words, "faint", "middle")
    _fit_foot(c, scene, ordered)


def _binds(p: Position) -> bool:
    return p.relief > 0 or p.side_play == 0


def _fit_foot(c: Canvas, scene: Scene, ordered: list[Position]) -> None:
    units, left, relief = scene.units, ordered[0].at, max(p.relief for p in ordered)
    words = "runner's near end"
    if relief > 0:
        much = value_words(relief, judged(scene.finding).uncertainty, units)
        words = f"take off {much}"
    elif any(_binds(p) for p in ordered):
        words = f"{c.glyphs.bad} binds"
    row, last, much = c.high - 1, c.wide - 1, nominal_words(abs(left), units)
    # how far the runner stands out over the front edge of the table, then how far in
    out = much + " out" * (left < 0)
    if left < 0 and c.wide > ROOM_FOR_EDGE:
        out = f"{much} over the front edge"
    within = nominal_words(ordered[-1].at, units)
    between = (len(out) + c.wide - len(within)) // 2
    beside_marks = ((0, row - 1, "left"), (last, row - 1, "right"))
    role: Role = "strong" if relief > 0 else "faint"
    c.label_where_free(words, role, (between, row, "middle"), *beside_marks)
    c.foot(out, "", within)


def draw_clearance(c: Canvas, scene: Scene) -> None:
    """The runner pressed to one wall of its slot, and the gap at the other to scale:
    good where the runner's edge stands between the two dashed lines."""
    q, units, g = judged(scene.finding), scene.units, c.glyphs
    least, most = q.band or (0.0, q.value)
    wall, room = 4, c.wide - 12  # columns of the slot's wall, and for the gap
    scale = room / max(q.value + q.uncertainty, most * 1.15, 1e-9)
    edge = wall + min(room, max(0, round(q.value * scale)))
    c.body(0, 1, wall, c.high - 3, "steel")
    c.body(edge, 1, c.wide - edge, c.high - 3, "wood")
    first, last = (wall + round(one * scale) for one in (least, most))
    for mark in (first, last):
        for y in range(1, c.high - 2):
            c.words(mark, y, g.dash if edge <= mark else g.down, "good")
    if edge - wall > 2:
        line = f"{g.left_mark}{g.across * (edge - wall - 2)}{g.right_mark}"
        c.words(wall, (c.high - 1) // 2, line, "probe")
    c.label(edge + 1, 0, "runner", "faint")
    c.label(0, 0, "slot", "faint")
    c.label(first, c.high - 2, "binds", "faint", "right")
    c.label(last + 1, c.high - 2, "loose", "faint")
    c.label((first + last) // 2, c.high - 2, "good", "good", "middle")
    much = value_words(q.value, q.uncertainty, units)
    words = f"{much}, good from {limit_words(q, units)}"
    c.label(c.wide // 2, c.high - 1, words, "strong", "middle")


def draw_turn(c: Canvas, scene: Scene) -> None:
    """The curve of the tilt alone over one turn of the plate, with its high and its low
    spot."""
    found = {q.name: q for q in scene.finding.quantities}
    tilt, phase = found.get("tilt", judged(scene.finding)), found["phase"].value
    _curve(c, lambda share: 0.5 + 0.46 * math.cos(share * 2 * math.pi - phase))
    for word, angle, height in (
        ("high", phase % math.tau, 0.96),
        ("low", (phase + math.pi) % math.tau, 0.04),
    ):
        at = _place(c, angle, 0.0, math.tau)
        _named(c, word, at, height)
        words = f"{math.degrees(angle):.0f} degrees"
        c.label(at, c.high - 2, words, "strong", "middle")
    much = value_words(tilt.value, tilt.uncertainty, scene.units)
    c.foot("0 degrees", f"tilt {much}", "360 degrees")

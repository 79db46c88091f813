"""The drawing of a result, from what it carries, whatever check it came from.

A part that is turned a little is seen from above; up is away from you. Its quantity is
in rad and counter-clockwise is positive. The turn is drawn far too steep, and the band
that is good enough as much so, which makes the two comparable.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import msgspec

from bench.console.drawings.canvas import Canvas
from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.shapes import (
    Scene,
    draw_clearance,
    draw_face,
    draw_fit,
    draw_turn,
)
from bench.console.drawings.styled_text import Block, Role
from bench.protocol import Finding, Jig, Quantity
from bench.render.result import judged, large_size, opening, opposite, slope_span
from bench.units import System, nominal_words, value_words

LEAST_WIDE, LEAST_HIGH = 30, 5
MOST_HIGH = 30


class Part(msgspec.Struct, frozen=True):
    """A part that turns. lies: seen from above, from left to right or from front to
    rear; or seen along its face, from `view`, standing on `base`."""

    label: str
    lies: Literal["across", "along", "upright"]
    role: Role
    view: str = ""
    base: str = ""


# by the name of the quantity
TURNING_PARTS = {
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
    """The function that draws the finding, by its contents or by the judged
    quantity."""
    if finding.profile:
        return draw_face
    if finding.positions:
        return draw_fit
    if any(q.name == "phase" for q in finding.quantities):
        return draw_turn
    q = judged(finding)
    if q.name in TURNING_PARTS:
        return {"across": _across, "along": _along, "upright": _upright}[
            TURNING_PARTS[q.name].lies
        ]
    return None if q.band is None else draw_clearance


# ---- a part that is turned -----------------------------------------------------------


def _steep(q: Quantity, share: float = 0.42, other: float = 0.0) -> float:
    """Shares of the field for one rad: the turn, or what is good enough, fills it."""
    limit, most = q.tolerance or 0.0, max(abs(q.value), abs(other))
    return share / max(most + q.uncertainty, limit * 1.2, 1e-9)


def _across(c: Canvas, scene: Scene) -> None:
    """A sled fence: its pivot stays, its free end stands off the line of square. A
    board has the place beside its end that the passes found."""
    q, other = judged(scene.finding), scene.finding.comparison
    free_left = scene.jig is None or scene.jig.pivot == "right"
    sign, free, pivot = (-1, 0, 1) if free_left else (1, 1, 0)
    steep = _steep(q, other=0.0 if other is None else other.value)

    def line(turn: float, role: Role, down: float = 0.0, dashed: bool = False) -> None:
        ends = (pivot, 0.5 - down), (free, 0.5 + turn * sign * steep - down)
        c.line(*ends, role, dashed=dashed)

    for edge in _edges(q):
        line(edge, "old-trace", dashed=True)
    for down in (0.0, 1 / (c.field * c.per_y)):
        line(q.value, "wood", down)
    if other is not None:
        c.sign(free, 0.5 + other.value * sign * steep, c.glyphs.middle, "trace")
    _across_words(c, scene, q.value * sign, free)


def _across_words(c: Canvas, scene: Scene, off: float, free: int) -> None:
    """off: how far the free end stands away from you, rad. free: 0 at the left."""
    q, units, ends, last = (
        judged(scene.finding),
        scene.units,
        ("left", "right"),
        c.wide - 1,
    )
    length = slope_span(scene.board, units)
    much = value_words(abs(off) * length, q.uncertainty * length, units)
    way = "away from you" if off > 0 else "toward you"
    c.label(
        free * last, c.high - 2, f"{ends[free]} end {much} {way}", "strong", ends[free]
    )
    middle, other, pivot = c.field // 2, scene.finding.comparison, 1 - free
    c.label(pivot * last, c.high - 2, "pivot", "faint", ends[pivot])
    over = f"across {nominal_words(length, units)}"
    c.label(pivot * last, c.high - 1, over, "faint", ends[pivot])
    if other is not None:
        words = f"{c.glyphs.middle} by passes"
        c.label(free * last, c.high - 1, words, "trace", ends[free])
    rows = (middle, middle - 1, middle + 1, 0, c.field - 1)
    _good_enough(c, q, 3, *((free * last, row, ends[free]) for row in rows))
    _you(c)


def _good_enough(
    c: Canvas, q: Quantity, inside: int, *places: tuple[int, int, str]
) -> None:
    """Name the dashed lines: between them at the first `inside` of the places, else
    elsewhere with the word for them."""
    if q.tolerance and not c.label_where_free("good enough", "good", *places[:inside]):
        c.label_where_free("dashed: good enough", "good", *places[inside:])


def _edges(q: Quantity) -> tuple[float, ...]:
    """The limits of good enough, to either side."""
    return (-q.tolerance, q.tolerance) if q.tolerance else ()


def _you(c: Canvas) -> None:
    c.label(c.wide // 2, c.high - 1, "you", "strong", "middle")


def _along(c: Canvas, scene: Scene) -> None:
    """A blade or a rip fence: front below, rear above; the rear stands to one side. A
    rip fence has the blade beside it, on the side to which it closes."""
    q, opens = judged(scene.finding), opening(scene.finding)
    free = "right"  # the side of the words
    part, edges = TURNING_PARTS[q.name], _edges(q)
    steep = _steep(q) * 0.8 * c.field / c.wide
    if opens is not None:
        to_left = (opens > 0) == (q.value < 0)  # the blade stands left of it
        _blade_beside(c, to_left)
        free = "right" if to_left else "left"
        if edges:  # to close is never good
            edges = (0.0, edges[not to_left])
    for edge in edges:
        c.line((0.5, 0.0), (0.5 - edge * steep, 1.0), "old-trace", dashed=True)
    _thick(c, 0.5 - q.value * steep, part.role)
    c.label(1, 0, "rear", "faint")
    c.label(1, c.high - 3, "front", "faint")
    c.label(c.wide // 2 + 3, c.high - 3, part.label, "faint")
    column = c.wide - 1 if free == "right" else 1
    _size_label(c, scene, *((column, row, free) for row in range(c.field)))
    if edges:
        c.label(c.wide // 2, c.high - 2, "dashed: good enough", "faint", "middle")
    _you(c)


def _blade_beside(c: Canvas, left: bool) -> None:
    blade = c.wide // 6 if left else c.wide - 1 - c.wide // 6
    c.upright(blade, 2, c.high - 5, "steel")
    c.label(blade, c.high - 4, "blade", "faint", "middle")


def _size_label(c: Canvas, scene: Scene, *places: tuple[int, int, str]) -> None:
    """The size, with its length where that has room, at the first place with room."""
    much, over = large_size(judged(scene.finding), scene.units, None)
    if not over or not c.label_where_free(f"{much} {over}", "strong", *places):
        c.label_where_free(much, "strong", *places)


def _thick(c: Canvas, top: float, role: Role) -> None:
    """A part from the middle below to `top` above."""
    for thick in (-0.004, 0.0, 0.004):
        c.line((0.5 + thick, 0.0), (top + thick, 1.0), role)


def _upright(c: Canvas, scene: Scene) -> None:
    """A face that leans, seen along it: its top stands off the plumb line."""
    q = judged(scene.finding)
    part, steep = TURNING_PARTS[q.name], _steep(q) * 1.4 * c.field / c.wide
    for edge in _edges(q) or (0.0,):
        c.line((0.5, 0.0), (0.5 + edge * steep, 1.0), "old-trace", dashed=True)
    _thick(c, 0.5 - q.value * steep, part.role)
    c.body(0, c.high - 2, c.wide, 1, part.role)
    way = (q.way or "").removeprefix("top leans ").removeprefix("to the ")
    left, right = (way, opposite(way)) if q.value > 0 else (opposite(way), way)
    c.label(0, c.high - 3, left, "faint")
    c.label(c.wide - 1, c.high - 3, right, "faint", "right")
    _size_label(c, scene, (0, 0, "left"), (c.wide - 1, 0, "right"))
    band = [(c.wide // 2, row, "middle") for row in range(3)]
    c.label(0, c.high - 1, part.base, "faint")
    _good_enough(c, q, 3, *band, (0, 1, "left"), (c.wide - 1, c.high - 1, "right"))
    c.foot("", part.view, part.label)

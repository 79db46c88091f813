"""A test board that is laid on the sled fence, cut and turned, and its strip.

Seen from above, mm and rad, +X right, +Y away. The board is a polygon of its own; it is
moved and turned as a body, the blade cuts it along the way that the sled goes, and a
caliper is laid across the strip that falls off.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

from .plane import Vector

KERF = 3.0  # mm, of the blade
TRIM_WIDTH = 5.0  # mm taken off at each turn
STRIP_WIDTH = 27.0  # mm taken off by the last cut

Polygon = list[Vector]


class Cut(NamedTuple):
    """How one cut is made. rest: (left, right) end in mm of the edge on the fence ->
    two points of its line there, from left to right. way: direction of the blade
    through the sled; it passes the origin."""

    rest: Callable[[float, float], tuple[Vector, Vector]]
    way: Vector


@dataclass
class Board:
    """corners: counter-clockwise, in whatever place it has now. kept: the side of the
    blade that it lies on. far: the fence stands beyond it, else on the operator's side
    of it.

    strip: what the last cut took off, None before it; leads: along it, away from the
    fence.
    """

    corners: Polygon
    kept: str = "left"
    far: bool = False
    strip: Polygon | None = None
    leads: Vector = field(default=Vector(0.0, 1.0))

    @classmethod
    def rough(cls, across: float, kept: str = "left", *, far: bool = False) -> Board:
        """A board of that width, mm, with no square corner."""
        near = [Vector(0.0, 0.0), Vector(across, 0.6)]
        beyond = [Vector(across - 1.0, across), Vector(0.8, across - 0.7)]
        return cls([*near, *beyond], kept, far)

    def cut_edges(self, next_cut: Callable[[], Cut], turns: int = 4) -> None:
        """Cut the first edge, turn the cut edge onto the fence and cut again, so many
        times; the last takes a strip."""
        # a quarter turn brings the edge at the blade to the fence
        clockwise = (self.kept == "left") != self.far
        quarter = -math.pi / 2.0 if clockwise else math.pi / 2.0
        for _ in range(turns):
            self._cut(next_cut(), TRIM_WIDTH)
            self.corners = [p.turned(quarter) for p in self.corners]
        cut = next_cut()
        self.strip = self._cut(cut, STRIP_WIDTH)
        self.leads = -cut.way if self.far else cut.way

    def _cut(self, cut: Cut, take: float) -> Polygon:
        """Lay it on the fence, `take` mm of it over the blade, and cut; gives what is
        cut off."""
        first = _on_fence(self.corners, self.far)
        a, b = self.corners[first], self.corners[(first + 1) % len(self.corners)]
        length, beyond = abs(b - a), take + KERF / 2.0
        left = beyond - length if self.kept == "left" else -beyond
        ends = cut.rest(left, left + length)
        start, stop = (ends[1], ends[0]) if self.far else ends
        turn = (stop - start).angle - (b - a).angle
        laid = [start + (p - a).turned(turn) for p in self.corners]
        right = Vector(cut.way.y, -cut.way.x)
        half = KERF / 2.0
        over = clipped(laid, right * half, right)
        under = clipped(laid, -right * half, -right)
        self.corners, offcut = (under, over) if self.kept == "left" else (over, under)
        return offcut

    def width(self, at: float) -> float:
        """The strip's width at a place in mm from its end at the fence; the jaws lie
        square to the edge of the last cut."""
        if self.strip is None:
            raise ValueError("no strip was cut yet")
        way = self.leads
        begins = min(p.dot(way) for p in self.strip)
        cross = [
            q
            for a, b in _edges(self.strip)
            if (q := _crossed(a, b, way, begins + at)) is not None
        ]
        if len(cross) < 2:
            raise ValueError(f"the strip ends before {at:g} mm")
        across = Vector(way.y, -way.x)
        places = [p.dot(across) for p in cross]
        return max(places) - min(places)


def _on_fence(corners: Sequence[Vector], far: bool) -> int:
    """Index of the corner at which the edge begins, counter-clockwise, that looks at
    the fence."""
    height = {
        k: a.y + b.y
        for k, (a, b) in enumerate(_edges(corners))
        if abs(b.x - a.x) > abs(b.y - a.y)
    }
    return (max if far else min)(height, key=lambda k: height[k])


def _edges(corners: Sequence[Vector]) -> Iterator[tuple[Vector, Vector]]:
    return zip(corners, [*corners[1:], corners[0]], strict=True)


def clipped(corners: Sequence[Vector], point: Vector, toward: Vector) -> Polygon:
    """What of a polygon lies beyond the line through the point, on the side that
    `toward` shows to."""
    out: Polygon = []
    for a, b in _edges(corners):
        here, there = toward.dot(a - point), toward.dot(b - point)
        if here >= 0.0:
            out.append(a)
        if (here < 0.0) != (there < 0.0):
            out.append(a + (b - a) * (here / (here - there)))
    return out


def _crossed(a: Vector, b: Vector, way: Vector, at: float) -> Vector | None:
    here, there = a.dot(way) - at, b.dot(way) - at
    if (here < 0.0) == (there < 0.0):
        return None
    return a + (b - a) * (here / (here - there))

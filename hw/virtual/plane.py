"""Points, lines and rays in the plane, seen from above: +X right, +Y away.

mm and rad, counter-clockwise positive. Nothing here knows which way a reading grows:
that follows from where the probe stands and what it meets.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import NamedTuple

from .edge_profile import EdgeProfile


class Vector(NamedTuple):
    """A point or a direction."""

    x: float
    y: float

    def __add__(self, other: Vector) -> Vector:  # type: ignore[override]
        return Vector(self.x + other.x, self.y + other.y)

    def __sub__(self, other: Vector) -> Vector:
        return Vector(self.x - other.x, self.y - other.y)

    def __mul__(self, times: float) -> Vector:  # type: ignore[override]
        return Vector(self.x * times, self.y * times)

    def __neg__(self) -> Vector:
        return Vector(-self.x, -self.y)

    def __abs__(self) -> float:
        return math.hypot(self.x, self.y)

    @property
    def angle(self) -> float:
        """rad from +X."""
        return math.atan2(self.y, self.x)

    def dot(self, other: Vector) -> float:
        return self.x * other.x + self.y * other.y

    def turned(self, angle: float) -> Vector:
        cosine, sine = math.cos(angle), math.sin(angle)
        return Vector(self.x * cosine - self.y * sine, self.x * sine + self.y * cosine)


@dataclass(frozen=True)
class BodyFrame:
    """A rigid body's place: its middle lies at `middle + shift`, and it is turned by
    `angle` about that middle."""

    middle: Vector
    shift: Vector
    angle: float

    def point(self, p: Vector) -> Vector:
        return self.middle + self.shift + (p - self.middle).turned(self.angle)

    def vector(self, v: Vector) -> Vector:
        return v.turned(self.angle)


@dataclass(frozen=True)
class Surface:
    """A nearly straight surface from base along a unit vector; its form is proud along
    outward. low, high: mm along it, where it begins and ends."""

    base: Vector
    along: Vector
    outward: Vector
    form: EdgeProfile | None = None
    low: float = -math.inf
    high: float = math.inf

    def carried_by(self, frame: BodyFrame) -> Surface:
        return replace(
            self,
            base=frame.point(self.base),
            along=frame.vector(self.along),
            outward=frame.vector(self.outward),
        )


@dataclass(frozen=True)
class Probe:
    """A plunger: its axis starts at origin and points along a unit vector; riding on
    the sled or not."""

    origin: Vector
    points: Vector
    rides: bool = False

    def carried_by(self, frame: BodyFrame) -> Probe:
        return Probe(frame.point(self.origin), frame.vector(self.points), self.rides)


def reach(probe: Probe, surface: Surface) -> tuple[float, float] | None:
    """(mm from the probe's origin to the surface, mm along the surface) or None where
    the axis misses it."""
    across = Vector(-probe.points.y, probe.points.x)
    gap = probe.origin - surface.base
    aside, slant = across.dot(gap), across.dot(surface.along)
    lean = across.dot(surface.outward)
    place, height = aside / slant, 0.0
    if surface.form is not None:
        # the foot hardly shifts with the height: two steps converge
        for _ in range(2):
            height = surface.form.at(place)
            place = (aside - lean * height) / slant
    if not surface.low <= place <= surface.high:
        return None
    met = surface.base + surface.along * place + surface.outward * height
    return probe.points.dot(met - probe.origin), place

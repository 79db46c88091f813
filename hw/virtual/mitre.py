"""A mitre sled's two fences and a 45-degree square on them, seen from above; mm, rad.

The square is a triangle with corners A, B (sharp) and C (its right angle). It is laid
by moving the triangle: a leg onto a fence, or onto a straight batten, its body on the
side where a board lies.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from random import Random
from typing import Literal

from .edge_profile import EdgeProfile
from .plane import Surface, Vector
from .traits import Traits

LONG_EDGE = 360.0  # mm of the square, corner A to corner B
# mm that the sled is pushed past the long edge, its middle at the edge's
EDGE_RUN = 220.0
LEG_RUN = 200.0  # mm past a leg
TO_POINT = 10.0  # mm along a fence from the square to the point
LEG_CLEAR = 20.0  # mm from the leg's tip to the plunger at the start
MITRE_FENCE_PLACEMENTS = tuple(
    f"{fence}-fence-corner-{corner}" for fence in ("left", "right") for corner in "ab"
)
RIGHT_ANGLE_PLACEMENTS = ("right-angle-left", "right-angle-right")
MITRE_PLACEMENTS = (*MITRE_FENCE_PLACEMENTS, *RIGHT_ANGLE_PLACEMENTS)
_HALF = math.pi / 4.0


@dataclass(frozen=True)
class MitreFences:
    """left, right: rad by which the fences are turned from 45 degrees to the slots;
    the point where they meet lies away from the operator, boards lie beyond them.
    corner_a, corner_b: rad by which the square's sharp corners miss 45 degrees. batten:
    rad, of one that is clamped across the sled."""

    left: float
    right: float
    corner_a: float
    corner_b: float
    batten: float
    long_edge: EdgeProfile
    leg: EdgeProfile
    point: Vector = field(default=Vector(0.0, 250.0))

    @classmethod
    def draw(cls, seed: int, traits: Traits) -> MitreFences:
        random = Random(f"mitre {seed}")
        out, square = traits.rotation / 2.0, traits.square
        middle = LONG_EDGE / 2.0

        def edge(ridden: tuple[float, float]) -> EdgeProfile:
            bow = random.gauss(0.0, traits.bow)
            return EdgeProfile.draw(random, LONG_EDGE, traits.texture, bow, ridden)

        return cls(
            random.uniform(-out, out),
            random.uniform(-out, out),
            random.gauss(0.0, square),
            random.gauss(0.0, square),
            random.gauss(0.0, traits.rotation),
            edge((middle - EDGE_RUN / 2.0, middle + EDGE_RUN / 2.0)),
            edge((34.0, 234.0)),
        )

    def triangle(self) -> dict[str, Vector]:
        """The square as it lies face up: A at the origin, B along +X, C beyond."""
        right = math.pi - 2.0 * _HALF - self.corner_a - self.corner_b
        leg = LONG_EDGE * math.sin(_HALF + self.corner_b) / math.sin(right)
        c = Vector(leg, 0.0).turned(_HALF + self.corner_a)
        return {"a": Vector(0.0, 0.0), "b": Vector(LONG_EDGE, 0.0), "c": c}

    def edge(self, placement: str, slot: float, seat: float, gap: float) -> Surface:
        """The edge that is ridden, in the sled whose slots run at `slot` from +Y."""
        if placement in RIGHT_ANGLE_PLACEMENTS:
            return self._leg(placement, slot + self.batten + seat, gap)
        fence, corner = placement.partition("-")[0], placement[-1]
        sign = -1.0 if fence == "left" else 1.0
        turned = slot + seat + (self.left if fence == "left" else self.right)
        # from the outer end to the point, and across to where boards lie
        along = Vector(-sign, 1.0) * math.sqrt(0.5)
        across = Vector(sign, 1.0) * math.sqrt(0.5)
        along, across = along.turned(turned), across.turned(turned)
        outer = self.point + along * -(LONG_EDGE * math.sqrt(0.5) + TO_POINT)
        # a leg from the sharp corner on the fence to the right angle
        on, other = corner, "b" if corner == "a" else "a"
        laid = self._laid(on, "c", outer + across * gap, along, across)
        edge = _ridden(laid[on], laid[other] - laid[on], sign, self.long_edge)
        if corner == "a":
            return edge
        # the edge's own form begins at corner A
        return replace(edge, base=laid[other], along=-edge.along)

    def _laid(
        self, on: str, to: str, at: Vector, along: Vector, across: Vector
    ) -> dict[str, Vector]:
        """The triangle moved so that corner `on` lies at a place and its leg to another
        corner along a direction, its body across; turned over where it takes that."""
        corners = self.triangle()
        (third,) = corners.keys() - {on, to}
        leg = corners[to] - corners[on]
        u = leg * (1.0 / abs(leg))
        side = Vector(-u.y, u.x)
        if side.dot(corners[third] - corners[on]) < 0.0:
            side = -side
        return {
            name: at
            + along * u.dot(p - corners[on])
            + across * side.dot(p - corners[on])
            for name, p in corners.items()
        }

    def _leg(self, placement: str, turned: float, gap: float) -> Surface:
        """The leg C to A pointing away; the leg C to B on the batten."""
        sign = -1.0 if placement == "right-angle-left" else 1.0
        along = Vector(sign, 0.0).turned(turned)
        across = Vector(0.0, 1.0).turned(turned)
        rise = self._laid("c", "b", Vector(0.0, 0.0), along, across)["a"]
        return _ridden(across * gap, rise, -sign, self.leg)

    def begins(self, placement: str) -> float:
        """mm along Y of the plunger, that is passed by the stretch to be ridden."""
        if placement in RIGHT_ANGLE_PLACEMENTS:
            return LONG_EDGE * math.sqrt(0.5) - LEG_CLEAR
        lowest = self.point.y - LONG_EDGE / 2.0 - TO_POINT * math.sqrt(0.5)
        return lowest + (LONG_EDGE + EDGE_RUN) / 2.0

    def truth(self) -> dict[str, float]:
        return {
            "between": self.right - self.left,
            "left": self.left,
            "right": self.right,
        }


def _ridden(base: Vector, way: Vector, sign: float, form: EdgeProfile) -> Surface:
    """The edge along a way from its base, looking right (1) or left (-1) of the way."""
    length = abs(way)
    along = way * (1.0 / length)
    outward = Vector(sign, 0.0).turned(along.angle - math.pi / 2.0)
    return Surface(base, along, outward, form, 0.0, length)


def side_of(placement: str) -> Literal["left", "right"]:
    """On which side of the ridden edge the indicator stands."""
    left = ("left-fence-corner-a", "left-fence-corner-b", "right-angle-right")
    return "left" if placement in left else "right"

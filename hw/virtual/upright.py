"""A square that stands on the table beside a face, and an indicator held to its upright
edge; seen along the face, mm and rad.

Of the plane that is seen x runs out of the face, y up. The square is a body: its stock
lies on the table, 90 deg + e lies between stock and upright edge. Reversed it is turned
about the vertical, which in this plane is its mirror image.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from .plane import Vector

UPRIGHT_FENCE_PLACEMENTS = ("fence-away", "fence-toward")
BLADE_TURNS = {
    "blade-away": 0.0,
    "blade-toward": math.pi,
    "blade-away-quarter": math.pi / 2.0,
    "blade-toward-quarter": 1.5 * math.pi,
}
UPRIGHT_PLACEMENTS = (*UPRIGHT_FENCE_PLACEMENTS, *BLADE_TURNS)
STANDS = 200.0  # mm from the face to the upright edge: more than the stock
HOLDER_FEET = 8.0  # mm above and below the plunger where its holder touches the edge


@dataclass(frozen=True)
class UprightSquare:
    """error: e of the square; seat: rad, that its stock is not quite down."""

    error: float
    seat: float
    away: bool  # where the stock points, from the face
    side: str = "right"  # of a blade, on which it stands

    def edge(self, height: float) -> Vector:
        """A point of the upright edge."""
        upright = math.pi / 2.0 + self.error + self.seat
        place = Vector(math.cos(upright), math.sin(upright))
        place = place * (height / place.y)
        return Vector(STANDS + (place.x if self.away else -place.x), height)

    def plunger(self, height: float) -> tuple[Vector, Vector]:
        """Where its axis begins and points, toward the face."""
        low, high = self.edge(height - HOLDER_FEET), self.edge(height + HOLDER_FEET)
        up = high - low
        return (low + high) * 0.5, Vector(-up.y, up.x) * (1.0 / abs(up))


def distance_to_face(start: Vector, points: Vector, lean: float) -> float:
    """mm along the plunger's axis to a plane face through the origin whose top leans
    out by `lean`."""
    out = Vector(math.cos(lean), -math.sin(lean))
    return -out.dot(start) / out.dot(points)

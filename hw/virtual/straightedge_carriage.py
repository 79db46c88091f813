"""An indicator carried along a straightedge, its tip on the face of the sled fence.

Seen from above, in the sled: mm, +X right, +Y away. The straightedge lies along the
fence on two blocks that are not quite equal; the indicator's base rides on its edge
with two feet. Rolled over about its own length the straightedge is mirrored across that
length: its edge then faces away from the fence, the base rides beyond it and reaches
over it.
"""

from __future__ import annotations

from dataclasses import dataclass

from .edge_profile import EdgeProfile
from .plane import Probe, Surface, Vector, reach

HALF = 450.0  # of the face and of the straightedge, to either side of the blade
FACE_RUN = 600.0  # along which the indicator is pushed, its middle at the blade
EDGE_DISTANCE = 100.0  # from the face to the straightedge's middle
EDGE_WIDTH = 50.0  # of the straightedge
FOOT_OFFSET = 25.0  # from the plunger to either foot of the base


@dataclass(frozen=True)
class StraightedgeCarriage:
    """face: of the sled fence, its form beginning HALF to the left of the blade. lies:
    rad, of the straightedge against the face; off: mm, a base that is not quite pressed
    to the edge."""

    face: Surface
    straightedge: EdgeProfile
    rolled: bool
    lies: float = 0.0
    gives: float = 0.0  # mm by which its middle gives way toward the face, under a hand

    def distance(self, place: float, off: float = 0.0) -> float | None:
        """mm that the plunger reaches with the base at that place, mm from the blade;
        None off the face."""
        met = reach(self.probe(place, off), self.face)
        return None if met is None else met[0]

    def probe(self, place: float, off: float = 0.0) -> Probe:
        """The plunger as the base holds it."""
        edge = self.edge()
        # a beam on blocks at its ends, under a force that moves along it
        share = min(max((place + HALF) / (2.0 * HALF), 0.0), 1.0)
        gives = -self.gives * 16.0 * (share * (1.0 - share)) ** 2
        left, right = (
            edge.base
            + edge.along * at
            + edge.outward * (off + self.straightedge.at(at))
            + self.face.outward * gives
            for at in (place + HALF - FOOT_OFFSET, place + HALF + FOOT_OFFSET)
        )
        across = right - left
        length = across.dot(across) ** 0.5
        toward = Vector(-across.y / length, across.x / length)
        if toward.dot(self.face.outward) > 0.0:  # it looks at the face
            toward = -toward
        return Probe(left + across * 0.5, toward)

    def edge(self) -> Surface:
        """The ridden edge of the straightedge, where it lies."""
        along = self.face.along.turned(self.lies)
        outward = self.face.outward.turned(self.lies)
        middle = self.face.base + self.face.outward * EDGE_DISTANCE
        # as it lies its edge faces the fence; rolled over it is mirrored across the
        # straightedge's own length
        faces = 1.0 if self.rolled else -1.0
        return Surface(
            middle + outward * (faces * EDGE_WIDTH / 2.0),
            along,
            outward * faces,
            self.straightedge,
            0.0,
            2.0 * HALF,
        )

"""A saw plate on its arbor, turned by hand and met by a plunger, in space.

mm and rad. X along the arbor, to the operator's right; Y away from the operator; Z up;
the arbor's middle is the origin. The plate is flat but for its warp, tilted on the
arbor, and turned about X; the arbor is turned about Z as the blade stands in the saw.
Nothing here knows which way a reading grows.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random
from typing import NamedTuple

FULL_TURN = 2.0 * math.pi
WAVES = (2, 3)  # of the warp, round the plate


class Space(NamedTuple):
    """A point or a direction."""

    x: float
    y: float
    z: float

    def __add__(self, other: Space) -> Space:  # type: ignore[override]
        return Space(self.x + other.x, self.y + other.y, self.z + other.z)

    def __mul__(self, times: float) -> Space:  # type: ignore[override]
        return Space(self.x * times, self.y * times, self.z * times)

    def dot(self, other: Space) -> float:
        return self.x * other.x + self.y * other.y + self.z * other.z

    def about_x(self, angle: float) -> Space:
        cosine, sine = math.cos(angle), math.sin(angle)
        return Space(
            self.x, self.y * cosine - self.z * sine, self.y * sine + self.z * cosine
        )

    def about_z(self, angle: float) -> Space:
        cosine, sine = math.cos(angle), math.sin(angle)
        return Space(
            self.x * cosine - self.y * sine, self.x * sine + self.y * cosine, self.z
        )


@dataclass(frozen=True)
class Plate:
    """tilt: rad, of its flat on the arbor. leans: rad, the place round the plate that
    the tilt carries farthest along +X.

    waves: (height in mm, place in rad) of a warp of two and of three waves round it, at
    the rim (mm); it grows with the square of the radius.
    """

    tilt: float
    leans: float
    waves: tuple[tuple[float, float], ...]
    rim: float

    @classmethod
    def draw(cls, random: Random, tilt: float, warp: float, rim: float) -> Plate:
        """tilt, warp: standard deviations, rad and mm."""
        return cls(
            abs(random.gauss(0.0, tilt)),
            random.uniform(0.0, FULL_TURN),
            tuple(
                (random.gauss(0.0, warp / wave), random.uniform(0.0, FULL_TURN))
                for wave in WAVES
            ),
            rim,
        )

    def reach(
        self, origin: Space, points: Space, turn: float, stands: float = 0.0
    ) -> float | None:
        """mm from the plunger's origin to the plate turned by `turn`, its arbor by
        `stands`; None past the rim."""
        # the plunger in the plate's own frame: both turned back
        start = origin.about_z(-stands).about_x(-turn)
        ray = points.about_z(-stands).about_x(-turn)
        # the normal of the flat: turned about Z so that the point on +Y moves toward
        # +X, then that point turned to `leans`
        normal = Space(1.0, 0.0, 0.0).about_z(-self.tilt).about_x(self.leans)
        away = -normal.dot(start) / normal.dot(ray)
        for _ in range(2):  # the foot hardly shifts with the height: two steps converge
            foot = start + ray * away
            away = (self._height(foot) - normal.dot(start)) / normal.dot(ray)
        foot = start + ray * away
        return away if math.hypot(foot.y, foot.z) <= self.rim else None

    def _height(self, foot: Space) -> float:
        place = math.atan2(foot.z, foot.y)
        share = (math.hypot(foot.y, foot.z) / self.rim) ** 2
        return share * sum(
            high * math.cos(wave * (place - at))
            for wave, (high, at) in zip(WAVES, self.waves, strict=True)
        )

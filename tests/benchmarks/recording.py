"""Sweeps of the virtual saw without waiting for them: the same motion and gauges, on a clock of their own.

Standard library and this room only. For trying arithmetic on many saws; the daemon gets its sweeps through
`ptys`.
"""

from __future__ import annotations

from random import Random

from hw.virtual.gauge import Gauge
from hw.virtual.motion import Leg, Pose, stroke
from hw.virtual.saw import VirtualSaw


class Recorder:
    """Takes pushes and pulls of the sled as it stands set up; keeps the sled's place between them.

    rate: readings per second. Resolutions in mm; ages in seconds.
    """

    def __init__(
        self,
        saw: VirtualSaw,
        *,
        rate: float = 120.0,
        resolution: float = 0.001,
        travel_resolution: float = 0.01,
        indicator_age: float = 0.015,
        travel_age: float = 0.010,
    ) -> None:
        self.saw = saw
        self.rate = rate
        self.indicator_age = indicator_age
        self.travel_age = travel_age
        traits = saw.traits
        self.indicator = Gauge(Random(saw.noise.random()), resolution, traits.noise, traits.hysteresis)
        self.travel = Gauge(Random(saw.noise.random()), travel_resolution, traits.noise)
        self._s = 0.0

    def push(self, length: float = 220.0, speed: float = 200.0) -> list[tuple[float, float]]:
        """(travel mm, reading mm) of one push in a fresh hold."""
        return self._sweep(length, speed)

    def pull_back(self, speed: float = 250.0) -> list[tuple[float, float]]:
        """The same, back to the start."""
        return self._sweep(-self._s, speed)

    def _sweep(self, length: float, speed: float) -> list[tuple[float, float]]:
        traits = self.saw.traits
        x, yaw = self.saw.hold(back=length < 0)
        travel = stroke(self.saw.acts, self._s, length, speed, traits.uneven)
        first = Pose(self._s, x, yaw)
        sway = self.saw.acts.gauss(0.0, traits.sway) if traits.sway else 0.0
        leg = Leg(0.0, travel.seconds, first, first._replace(s=self._s + length), travel, sway)
        self._s += length
        taken = []
        for index in range(int((travel.seconds + 0.05) * self.rate)):
            t = index / self.rate
            taken.append(
                (
                    self.travel.indicate(leg.at(t - self.travel_age).s),
                    self.indicator.indicate(self.saw.depth(leg.at(t - self.indicator_age))),
                )
            )
        return taken

"""The weaknesses of an instrument: noise, hysteresis, resolution; mm."""

from __future__ import annotations

from dataclasses import dataclass
from random import Random


@dataclass
class Gauge:
    """Turns a true length into what the instrument shows.

    hysteresis: full width of the lost motion between plunger and counter.
    """

    random: Random
    resolution: float
    noise: float = 0.0
    hysteresis: float = 0.0
    _stands: float = 0.0  # of the counter

    def indicate(self, true: float) -> float:
        """The reading, in mm, a whole number of counts (unrounded where the resolution
        is 0)."""
        half = self.hysteresis / 2.0
        value = self._stands = min(max(self._stands, true - half), true + half)
        if self.noise:
            value += self.random.gauss(0.0, self.noise)
        if self.resolution:
            value = round(value / self.resolution) * self.resolution
        return value

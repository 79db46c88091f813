"""The weaknesses of an instrument: noise, hysteresis, resolution; mm."""

from __future__ import annotations

from random import Random


class Gauge:
    """Turns a true length into what the instrument shows.

    hysteresis: full width of the lost motion between plunger and counter.
    zero: what is subtracted since somebody pressed zero.
    """

    def __init__(
        self,
        random: Random,
        resolution: float,
        noise: float = 0.0,
        hysteresis: float = 0.0,
    ) -> None:
        self.resolution = resolution
        self.noise = noise
        self.hysteresis = hysteresis
        self.zero = 0.0
        self._random = random
        self._shown = 0.0

    def indicate(self, true: float) -> float:
        """The reading, in mm, a whole number of counts (unrounded where the resolution
        is 0)."""
        half = self.hysteresis / 2.0
        self._shown = min(max(self._shown, true - half), true + half)
        value = self._shown - self.zero
        if self.noise:
            value += self._random.gauss(0.0, self.noise)
        if self.resolution:
            value = round(value / self.resolution) * self.resolution
        return value

    def press_zero(self) -> None:
        self.zero = self._shown

"""The motion of the sled: plans that give its pose at a time.

s in mm (grows as the sled is pushed away), x in mm to the right within the side play,
yaw in rad counter-clockwise seen from above, t in seconds of the caller's clock.
"""

from __future__ import annotations

import math
from collections import deque
from dataclasses import dataclass
from random import Random
from typing import NamedTuple


class Pose(NamedTuple):
    s: float = 0.0
    x: float = 0.0
    yaw: float = 0.0


START = Pose()


@dataclass(frozen=True)
class Stroke:
    """One stretch of sled travel, in seconds from its own beginning: speed up, uneven
    going, slow down."""

    start: float
    length: float  # signed
    seconds: float
    ramp_up: float  # seconds
    ramp_down: float
    # (whole turns over the stroke, share of the speed)
    waves: tuple[tuple[int, float], ...]

    def at(self, elapsed: float) -> float:
        """Travel in mm after that many seconds."""
        if elapsed <= 0.0:
            return self.start
        if elapsed >= self.seconds:
            return self.start + self.length
        warped = self._warped(elapsed)
        full = self.seconds - (self.ramp_up + self.ramp_down) / 2.0
        if warped < self.ramp_up:
            done = warped * warped / (2.0 * self.ramp_up)
        elif warped > self.seconds - self.ramp_down:
            left = self.seconds - warped
            done = full - left * left / (2.0 * self.ramp_down)
        else:
            done = warped - self.ramp_up / 2.0
        return self.start + self.length * done / full

    def _warped(self, elapsed: float) -> float:
        """Uneven going is a warp of time, zero at both ends; the shares sum below 1, so
        that it never turns back."""
        phase = 2.0 * math.pi * elapsed / self.seconds
        warped = elapsed
        for turns, share in self.waves:
            part = share * self.seconds / (2.0 * math.pi * turns)
            warped += part * math.sin(turns * phase)
        return warped


def stroke(
    random: Random, start: float, length: float, speed: float, uneven: float = 0.15
) -> Stroke:
    """A push (length > 0) or pull (length < 0) at about that speed in mm/s, over ramps
    of about 20 and 12 mm.

    uneven: share by which the speed wanders; a tenth of it is stick-slip at 9 to 14 Hz.
    """
    run = abs(length)
    speed = max(speed, 0.1)
    up, down = min(20.0, 0.4 * run), min(12.0, 0.3 * run)
    ramp_up, ramp_down = 2.0 * up / speed, 2.0 * down / speed
    seconds = max(ramp_up + ramp_down + (run - up - down) / speed, 1e-3)
    slow = [(turns, random.uniform(-uneven, uneven) / turns) for turns in (1, 2, 3)]
    slip = (
        max(4, round(random.uniform(9.0, 14.0) * seconds)),
        random.uniform(0.0, uneven / 10.0),
    )
    return Stroke(start, length, seconds, ramp_up, ramp_down, (*slow, slip))


@dataclass(frozen=True)
class Leg:
    """One stretch of time: the travel by a stroke (or held), the hold going smoothly
    from one to another."""

    began: float
    ends: float
    first: Pose
    last: Pose
    travel: Stroke | None = None
    sway: float = 0.0  # mm, sideways wander on the way

    def at(self, t: float) -> Pose:
        if t >= self.ends:
            return self.last
        if t <= self.began:
            return self.first
        share = (t - self.began) / (self.ends - self.began)
        eased = share * share * (3.0 - 2.0 * share)
        s = self.first.s if self.travel is None else self.travel.at(t - self.began)
        x = self.first.x + (self.last.x - self.first.x) * eased
        if self.sway:
            x += self.sway * math.sin(6.0 * math.pi * share)
        return Pose(s, x, self.first.yaw + (self.last.yaw - self.first.yaw) * eased)


class Timeline:
    """What the hands did and are doing with the sled, kept a while so that old instants
    can be asked for."""

    def __init__(self) -> None:
        first = Leg(-math.inf, -math.inf, START, START)
        self._legs: deque[Leg] = deque([first], maxlen=32)

    @property
    def last(self) -> Pose:
        """Where the sled stands when everything planned is done."""
        return self._legs[-1].last

    def add(self, leg: Leg) -> None:
        self._legs.append(leg)

    def at(self, t: float) -> Pose:
        for leg in reversed(self._legs):
            if t >= leg.began:
                return leg.at(t)
        return self._legs[0].first

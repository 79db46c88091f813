"""Where a sled is that a hand sweeps to and fro for ever: mm at each reading, evenly in time."""

from __future__ import annotations

import math
import random
from collections.abc import Iterator


def hand(draw: random.Random, rate: float) -> Iterator[float]:
    """A sled pushed along the minimum-jerk path (Flash and Hogan, J. Neurosci. 5 (1985) 1688), left, drawn back.

    Pushed at what the instrument can follow: a reading every 20 mm at least.
    """
    fastest = min(200.0, 20.0 * rate)
    while True:
        length, speed = draw.uniform(150, 400), draw.uniform(fastest / 5, fastest)
        count = max(2, int(1.875 * length / speed * rate))
        for start, end in ((0.0, length), (length, 0.0)):
            for _ in range(int(draw.uniform(0.5, 1.2) * rate)):
                yield start
            shake = draw.uniform(0, 6)
            for i in range(count):
                x = i / count
                x += 0.01 * math.sin(shake + 7 * x) * math.sin(math.pi * x) ** 2
                yield start + (end - start) * x**3 * (10 - 15 * x + 6 * x * x)


def shove(draw: random.Random, rate: float) -> Iterator[float]:
    """A sled at its full speed within 0.05 to 0.3 s, and at rest again as fast; its speed trembles by 2 to 10 % of
    itself three to five times a second. Invented: rougher than a careful hand, for what it shows of the gate."""
    while True:
        length = draw.uniform(150, 400)
        for start, way in ((0.0, 1.0), (length, -1.0)):
            for _ in range(int(draw.uniform(0.5, 1.2) * rate)):
                yield start
            fast = draw.uniform(20, 200)
            gain = fast / draw.uniform(0.05, 0.3)  # mm/s^2
            lasts = length / fast + fast / gain
            turns, share = 2 * math.pi * draw.uniform(3, 5), draw.uniform(0.02, 0.1)
            at = draw.random() / rate
            while at < lasts:
                left = lasts - at
                if at < fast / gain:
                    s = gain * at * at / 2
                elif left < fast / gain:
                    s = length - gain * left * left / 2
                else:
                    s = fast * at - fast * fast / gain / 2
                s += share * fast / turns * math.sin(turns * at) * min(1.0, at / 0.2, left / 0.2)
                yield start + way * s
                at += 1 / rate

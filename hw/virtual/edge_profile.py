"""The profile of an edge that a plunger rides on: bow, texture, dust.

Lengths are in mm along the edge; heights in mm, positive proud of the edge (toward the
plunger).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from random import Random

SAMPLE_STEP = 0.5  # mm between the stored heights


@dataclass
class EdgeProfile:
    """Heights of an edge along its length.

    heights: one value each SAMPLE_STEP mm, from 0 to length; their least-squares line
    over the ridden stretch is zero, so that the angle of the edge is that of the
    stretch which the plunger meets. dust: grains on it now, each (place, half-width,
    height).
    """

    length: float
    heights: list[float]
    dust: list[tuple[float, float, float]] = field(default_factory=list)

    @classmethod
    def draw(
        cls,
        random: Random,
        length: float,
        texture: float,
        bow: float,
        ridden: tuple[float, float],
    ) -> EdgeProfile:
        """An edge with texture of that standard deviation (correlated over 5 to 10 mm)
        and bow (a crown)."""
        count = int(length / SAMPLE_STEP) + 1
        window = max(1, round(random.uniform(4.0, 8.0) / SAMPLE_STEP))
        white = [random.gauss(0.0, 1.0) for _ in range(count + 2 * window)]
        rough = _averaged(_averaged(white, window), window)[:count]
        # a box average taken twice leaves 2/(3 w) of the variance
        gain = texture / math.sqrt(2.0 / (3.0 * window))
        middle, half = sum(ridden) / 2, (ridden[1] - ridden[0]) / 2
        heights = [
            gain * high + bow * (1.0 - ((index * SAMPLE_STEP - middle) / half) ** 2)
            for index, high in enumerate(rough)
        ]
        return cls(length, _levelled(heights, ridden))

    def at(self, place: float) -> float:
        """Height in mm at a place in mm; the ends are continued level."""
        where = min(max(place / SAMPLE_STEP, 0.0), len(self.heights) - 1.001)
        index = int(where)
        here, there = self.heights[index], self.heights[index + 1]
        height = here + (there - here) * (where - index)
        for middle, half, top in self.dust:
            away = abs(place - middle) / half
            if away < 1.0:
                height += top * (1.0 - away * away)
        return height

    def wipe(self, random: Random, expected: float) -> None:
        """Wipe the edge: the grains go, and a few new ones (0.005 to 0.06 mm high over
        1 to 4 mm) settle; expected: their mean number."""
        self.dust = []
        left = random.expovariate(1.0)
        while left < expected:
            self.dust.append(
                (
                    random.uniform(0.0, self.length),
                    random.uniform(0.5, 2.0),
                    random.uniform(0.005, 0.06),
                )
            )
            left += random.expovariate(1.0)

    def rest(self, low: float, high: float, pushed: float) -> tuple[float, float]:
        """(slope, height in mm at `pushed`) of a straight edge that lies on the stretch
        and is pressed home at that place."""
        top = hull(self._points(low, high))
        for (x1, y1), (x2, y2) in pairwise(top):
            if x1 <= pushed <= x2:
                slope = (y2 - y1) / (x2 - x1)
                return slope, y1 + slope * (pushed - x1)
        raise ValueError(f"{pushed:g} mm does not lie between {low:g} and {high:g} mm")

    def zone(self, low: float, high: float, mean: float = 0.0) -> float:
        """Height in mm of the narrowest straight strip that holds the stretch, averaged
        over `mean` mm; at the ends the line through the outermost `mean` mm goes on."""
        points = self._points(low, high, mean)
        top = hull(points)
        bottom = [(x, -y) for x, y in hull([(x, -y) for x, y in points])]
        return min(
            _strip(top, bottom),
            _strip([(x, -y) for x, y in bottom], [(x, -y) for x, y in top]),
        )

    def crown(self, low: float, high: float) -> float:
        """mm by which the least-squares parabola over the stretch is proud of its chord
        in the middle."""
        points = self._points(low, high)
        middle, half = (low + high) / 2.0, (high - low) / 2.0
        mean = sum(y for _, y in points) / len(points)
        bent = [((x - middle) / half) ** 2 for x, _ in points]
        flat = sum(bent) / len(bent)
        return -sum(
            (b - flat) * (y - mean) for b, (_, y) in zip(bent, points, strict=True)
        ) / sum((b - flat) ** 2 for b in bent)

    def levelled(self, slope: float, height: float, at: float) -> EdgeProfile:
        """The same edge, turned and shifted so that the line of that slope and height
        at a place is its zero."""
        heights = [
            h - height - slope * (index * SAMPLE_STEP - at)
            for index, h in enumerate(self.heights)
        ]
        return EdgeProfile(self.length, heights, self.dust)

    def raised(self, middle: float, half: float, top: float) -> EdgeProfile:
        """The same edge with a swelling of that height over 2 half, mm."""
        heights = [
            h + top * max(0.0, 1.0 - ((index * SAMPLE_STEP - middle) / half) ** 2)
            for index, h in enumerate(self.heights)
        ]
        return EdgeProfile(self.length, heights, self.dust)

    def _points(
        self, low: float, high: float, mean: float = 0.0
    ) -> list[tuple[float, float]]:
        first = max(0, round(low / SAMPLE_STEP))
        last = min(len(self.heights) - 1, round(high / SAMPLE_STEP))
        half = round(mean / 2 / SAMPLE_STEP)
        if not half:
            return [(k * SAMPLE_STEP, self.heights[k]) for k in range(first, last + 1)]
        out = []
        for k in range(first, last + 1):
            middle = min(max(k, first + half), last - half)
            window = self.heights[middle - half : middle + half + 1]
            height = sum(window) / len(window)
            if k != middle:
                lean = sum(j * h for j, h in enumerate(window, -half))
                height += (k - middle) * lean / (half * (half + 1) * (2 * half + 1) / 3)
            out.append((k * SAMPLE_STEP, height))
        return out


def hull(points: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """The upper hull of points in rising x: those that a straight edge from above can
    touch."""
    out: list[tuple[float, float]] = []
    for x, y in points:
        while len(out) > 1:
            (x1, y1), (x2, y2) = out[-2:]
            if (y2 - y1) * (x - x1) > (y - y1) * (x2 - x1):
                break
            out.pop()
        out.append((x, y))
    return out


def _strip(
    top: Sequence[tuple[float, float]], bottom: Sequence[tuple[float, float]]
) -> float:
    """Height of the narrowest strip that lies on one side of the upper hull."""
    widest = []
    for (x1, y1), (x2, y2) in pairwise(top):
        slope = (y2 - y1) / (x2 - x1)
        widest.append(max(y1 + slope * (x - x1) - y for x, y in bottom))
    return min(widest)


def _averaged(values: list[float], window: int) -> list[float]:
    total, out = sum(values[:window]), []
    for index in range(len(values) - window):
        out.append(total / window)
        total += values[index + window] - values[index]
    return out


def _levelled(heights: list[float], ridden: tuple[float, float]) -> list[float]:
    low, high = int(ridden[0] / SAMPLE_STEP), int(ridden[1] / SAMPLE_STEP)
    places = range(low, high + 1)
    middle = (low + high) / 2
    mean = sum(heights[low : high + 1]) / len(places)
    slope = sum((p - middle) * heights[p] for p in places) / sum(
        (p - middle) ** 2 for p in places
    )
    return [
        value - mean - slope * (index - middle) for index, value in enumerate(heights)
    ]

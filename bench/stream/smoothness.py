"""How far readings are off the smooth path of one another.

A point is (place, value): places count readings, values in mm. Divided differences are
the textbook's (Newton's form of the interpolating polynomial). Pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

Point = tuple[float, float]

WIDEST = 5  # points that a cubic is laid through


def off(points: Sequence[Point]) -> float:
    """How far the last of three is off the line of the two before it, the last of four
    off the parabola of the three."""
    (b, v), (c, w), (d, x) = points[-3:]
    slope = (w - v) / (c - b)
    ahead = x - w - slope * (d - c)
    if len(points) == 3:
        return abs(ahead)
    a, u = points[-4]
    bend = (slope - (v - u) / (b - a)) / (c - a)
    return abs(ahead - bend * (d - c) * (d - b))


def unlike(points: Sequence[Point]) -> float:
    """How unlike n points are a polynomial of degree n - 2: their highest divided
    difference over what white noise of deviation 1 makes of it. 0 on such a polynomial;
    mm."""
    total = gain = 0.0
    for x, y in points:
        weight = 1.0
        for other, _ in points:
            if other != x:
                weight /= x - other
        total += weight * y
        gain += weight * weight
    return abs(total) / math.sqrt(gain)


def roughness(points: Sequence[Point]) -> float:
    """The worst `unlike` of any five that follow one another; of all where they are
    fewer. inf below three."""
    if len(points) < 3:
        return math.inf
    if len(points) <= WIDEST:
        return unlike(points)
    return max(
        unlike(points[at : at + WIDEST]) for at in range(len(points) - WIDEST + 1)
    )


def ahead(path: Sequence[Point], point: Point, *, standing: bool) -> float:
    """How far off the path of one to three, in whatever way it may go on: standing if
    it does, straight, bent."""
    still = abs(point[1] - path[-1][1])
    if len(path) < 2:
        return still
    straight = off([*path[-2:], point])
    least = min(still, straight) if standing else straight
    return min(least, off([*path, point])) if len(path) == 3 else least


Without = tuple[float, bool, tuple[int, ...]]


def without(
    path: Sequence[Point], ways: Sequence[tuple[bool, list[Point]]], number: int
) -> list[Without]:
    """Every way to go on smoothly without `number` of the points but the newest, the
    smoothest first.

    ways: the points after the path, where they may stand in two ways. With (roughness,
    which way, what is left out).
    """
    return sorted(
        (
            roughness(
                [*path, *(one for at, one in enumerate(points) if at not in gone)]
            ),
            way,
            gone,
        )
        for way, points in ways
        for gone in combinations(range(len(points) - 1), number)
    )

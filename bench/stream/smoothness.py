"""Residuals and roughness of a few readings, by divided differences.

A point is (place, value): places count readings, values in mm. Divided differences as
in Newton's form of the interpolating polynomial. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import combinations

Point = tuple[float, float]

WIDEST = 5  # points whose highest divided difference is taken: against a cubic


def residual(points: Sequence[Point]) -> float:
    """Distance of the last of three points from the line of the two before it, or of
    the last of four from the parabola of the three before it."""
    (b, v), (c, w), (d, x) = points[-3:]
    slope = (w - v) / (c - b)
    linear = x - w - slope * (d - c)
    if len(points) == 3:
        return abs(linear)
    a, u = points[-4]
    bend = (slope - (v - u) / (b - a)) / (c - a)
    return abs(linear - bend * (d - c) * (d - b))


def divided_difference(points: Sequence[Point]) -> float:
    """The highest divided difference of n points over its standard deviation in white
    noise of deviation 1, mm; 0 for points on a polynomial of degree n - 2."""
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
    """The largest divided difference of any five consecutive points, or of all where
    there are fewer; inf below three."""
    if len(points) < 3:
        return math.inf
    if len(points) <= WIDEST:
        return divided_difference(points)
    return max(
        divided_difference(points[at : at + WIDEST])
        for at in range(len(points) - WIDEST + 1)
    )


def least_residual(path: Sequence[Point], point: Point, *, standing: bool) -> float:
    """The least residual of a point against a path of one to three: as a constant
    (where standing), a line or a parabola."""
    still = abs(point[1] - path[-1][1])
    if len(path) < 2:
        return still
    straight = residual([*path[-2:], point])
    least = min(still, straight) if standing else straight
    return min(least, residual([*path, point])) if len(path) == 3 else least


Omission = tuple[float, bool, tuple[int, ...]]


def smoothest_without(
    path: Sequence[Point], ways: Sequence[tuple[bool, list[Point]]], number: int
) -> list[Omission]:
    """Every choice of `number` points to leave out, never the newest, the smoothest
    rest first: (roughness, placing, indices left out).

    ways: the points after the path, in one placing or two (by count, by stamps).
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

"""The straightness of a profile about the least-squares line and within the minimum
zone, and its bow.

Lengths in mm (or any one unit of height); straightness is measured along y, as the
readings are: for slopes below 1 mm/m that equals the distance square to the line to 1
part in 2 million. Terms: ISO 12780-1 and ISO 230-1:2012, 3.4.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from bench.geometry.columns import (
    Array,
    Column,
    GeometryError,
    least_of_convex,
    line_of,
    noisy_copies,
    paired,
    standard_uncertainty,
)
from bench.geometry.contact import lower_hull, upper_hull


@dataclass(frozen=True, eq=False)
class Straightness:
    """Straightness about a reference line y = intercept + slope x.

    straightness: largest less smallest deviation. sensitivity: (n,) change of
    straightness per unit of each height, for `reversal.standard_uncertainty`. Noise in
    the heights does not only scatter a straightness, it also widens it: the range of a
    straight line with noise is never zero (see `less_noise`).
    """

    slope: float
    intercept: float
    straightness: float
    sensitivity: Array = field(repr=False)


def least_squares(x: Column, y: Column) -> Straightness:
    """Straightness about the least-squares line. x, y: (n,), n >= 2. Source: ISO
    12780-1:2011, LSLI, STRt."""
    xs, ys = paired(x, y)
    line = line_of(xs, ys)
    high, low = int(np.argmax(line.left)), int(np.argmin(line.left))
    sensitivity = -(line.off[high] - line.off[low]) * line.off / line.spread
    sensitivity[high] += 1.0
    sensitivity[low] -= 1.0
    intercept = float(ys.mean() - line.slope * xs.mean())
    zone = float(line.left[high] - line.left[low])
    return Straightness(line.slope, intercept, zone, sensitivity)


def minimum_zone(x: Column, y: Column) -> Straightness:
    """Exact minimum-zone straightness: the two closest parallel lines, along y, that
    hold every point.

    x, y: (n,), n >= 2. slope and intercept are of the line midway between them; where
    several directions do equally well, the middle one. The width over the slope is
    convex and bends only at the directions of hull edges, so the least over those is
    exact: one line holds an edge, the other a corner over against it (rotating
    calipers). Source: ISO 12780-1:2011, MZLI; Shamos (1978), Computational Geometry.
    """
    xs, ys = paired(x, y)
    line = line_of(xs, ys)
    # small numbers: the hull then loses no digits
    offsets, heights = line.off, line.left
    tops, bottoms = upper_hull(offsets, heights), lower_hull(offsets, heights)
    top_x, top_y = offsets[tops], heights[tops]
    low_x, low_y = offsets[bottoms], heights[bottoms]
    falling, rising = np.diff(top_y) / np.diff(top_x), np.diff(low_y) / np.diff(low_x)
    slopes = np.concatenate((falling, rising))
    # the corner that stands out most along a slope is where the hull's own edges pass
    # that slope
    over, under = np.searchsorted(-falling, -slopes), np.searchsorted(rising, slopes)
    widths = (top_y[over] - slopes * top_x[over]) - (
        low_y[under] - slopes * low_x[under]
    )
    least = float(widths.min())
    best = np.flatnonzero(widths <= least + 1e-12 * float(np.ptp(heights)))
    slope = float(slopes[best].min() + slopes[best].max()) / 2.0
    high = float(np.max(top_y - slope * top_x))
    low = float(np.min(low_y - slope * low_x))
    return Straightness(
        slope=line.slope + slope,
        intercept=float(ys.mean())
        + (high + low) / 2.0
        - (line.slope + slope) * float(xs.mean()),
        straightness=max(high - low, 0.0),
        sensitivity=_zone_sensitivity(offsets, heights, tops, bottoms, int(best[0])),
    )


def _zone_sensitivity(
    x: Array, y: Array, tops: list[int], bottoms: list[int], edge: int
) -> Array:
    """The zone is the height of one corner over a chord of the other hull: so much per
    unit of each."""
    on_top = edge < len(tops) - 1
    held, over = (tops, bottoms) if on_top else (bottoms, tops)
    start = edge if on_top else edge - (len(tops) - 1)
    a, b = held[start], held[start + 1]
    slope = (y[b] - y[a]) / (x[b] - x[a])
    away = (y[over] - slope * x[over]) * (-1.0 if on_top else 1.0)
    touching = np.flatnonzero(away >= away.max() - 1e-12 * np.ptp(y))
    middle = (x[a] + x[b]) / 2.0
    c = over[int(touching[np.argmin(np.abs(x[np.asarray(over)[touching]] - middle))])]
    share = float((x[c] - x[a]) / (x[b] - x[a]))
    sign = -1.0 if on_top else 1.0
    sensitivity = np.zeros(x.size)
    np.add.at(sensitivity, [c, a, b], [sign, sign * (share - 1.0), -sign * share])
    return sensitivity


@dataclass(frozen=True)
class LessNoise:
    """straightness: what is left without what noise adds; standard_uncertainty: of
    that."""

    straightness: float
    standard_uncertainty: float


def less_noise(
    x: Column,
    y: Column,
    noise: Column,
    line: Callable[[Column, Column], Straightness] = minimum_zone,
) -> LessNoise:
    """Straightness of the form under a noisy profile, with an interval that serves a
    dead straight one too.

    x, y: (n,). noise: as in `reversal.standard_uncertainty`. line: `minimum_zone` or
    `least_squares`. Noise widens: copies of
    the profile with noise added once more tell by how much, and that is taken off in
    squares, T^2 = 2 z^2 - E[z*]^2: exact for a straight line, where z* is z sqrt(2),
    and z less its bias where form outweighs noise. The uncertainty is that of z carried
    through the squares. No published source: found by simulation.
    """
    xs, ys = paired(x, y)
    found = line(xs, ys)
    z, u = found.straightness, standard_uncertainty(found.sensitivity, noise)
    offsets = xs - xs.mean()
    copies = noisy_copies(ys - (found.intercept + found.slope * xs), noise)
    slopes = copies @ offsets / float(offsets @ offsets)
    if line is minimum_zone:
        bound = 4.0 * np.ptp(copies, axis=1) / np.ptp(offsets)
        slopes = least_of_convex(
            lambda m: np.ptp(copies - m[:, None] * offsets, axis=1), -bound, bound
        )
    widened = float(np.mean(np.ptp(copies - slopes[:, None] * offsets, axis=1)))
    left = float(np.sqrt(max(2.0 * z * z - max(widened, z) ** 2, 0.0)))
    return LessNoise(
        left, (float(np.sqrt(left * left + 4.0 * u * (z + u))) - left) / 2.0
    )


@dataclass(frozen=True, eq=False)
class Bow:
    """height: mm, crown (middle proud) positive. sensitivity: (n,) change of it per mm
    of each height."""

    height: float
    sensitivity: Array = field(repr=False)


def bow(x: Column, y: Column) -> Bow:
    """Signed bow: height of the middle over the chord between the ends, on the
    least-squares parabola.

    x, y: (n,) over at least three different places. It is the quadratic part of the
    form alone: an S-shaped profile, or any line added, leaves it as it is. Raises
    GeometryError under three different places.
    """
    xs, ys = paired(x, y, at_least=3)
    if np.unique(xs).size < 3:
        raise GeometryError("a bow needs heights at three different places at least")
    half = float(np.ptp(xs)) / 2.0
    t = (xs - (float(xs.min()) + half)) / half
    sensitivity = -np.linalg.pinv(np.column_stack((np.ones_like(t), t, t**2)))[2]
    return Bow(float(sensitivity @ (ys - ys.mean())), np.asarray(sensitivity))

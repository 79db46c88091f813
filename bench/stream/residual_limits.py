"""Residuals and roughness of readings on a smooth path, and the limits of both.

A point is (place, value): places count readings, values in mm. Pure.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Collection, Sequence
from operator import sub
from typing import NamedTuple

from bench.stream.neighbours import is_between

Point = tuple[float, float]

LEVEL = 0  # the predictor order of a constant; 1 is a line, 2 a parabola
# Standard deviation, in white noise of deviation 1, of the residual of each order: off
# the mean of the three readings before; off the line of the two before, weights 1 -2 1;
# off the parabola of the three before, weights 1 -3 3 -1.
RESIDUAL_GAINS = (1.155, 2.449, 4.472)
DIFFERENCE_GAINS = (1.414, 2.449, 4.472, 8.367)  # of first to fourth differences
NORMAL = 0.6745  # median of absolute residuals over the standard deviation; normal law
WIDEST_WINDOW = 5  # points whose highest divided difference is taken: against a cubic
ABRUPT = 5.0  # times the smooth limit; the step of a reading that leaves or ends rest
NOISE_WINDOW = 24  # readings that an estimate of noise and motion goes back
ESTIMATE_AFTER = 8  # new readings, after which it is made anew
GROWTH = 1.1  # times the noise may seem to grow from one estimate to the next
LEAST_NOISE = 0.5  # counts from which it grows
SMOOTHER = 2.0  # times smoother, to reject a reading or to believe the stamps
STEPS_KEPT = 60  # estimates whose least is the step; half a minute of a quick stream
ROUNDING = 1e-6  # mm; below this two steps are multiples of each other
FUZZ = 1e-7  # mm; a difference below this is rounding of the arithmetic


class Limits(NamedTuple):
    """order: the predictor order with the least scatter of late. The others in mm.

    predicted: of the residual; a reading above it is pending. step: from the reading
    before, at rest: a slow creep leaves the mean behind. smooth: of the roughness at
    rest; moving: the same in motion. in_line: of three readings off one line. near: of
    a reading that may continue the path.
    """

    order: int
    noise: float
    predicted: float
    step: float
    smooth: float
    moving: float
    in_line: float
    near: float


def limits_of(
    raw: Sequence[float], count: float, *, slow: bool = False, most: float = math.inf
) -> Limits:
    """raw: six readings or more, outliers included, as medians do not see one in a
    hundred; count: the instrument's count, mm; most: what the noise is at most, mm, as
    a slow stream has few readings in a motion and all of it seems to be noise.

    Each limit is the largest of so many counts, standard deviations of the noise, and
    standard deviations of what motion adds. The figures come from simulation:
    tests/benchmarks/stream_faults.py.
    """
    deviations = []
    for gain in DIFFERENCE_GAINS:
        raw = list(map(sub, raw[1:], raw))
        deviations.append(sorted(map(abs, raw))[len(raw) // 2] / (NORMAL * gain))
    scatters = [d * gain for d, gain in zip(deviations, RESIDUAL_GAINS, strict=False)]
    scatter = min(scatters)
    order = scatters.index(scatter)
    noise = min(*deviations, most)  # motion adds to each of these; noise is in all

    def limit(counts: float, noises: float, motion: float = 0.0) -> float:
        return FUZZ + max(counts * count, noises * noise, motion)

    return Limits(
        order,
        noise,
        predicted=limit(4.0, (3.5, 4.9, 9.0)[order], 0.0 if slow else 2.5 * scatter),
        step=limit(4.5, 5.0),
        smooth=limit(4.0, 4.5),
        moving=limit(4.0, 4.5, 3.5 * deviations[3]),
        in_line=limit(6.0, 10.0, 2.5 * scatter),
        near=limit(8.0, 6.0, 6.0 * scatter),
    )


class LimitEstimator:
    """Estimates the limits anew, now and then, from all readings that came: `estimate`
    is for when `raw`, to which they are appended, is `due` long. limits: the latest."""

    def __init__(self, count: float) -> None:
        """count: the instrument's count, mm; the step seen of late is used where it is
        larger, or where count is 0."""
        self._count = count
        # mm, of late: one value off the count is forgotten again
        self._steps: deque[float] = deque(maxlen=STEPS_KEPT)
        self.raw: list[float] = []  # the latest readings
        self.due = ESTIMATE_AFTER
        self.limits = limits_of([0.0] * NOISE_WINDOW, count or math.inf)

    def forget(self) -> None:
        """Forget the latest readings, but not what is known of noise and step."""
        self.raw.clear()
        self.due = ESTIMATE_AFTER

    def estimate(self, *, slow: bool) -> Limits:
        raw = self.raw
        if step := common_step(raw) if slow else smallest_step(raw):
            # a quick stream's smallest step is the count only now and then
            self._steps.append(step if slow else min([step, *self._steps]))
        if count := max(self._count, min(self._steps, default=0.0)):
            noise = max(self.limits.noise, LEAST_NOISE * count)
            most = GROWTH * noise if slow else math.inf
            self.limits = limits_of(raw, count, slow=slow, most=most)
        del raw[:-NOISE_WINDOW]
        self.due = NOISE_WINDOW + ESTIMATE_AFTER
        return self.limits


def _steps(raw: Sequence[float]) -> list[float]:
    """The steps between readings, mm; none where fewer than three are seen."""
    steps = [step for step in map(abs, map(sub, raw[1:], raw)) if step > FUZZ]
    return steps if len(steps) >= 3 else []


def smallest_step(raw: Sequence[float]) -> float:
    """The smallest step between two readings, mm; 0 where fewer than three are seen."""
    return min(_steps(raw), default=0.0)


def common_step(raw: Sequence[float]) -> float:
    """The greatest step, mm, of which all steps between readings are multiples, one
    reading left out that may be wrong; 0 where fewer than three are seen. For slow
    streams: in a motion their smallest step is much larger than the count."""
    others = ([*raw[:at], *raw[at + 1 :]] for at in range(len(raw)))
    return max((_common(_steps(some)) for some in others), default=0.0)


def _common(steps: Sequence[float]) -> float:
    """By Euclid's algorithm (Elements VII 2)."""
    common = 0.0
    for step in steps:
        rest = step
        while rest > ROUNDING:
            common, rest = rest, abs(math.remainder(common, rest))
    return common


def extrapolate(points: Sequence[Point], place: float) -> float:
    """The value, mm, at `place` of the polynomial through the points (Lagrange)."""
    total = 0.0
    for x, y in points:
        weight = 1.0
        for other, _ in points:
            if other != x:
                weight *= (place - other) / (x - other)
        total += weight * y
    return total


def roughness(points: Sequence[Point]) -> float:
    """The largest highest divided difference of any five consecutive points (of all
    where there are fewer) over its standard deviation in white noise of deviation 1,
    mm: 0 on a cubic. inf below three points."""
    if len(points) < 3:
        return math.inf
    largest = 0.0
    for at in range(max(1, len(points) - WIDEST_WINDOW + 1)):
        window = points[at : at + WIDEST_WINDOW]
        weights = [1 / math.prod(x - o for o, _ in window if o != x) for x, _ in window]
        total = sum(w * y for w, (_, y) in zip(weights, window, strict=True))
        largest = max(largest, abs(total) / math.hypot(*weights))
    return largest


def least_roughness(
    path: Sequence[Point], placings: Sequence[Sequence[Point]], without: Collection[int]
) -> tuple[float, bool]:
    """Roughness of the path and what follows it, less the points at some indices, in
    the better placing; and whether that is the one by stamps.

    placings: what follows, by count and perhaps by stamps. Readings that came late are
    as likely as readings lost: the placing by stamps is taken where it is much
    smoother.
    """
    found = []
    for by_stamp, points in enumerate(placings):
        stay = [point for at, point in enumerate(points) if at not in without]
        found.append((roughness([*path, *stay]), by_stamp > 0))
    return min(found, key=lambda one: one[0] * (SMOOTHER if one[1] else 1.0))


def is_corner(
    before: Sequence[float], pending: Sequence[float], limits: Limits
) -> bool:
    """Whether the first pending reading is the corner between motion and rest, which no
    polynomial follows."""
    first, *after = pending
    if len(before) < 3 or not is_between(first, before[-1], after[0], limits.smooth):
        return False
    began = max(before) - min(before) <= limits.step
    ended = len(after) > 2 and max(after) - min(after) <= limits.step
    step = after[1] - after[0] if began else before[2] - before[1]
    return began != ended and abs(step) > ABRUPT * limits.smooth

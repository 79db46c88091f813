"""Thresholds of the outlier filter, from the noise and the motion of its stream.

Pure; lengths in mm.
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from operator import sub
from typing import NamedTuple

LEVEL, LINE, PARABOLA = 0, 1, 2  # predictor orders: constant, linear, quadratic
# Standard deviation of the residual of each predictor order in white noise of deviation
# 1: off the mean of the three readings before; off the line of the two before, weights
# 1 -2 1; off the parabola of the three before, weights 1 -3 3 -1.
GAINS = (1.155, 2.449, 4.472)
GAIN4 = 8.367  # the same of fourth differences, weights 1 -4 6 -4 1
SQRT2 = math.sqrt(2.0)
STEPS = 3  # differences that are not 0, before the smallest is the display's step
# readings for fourth differences to be worth a look: one wrong reading spoils five
ENOUGH = 24
FUZZ = 1e-7  # mm; a difference below this is rounding of the arithmetic
NORMAL = 0.6745  # median of absolute residuals over the standard deviation; normal law

# Thresholds, each in counts and in standard deviations of the noise; the larger holds.
# They were found by simulation: tests/benchmarks/stream_faults.py flips.
# of the residual, by predictor order; a reading above it is pending
PREDICTED = ((4.0, 3.5), (4.0, 4.9), (4.0, 9.0))
# of the linear residual of a slow stream, where a hand does much between two readings
PREDICTED_SLOWLY = (3.3, 3.9)
# of the step from the reading before, at rest: a slow creep leaves the mean behind
STEP = (4.5, 5.0)
SMOOTH = (4.0, 4.5)  # of a reading among its neighbours, off their parabola or cubic
IN_LINE = (6.0, 10.0)  # of three readings off one line
NEAR = (8.0, 6.0)  # of a reading that may continue the path
# the same in the scatter that motion makes: PREDICTED and IN_LINE in the predictor's
# scatter, SMOOTH in that of fourth differences, NEAR in the predictor's
SCATTERS, CHANGES, SCATTERS_NEAR = 2.5, 3.5, 6.0
FINE = 2.5  # counts of scatter, up to which the quadratic predictor serves slow streams
ROUGH = 8.0  # counts of scatter, above which fourth differences are looked at


class StreamStatistics(NamedTuple):
    """step: the smallest between two readings, 0 where unknown; order: the predictor
    order with the least scatter.

    scatter: of that predictor's residuals; noise: of one reading; changes: of one
    reading as seen in fourth differences, which hold the noise and how the motion
    changes. Standard deviations, mm.
    """

    step: float
    order: int
    scatter: float
    noise: float
    changes: float


def stream_statistics(raw: Sequence[float], rough: float = 0.0) -> StreamStatistics:
    """Of five readings or more, outliers included: medians do not see one in a hundred.
    changes is 0 where the readings are few, or the scatter is below `rough`, mm."""
    first = list(map(sub, raw[1:], raw))
    second = list(map(sub, first[1:], first))
    third = list(map(sub, second[1:], second))
    sizes = sorted(map(abs, first))
    zeros = bisect_right(sizes, FUZZ)
    half = len(sizes) // 2
    # In white noise the deviations of first to fourth differences are 1.41, 2.45, 4.47
    # and 8.37.
    level = sizes[half] / (SQRT2 * NORMAL)
    line = sorted(map(abs, second))[half] / (NORMAL * GAINS[LINE])
    bent = sorted(map(abs, third))[half - 1] / (NORMAL * GAINS[PARABOLA])
    predictor_scatter = (
        level * GAINS[LEVEL],
        line * GAINS[LINE],
        bent * GAINS[PARABOLA],
    )
    scatter = min(predictor_scatter)
    changes = 0.0
    if scatter > rough and len(raw) >= ENOUGH:
        changes = sorted(map(abs, map(sub, third[1:], third)))[half - 1] / (
            NORMAL * GAIN4
        )
    # Motion adds to each estimate and noise is in all, so the least is the noise.
    noise = min(level, line, bent, changes or math.inf)
    step = sizes[zeros] if len(sizes) - zeros >= STEPS else 0.0
    return StreamStatistics(
        step, predictor_scatter.index(scatter), scatter, noise, changes
    )


AT_REST = StreamStatistics(0.0, LEVEL, 0.0, 0.0, 0.0)


class Thresholds(NamedTuple):
    """Thresholds in mm, as the constants above define them; moving: SMOOTH while it
    moves."""

    by_order: tuple[float, float, float]
    step: float
    smooth: float
    moving: float
    in_line: float
    near: float


UNKNOWN_THRESHOLDS = Thresholds((math.inf, math.inf, math.inf), *[math.inf] * 5)


def thresholds(
    count: float, noise: float, statistics: StreamStatistics, *, slow: bool
) -> Thresholds:
    """count: the instrument's count, mm; noise: standard deviation of one reading, mm;
    slow: PREDICTED_SLOWLY is used."""

    def threshold(pair: tuple[float, float], motion: float = 0.0) -> float:
        return max(pair[0] * count, pair[1] * noise, motion) + FUZZ

    by_order = [threshold(pair) for pair in PREDICTED]
    if slow:
        by_order[LINE] = threshold(PREDICTED_SLOWLY)
    else:
        by_order[statistics.order] = threshold(
            PREDICTED[statistics.order], SCATTERS * statistics.scatter
        )
    return Thresholds(
        (by_order[0], by_order[1], by_order[2]),
        threshold(STEP),
        threshold(SMOOTH),
        threshold(SMOOTH, CHANGES * statistics.changes),
        threshold(IN_LINE, SCATTERS * statistics.scatter),
        threshold(NEAR, SCATTERS_NEAR * statistics.scatter),
    )

"""The shape of a baseline period: level, one step or a straight line, told apart by
AICc, with or without a part that follows moisture content.

Pure least squares in plain numbers. Times in days, moisture content in percent. AICc:
Hurvich and Tsai (1989), Biometrika 76(2), 297-307.

How far results differ when nothing has changed is told by the results themselves, the
square's error and the budget. The square's own error e is measured with the fence and
not moved by it: a whole check has a = (b1 + b2) / 2 and e = (b2 - b1) / 2, so that
whatever differs from set-up to set-up scatters both alike. Pooling: GUM 4.2.4.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

Kind = Literal["level", "trend", "step"]
FEWEST_FOR_TREND = 5  # results
# degrees of freedom granted to what a budget says of the scatter: by simulation the
# largest that keeps a budget of half the truth from raising alarms
WEIGHT_OF_BUDGET = 4.0
# standard deviations from which on results are believed to scatter more than the
# square's error does, from day to day by more than the set-up: a chance of 15 %
MORE_THAN_SET_UP = 1.04
# degrees of freedom that the square's error may count for: beside many of its results
# few of the fence's own would not be heard
MOST_OF_SET_UP = 10.0
# what from day to day adds to the scatter that set-ups and budgets show, of the
# variance, before the results themselves show it
FROM_DAY_TO_DAY = 1.25
# a quick check has one set-up in place of two, so twice the variance
QUICK_VARIANCE = 2.0


class Sums(msgspec.Struct, frozen=True):
    """Sums of squares and products about a shape: of the value y, of moisture m.
    freedom: observations less the numbers that the shape takes, moisture's not."""

    yy: float
    my: float = 0.0
    mm: float = 0.0
    freedom: float = 0.0

    def residual(self) -> float:
        """Sum of squares that is left when the part that follows moisture is taken
        out."""
        left = self.yy - (self.my**2 / self.mm if self.mm > 0 else 0.0)
        return max(0.0, left)


class Scatter(msgspec.Struct, frozen=True):
    """squares: sum of squared residuals. freedom: its degrees of freedom."""

    squares: float = 0.0
    freedom: float = 0.0

    def __add__(self, other: Scatter) -> Scatter:
        return Scatter(self.squares + other.squares, self.freedom + other.freedom)

    @property
    def variance(self) -> float:
        return self.squares / self.freedom if self.freedom > 0 else 0.0


NO_SCATTER = Scatter()


class Shape(msgspec.Struct, frozen=True):
    """at: number of the first observation behind the step. slope: a day, and its sum of
    squares of time, of the line."""

    kind: Kind
    sums: Sums
    aicc: float
    at: int = 0
    slope: float = 0.0
    times: float = 0.0

    @property
    def scatter(self) -> Scatter:
        return Scatter(self.sums.yy, self.sums.freedom)


def best_shape(
    t: Sequence[float], y: Sequence[float], m: Sequence[float] | None = None
) -> Shape:
    """The shape with the lowest AICc of the three. m: moisture content of each, None
    where it plays no part."""
    return min(fit_shapes(t, y, m).values(), key=lambda shape: shape.aicc)


def fit_shapes(
    t: Sequence[float], y: Sequence[float], m: Sequence[float] | None = None
) -> dict[Kind, Shape]:
    """The shapes that so many observations can carry; `level` always. At least one."""
    n, wet = len(y), m is not None
    y, w = _centred(y), _centred([0.0] * n if m is None else m)
    base = Sums(_dot(y, y), _dot(y, w), _dot(w, w))
    found: dict[Kind, Shape] = {"level": _shape_of("level", n, base, 1, wet)}
    if n < FEWEST_FOR_TREND:
        return found
    line = _about_line(_centred(t), y, w, base)
    if line is not None:
        sums, slope, times = line
        found["trend"] = _shape_of("trend", n, sums, 2, wet, slope=slope, times=times)
    parted = _about_step(y, w, base)
    if parted is not None:
        sums, at = parted
        # the place of the step is one number more
        found["step"] = _shape_of("step", n, sums, 3, wet, at=at)
    return found


def _centred(values: Sequence[float]) -> list[float]:
    mean = math.fsum(values) / len(values)
    return [value - mean for value in values]


def _dot(a: Sequence[float], b: Sequence[float]) -> float:
    return math.fsum(x * y for x, y in zip(a, b, strict=True))


def _shape_of(
    kind: Kind,
    n: int,
    sums: Sums,
    numbers: int,
    wet: bool,
    *,
    at: int = 0,
    slope: float = 0.0,
    times: float = 0.0,
) -> Shape:
    parameters = numbers + 1 + wet  # the scatter is one, moisture another
    spare = n - parameters - 1
    left = max(sums.residual(), 1e-300)
    aicc = math.inf
    if spare > 0:
        aicc = n * math.log(left / n) + 2 * parameters * n / spare
    elif kind == "level":
        aicc = 1e300  # where none can be judged it is taken
    sums = Sums(sums.yy, sums.my, sums.mm, max(0.0, float(n - numbers)))
    return Shape(kind, sums, aicc, at, slope, times)


def _about_line(
    t: Sequence[float], y: Sequence[float], m: Sequence[float], base: Sums
) -> tuple[Sums, float, float] | None:
    """Sums about the line in time, its slope beside moisture, and what time is left
    once moisture is taken out of it. t, y, m: less their means; base: about those."""
    tt, ty, tm = _dot(t, t), _dot(t, y), _dot(t, m)
    if tt <= 0:
        return None
    wet = tm / base.mm if base.mm > 0 else 0.0
    free = tt - wet * tm
    if free <= 1e-9 * tt:
        return None  # time and moisture went together: nothing tells them apart
    sums = Sums(
        max(0.0, base.yy - ty * ty / tt),
        base.my - ty * tm / tt,
        max(0.0, base.mm - tm * tm / tt),
    )
    return sums, (ty - wet * base.my) / free, free


def _about_step(
    y: Sequence[float], m: Sequence[float], base: Sums
) -> tuple[Sums, int] | None:
    """The two levels that leave least, and where the second begins; arguments as in
    `_about_line`."""
    n = len(y)
    least, best, sums = math.inf, 0, base
    sy = sm = 0.0
    for k in range(1, n):
        sy += y[k - 1]
        sm += m[k - 1]
        # what a level each takes off: the second's sums are the first's, turned
        share = 1.0 / k + 1.0 / (n - k)
        yy, my = base.yy - sy * sy * share, base.my - sy * sm * share
        mm = base.mm - sm * sm * share
        left = yy - (my**2 / mm if mm > 0 else 0.0)
        if left < least:
            least, best = left, k
            sums = Sums(max(0.0, yy), my, max(0.0, mm))
    return (sums, best) if best else None


def result_variance(
    own: Scatter, set_up: Scatter, budget: float
) -> tuple[float, float]:
    """Variance of one whole result, and its degrees of freedom.

    own: of the results. set_up: of the square's error. budget: standard uncertainty of
    what varies, as the budget has it.
    """
    share = min(1.0, MOST_OF_SET_UP / set_up.freedom) if set_up.freedom > 0 else 0.0
    known = own + Scatter(
        FROM_DAY_TO_DAY * share * set_up.squares, share * set_up.freedom
    )
    more = own.variance > set_up.variance > 0
    if more and _score_of_ratio(own, set_up) > MORE_THAN_SET_UP:
        known = own
    weight = WEIGHT_OF_BUDGET if budget > 0 else 0.0
    known += Scatter(FROM_DAY_TO_DAY * weight * budget**2, weight)
    return known.variance, known.freedom


def _score_of_ratio(top: Scatter, bottom: Scatter) -> float:
    """Of the ratio of two variances, as a normal score: Paulson (1942), Annals of
    Mathematical Statistics 13(2), 233-235. It is asked at every result, so it must be
    quick, and need not be exact."""
    root = math.cbrt(top.variance / bottom.variance)
    above, below = 2 / (9 * top.freedom), 2 / (9 * bottom.freedom)
    spread = math.sqrt(below * root**2 + above)
    return ((1 - below) * root - (1 - above)) / spread


def about_line(results: Sequence[tuple[float, float, float]]) -> Scatter:
    """Scatter of results (day, value, weight) about a straight line: a slow trend is
    not taken for scatter. Weighted by the inverse of their variance."""
    n = len(results)
    if n < 2:
        return Scatter()
    day, first, _ = results[0]
    rows = [(d - day, v - first, w) for d, v, w in results]
    whole = sum(w for _, _, w in rows)
    t_sum, y_sum = sum(w * t for t, _, w in rows), sum(w * y for _, y, w in rows)
    squares = sum(w * t * t for t, _, w in rows)
    yy = max(0.0, sum(w * y * y for _, y, w in rows) - y_sum**2 / whole)
    tt = squares - t_sum**2 / whole
    if tt <= 1e-9 * squares or tt <= 0:
        return Scatter(yy, n - 1.0)  # all on one day
    ty = sum(w * t * y for t, y, w in rows) - t_sum * y_sum / whole
    return Scatter(max(0.0, yy - ty**2 / tt), n - 2.0)

"""What a baseline period looks like: level, one step or a straight line, told apart by
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
FEWEST_FOR_TREND = 5
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


class Shape(msgspec.Struct, frozen=True):
    """at: number of the first observation behind the step. slope: a day, and its sum of
    squares of time, of the line."""

    kind: Kind
    sums: Sums
    aicc: float
    at: int = 0
    slope: float = 0.0
    times: float = 0.0


def best_shape(
    t: Sequence[float], y: Sequence[float], m: Sequence[float] | None = None
) -> Shape:
    """Of the three shapes the one with the lowest AICc. m: moisture content of each,
    None where it plays no part."""
    return min(shapes(t, y, m).values(), key=lambda shape: shape.aicc)


def shapes(
    t: Sequence[float], y: Sequence[float], m: Sequence[float] | None = None
) -> dict[Kind, Shape]:
    """The shapes that so many observations can carry; `level` always. At least one."""
    n, wet = len(y), m is not None
    moisture = m if m is not None else [0.0] * n
    levels = _about_mean(y, moisture)
    found: dict[Kind, Shape] = {"level": _made("level", n, levels, 1, wet)}
    if n < FEWEST_FOR_TREND:
        return found
    line = _about_line(t, y, moisture)
    if line is not None:
        sums, slope, times = line
        found["trend"] = _made("trend", n, sums, 2, wet, slope=slope, times=times)
    parted = _about_step(y, moisture)
    if parted is not None:
        sums, at = parted
        # the place of the step is one number more
        found["step"] = _made("step", n, sums, 3, wet, at=at)
    return found


def _made(
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


def _about_mean(y: Sequence[float], m: Sequence[float]) -> Sums:
    n = len(y)
    y0, m0 = math.fsum(y) / n, math.fsum(m) / n
    return Sums(
        math.fsum((v - y0) ** 2 for v in y),
        math.fsum((v - y0) * (w - m0) for v, w in zip(y, m, strict=True)),
        math.fsum((w - m0) ** 2 for w in m),
    )


def _about_line(
    t: Sequence[float], y: Sequence[float], m: Sequence[float]
) -> tuple[Sums, float, float] | None:
    """Sums about the line in time, its slope beside moisture, and what time is left
    once moisture is taken out of it."""
    n = len(y)
    t0 = math.fsum(t) / n
    tt = math.fsum((d - t0) ** 2 for d in t)
    if tt <= 0:
        return None
    base = _about_mean(y, m)
    ty = math.fsum((d - t0) * v for d, v in zip(t, y, strict=True))
    tm = math.fsum((d - t0) * w for d, w in zip(t, m, strict=True))
    sums = Sums(
        max(0.0, base.yy - ty * ty / tt),
        base.my - ty * tm / tt,
        max(0.0, base.mm - tm * tm / tt),
    )
    free = tt - (tm * tm / base.mm if base.mm > 0 else 0.0)
    if free <= 1e-9 * tt:
        return None  # time and moisture went together: nothing tells them apart
    slope = (ty - (tm * base.my / base.mm if base.mm > 0 else 0.0)) / free
    return sums, slope, free


def _about_step(y: Sequence[float], m: Sequence[float]) -> tuple[Sums, int] | None:
    """The two levels that leave least, and where the second begins."""
    n = len(y)
    y0, m0 = math.fsum(y) / n, math.fsum(m) / n  # taken off for the digits' sake
    base = _about_mean(y, m)
    least, best = math.inf, 0
    taken = (0.0, 0.0, 0.0)
    sy = sm = 0.0
    for k in range(1, n):
        sy += y[k - 1] - y0
        sm += m[k - 1] - m0
        # what a level each takes off: the sums of the second are those of the first,
        # turned
        share = 1.0 / k + 1.0 / (n - k)
        yy, my, mm = sy * sy * share, sy * sm * share, sm * sm * share
        left = base.yy - yy
        if base.mm - mm > 0:
            left -= (base.my - my) ** 2 / (base.mm - mm)
        if left < least:
            least, best, taken = left, k, (yy, my, mm)
    if best == 0:
        return None
    yy, my, mm = taken
    return Sums(max(0.0, base.yy - yy), base.my - my, max(0.0, base.mm - mm)), best


class Scatter(msgspec.Struct, frozen=True):
    """squares: sum of squared residuals. freedom: its degrees of freedom."""

    squares: float = 0.0
    freedom: float = 0.0

    def __add__(self, other: Scatter) -> Scatter:
        return Scatter(self.squares + other.squares, self.freedom + other.freedom)

    @property
    def variance(self) -> float:
        return self.squares / self.freedom if self.freedom > 0 else 0.0


NOTHING = Scatter()


def variance(own: Scatter, set_up: Scatter, budget: float) -> tuple[float, float]:
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


class Residuals:
    """Scatter of results about a straight line, as they come one after the other: a
    slow trend is not taken for scatter. Weighted by the inverse of their variance."""

    def __init__(self) -> None:
        self.n = 0
        self._origin = (0.0, 0.0)
        self._w = self._t = self._y = self._tt = self._ty = self._yy = 0.0

    def add(self, t: float, y: float, weight: float) -> None:
        if self.n == 0:
            self._origin = (t, y)
        t, y = t - self._origin[0], y - self._origin[1]
        self.n += 1
        self._w += weight
        self._t += weight * t
        self._y += weight * y
        self._tt += weight * t * t
        self._ty += weight * t * y
        self._yy += weight * y * y

    def scatter(self) -> Scatter:
        if self.n < 2:
            return Scatter()
        yy = max(0.0, self._yy - self._y**2 / self._w)
        tt = self._tt - self._t**2 / self._w
        if tt <= 1e-9 * self._tt or tt <= 0:
            return Scatter(yy, self.n - 1.0)  # all on one day
        line = yy - (self._ty - self._t * self._y / self._w) ** 2 / tt
        return Scatter(max(0.0, line), self.n - 2.0)

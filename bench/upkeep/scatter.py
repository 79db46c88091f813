"""How far results differ from one another when nothing has changed, from all that is
known of it: the results themselves, the square's error, the budget.

The square's own error e is measured with the fence and not moved by it: a whole check
has a = (b1 + b2) / 2 and e = (b2 - b1) / 2, so that whatever differs from set-up to
set-up scatters both alike. Pooling: GUM 4.2.4.
"""

from __future__ import annotations

import math

import msgspec

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

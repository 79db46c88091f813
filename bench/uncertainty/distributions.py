"""Student's t and Fisher's F from the incomplete beta function, without SciPy (it
triples the start-up)."""

from __future__ import annotations

import math
from functools import lru_cache
from statistics import NormalDist

_TINY = 1e-300  # in place of 0 in the continued fraction
_LARGE_DOF = 1e7  # beyond it t and the normal quantile agree to nine digits


def incomplete_beta(a: float, b: float, x: float) -> float:
    """Regularised incomplete beta function I_x(a, b), a and b positive, 0 <= x <= 1.

    Lentz's continued fraction (NIST Digital Library of Mathematical Functions,
    8.17.22).
    """
    if x in (0.0, 1.0):
        return x
    front = math.exp(
        math.lgamma(a + b)
        - math.lgamma(a)
        - math.lgamma(b)
        + a * math.log(x)
        + b * math.log1p(-x)
    )
    if x < (a + 1) / (a + b + 2):
        return front * _fraction(a, b, x) / a
    return 1.0 - front * _fraction(b, a, 1.0 - x) / b


def _fraction(a: float, b: float, x: float) -> float:
    c = 1.0
    d = 1.0 / max(1.0 - (a + b) * x / (a + 1), _TINY)
    h = d
    for m in range(1, 10_000):
        for top in (
            m * (b - m) * x / ((a + 2 * m - 1) * (a + 2 * m)),
            -(a + m) * (a + b + m) * x / ((a + 2 * m) * (a + 2 * m + 1)),
        ):
            d = 1.0 + top * d
            d = 1.0 / (d if abs(d) > _TINY else _TINY)
            c = 1.0 + top / c
            c = c if abs(c) > _TINY else _TINY
            h *= d * c
        if abs(d * c - 1.0) < 1e-15:
            break
    return h


def t_two_sided(t: float, dof: float) -> float:
    """Probability that |T| <= t for Student's T with `dof` degrees of freedom (not
    necessarily whole)."""
    square = t * t
    if square <= dof:  # near the middle the other tail keeps the digits
        return incomplete_beta(0.5, dof / 2, square / (dof + square))
    return 1.0 - incomplete_beta(dof / 2, 0.5, dof / (dof + square))


@lru_cache(maxsize=4096)
def t_quantile(p: float, dof: float | None) -> float:
    """Coverage factor k with P(|T| <= k) = p, two-sided; dof None is infinite, any
    positive number will do.

    GUM, G.3 and Table G.2. Raises ValueError for p outside (0, 1) or dof not positive.
    """
    if not 0 < p < 1:
        raise ValueError(f"confidence must lie between 0 and 1, not {p}")
    normal = NormalDist().inv_cdf(0.5 + p / 2)
    if dof is None or dof > _LARGE_DOF:
        return normal
    if not dof > 0:
        raise ValueError(f"degrees of freedom must be positive, not {dof}")
    low, high = 0.0, 2 * normal
    while t_two_sided(high, dof) < p and high < 1e150:
        low, high = high, 4 * high
    front = math.exp(math.lgamma((dof + 1) / 2) - math.lgamma(dof / 2)) / math.sqrt(
        dof * math.pi
    )
    t = min(max(normal * (1 + (normal * normal + 1) / (4 * dof)), low), high)
    for _ in range(200):  # Newton's method, kept between bounds that close in
        missing = p - t_two_sided(t, dof)
        low, high = (t, high) if missing > 0 else (low, t)
        density = 2 * front * math.exp(-(dof + 1) / 2 * math.log1p(t * t / dof))
        better = t + missing / density if density > 0 else high
        if not low <= better <= high:
            better = 0.5 * (low + high)
        if abs(better - t) <= 1e-13 * t or high - low <= 1e-14 * high:
            return better
        t = better
    return t


def f_upper_tail(ratio: float, dof_top: float, dof_bottom: float) -> float:
    """P(F > ratio) for a ratio of two variances with their degrees of freedom."""
    if ratio <= 0:
        return 1.0
    if math.isinf(ratio):
        return 0.0
    return incomplete_beta(
        dof_bottom / 2, dof_top / 2, dof_bottom / (dof_bottom + dof_top * ratio)
    )


def f_two_sided(ratio: float, dof_top: float, dof_bottom: float) -> float:
    """The probability that two samples of equal scatter differ at least so much, to
    either side."""
    upper = f_upper_tail(ratio, dof_top, dof_bottom)
    return min(1.0, 2 * min(upper, 1 - upper))

"""Columns of numbers as every geometry takes them, and what noise in them does to an
answer.

Positions and heights in mm. JCGM 100:2008, 5.1 and 5.2; JCGM 101:2008.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from bench.finding import EvidenceError

Array = npt.NDArray[np.float64]
Member = npt.NDArray[np.intp]
Column = npt.ArrayLike  # anything numpy reads as one column of numbers

# of a profile, to see what noise does: its standard deviation is then known to 5 %
COPIES = 200


class GeometryError(EvidenceError):
    """The numbers given cannot carry the answer; the message says which and what
    to do."""


def distinct(values: npt.NDArray[Any]) -> tuple[npt.NDArray[Any], Member]:
    """The different values in their order (k,), and for each value which of them it
    is (n,). `np.unique` with its inverse sorts by the quick argsort, which crashed on
    an emulated processor."""
    unique = np.unique(values)
    return unique, np.searchsorted(unique, values)


def column(name: str, values: Column, at_least: int = 1) -> Array:
    """One finite column of floats, shape (n,). Raises GeometryError naming what is
    wrong and where."""
    array = np.asarray(values, dtype=np.float64)
    if array.ndim != 1:
        raise GeometryError(
            f"{name}: expected one column of numbers, got shape {array.shape}"
        )
    if array.size < at_least:
        raise GeometryError(
            f"{name}: {array.size} values, at least {at_least} are needed"
        )
    bad = np.flatnonzero(~np.isfinite(array))
    if bad.size:
        raise GeometryError(f"{name}: value {int(bad[0]) + 1} is not a finite number")
    return array


def paired(x: Column, y: Column, at_least: int = 2) -> tuple[Array, Array]:
    """Two columns of one length over at least two different positions. Raises
    GeometryError otherwise."""
    xs, ys = column("positions", x, at_least), column("heights", y, at_least=0)
    if xs.size != ys.size:
        raise GeometryError(
            f"{xs.size} positions but {ys.size} heights: give one height for each"
            " position"
        )
    if at_least > 1 and not np.ptp(xs) > 0.0:
        raise GeometryError(
            "all positions are the same: a line needs at least two different ones"
        )
    return xs, ys


@dataclass(frozen=True, eq=False)
class Line:
    """A plain least-squares line. off: (n,) positions less their mean; spread: their
    sum of squares; left: (n,) heights less the line."""

    slope: float
    off: Array
    spread: float
    left: Array


def line_of(x: Array, y: Array) -> Line:
    """x, y: (n,), x not all alike."""
    off, heights = x - x.mean(), y - y.mean()
    spread = float(off @ off)
    slope = float(off @ heights) / spread
    return Line(slope, off, spread, heights - slope * off)


def legendre(x: Array, degree: int) -> Array:
    """(n, degree + 1): Legendre polynomials over the stretch from the first place to
    the last."""
    u = (2 * x - x[0] - x[-1]) / (x[-1] - x[0])
    return np.polynomial.legendre.legvander(u, degree)


def standard_uncertainty(sensitivity: Column, noise: Column) -> float:
    """Standard uncertainty of a number that is linear in a profile.

    sensitivity: (n,) change of the number per mm of each height. noise: standard
    uncertainty of the heights as one number (independent, all alike) or (n,)
    (independent), or their covariance (n, n) in mm^2. Source: JCGM 100:2008, equations
    (10) and (13).
    """
    c = column("sensitivity", sensitivity)
    u = np.asarray(noise, dtype=np.float64)
    if u.ndim == 2:
        return float(np.sqrt(max(float(c @ u @ c), 0.0)))
    return float(np.sqrt(np.sum((c * u) ** 2)))


def noisy_copies(y: Column, noise: Column, count: int = COPIES) -> Array:
    """(count, n): heights y with noise added, the same noise for every call of one size
    (a fixed seed).

    noise: as in `standard_uncertainty`. For numbers that are not linear enough in the
    heights, such as the edges of a hull: propagation of distributions by a Monte Carlo
    method, JCGM 101:2008.
    """
    heights = column("heights", y)
    u = np.asarray(noise, dtype=np.float64)
    standard = np.random.default_rng(20080101).standard_normal((count, heights.size))
    if u.ndim == 2:
        sizes, directions = np.linalg.eigh(u)
        return np.asarray(
            heights + (standard * np.sqrt(np.clip(sizes, 0.0, None))) @ directions.T
        )
    return np.asarray(heights + standard * u)


def least_of_convex(
    function: Callable[[Array], Array], low: Array, high: Array
) -> Array:
    """(m,) places where m convex functions, worked out at once, are least between low
    and high, each (m,)."""
    for _ in range(45):  # 0.6^45 = 1e-10 of the range
        left, right = high - 0.6 * (high - low), low + 0.6 * (high - low)
        falls = function(left) >= function(right)
        low, high = np.where(falls, left, low), np.where(falls, high, right)
    return (low + high) / 2.0

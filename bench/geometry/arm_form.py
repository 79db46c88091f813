"""What the passes over a square's arm show beside its slope: how they bend, and how far
the stand was shifted along the arm between the set-ups.

Travel and reading in mm. Readings that were set aside as dirt are left out by the
caller.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bench.geometry.cells import Array, into_cells

GRID = 1.0  # mm between the places at which two textures are compared
FARTHEST = 80.0  # mm that a stand is looked for to either side
LEAST_SHARED = 0.6  # of the shorter pass must be seen by both
# correlation of two textures from which they are believed to be one: of 1,000 pairs of
# unlike edges over 220 mm, 2 with waves of 8 mm reach it and 15 with waves of 12 mm,
# found by simulation
ALIKE = 0.75
# by which the best correlation must exceed that of any place farther than SAME away
AHEAD = 0.15
WIDEST_GAP = 10.0  # mm without a reading; wider ones hide a texture
SAME = 12.0  # mm: within it a texture still resembles itself


@dataclass(frozen=True, slots=True)
class Bend:
    """Second derivative of one pass's readings by its travel, 1/mm, with the standard
    uncertainty that its own residuals give it."""

    value: float
    standard_uncertainty: float


@dataclass(frozen=True, slots=True)
class Shift:
    """mm by which the second texture lies further along its travel than the first;
    correlation: of the two at that place."""

    distance: float
    correlation: float


def bend_of(travel: npt.ArrayLike, reading: npt.ArrayLike) -> Bend | None:
    """The parabola through one pass by least squares over equal cells of travel.

    travel, reading: (N,) mm. None with fewer than five places.
    """
    s, r = _columns(travel, reading)
    if np.unique(s).size < 5:
        return None
    cells = into_cells(s, r, np.ones(s.size, dtype=bool))
    middle = (cells.travel[0] + cells.travel[-1]) / 2
    half = (cells.travel[-1] - cells.travel[0]) / 2
    u = (cells.travel - middle) / half
    basis = np.polynomial.legendre.legvander(u, 2)
    inverse = np.linalg.inv(basis.T @ basis)
    coefficients = inverse @ (basis.T @ cells.reading)
    left = cells.reading - basis @ coefficients
    variance = float(left @ left) / max(left.size - 3, 1) * float(inverse[2, 2])
    # the second Legendre polynomial, (3 u^2 - 1) / 2, has the second derivative 3
    scale = 3 / half**2
    return Bend(float(coefficients[2]) * scale, float(np.sqrt(variance)) * scale)


def bend_of_speed(travel: npt.ArrayLike, at: npt.ArrayLike) -> float:
    """Second derivative of a pass's speed by its travel, 1/(mm s).

    A reading that is tau s late on a surface of rotation b is off by b tau times the
    speed, so that it bends by b tau times this. travel: (N,) mm; at: (N,) s. 0.0 where
    no speed is seen.
    """
    s, t = np.asarray(travel, dtype=np.float64), np.asarray(at, dtype=np.float64)
    reach = max(1, s.size // 30)
    if s.size < 3 * reach:
        return 0.0
    took = t[2 * reach :] - t[: -2 * reach]
    way = s[2 * reach :] - s[: -2 * reach]
    seen = took > 0
    bend = bend_of(s[reach:-reach][seen], way[seen] / took[seen])
    return 0.0 if bend is None else bend.value


def texture_shift(
    first: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]],
    second: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]],
) -> Shift | None:
    """How far the texture of the second set-up's passes is shifted along the travel
    against that of the first.

    Each pass is (travel, reading), mm. The mean residuals from a parabola are compared
    at every shift up to FARTHEST (normalised cross-correlation; Lewis (1995), Vision
    Interface, 120-123). None where no place stands out: a smooth arm, coarse counts,
    another edge.
    """
    ours, theirs = _texture(first), _texture(second)
    if ours is None or theirs is None:
        return None
    (begin, one), (start, two) = ours, theirs
    least = LEAST_SHARED * min(one.size, two.size)
    found = []
    reach = int(FARTHEST / GRID)
    offset = round((start - begin) / GRID)
    for lag in range(-reach, reach + 1):
        # place k of the first is compared with place k + lag of the second
        low, high = max(0, offset - lag), min(one.size, two.size + offset - lag)
        if high - low < least:
            continue
        a = one[low:high]
        b = two[low + lag - offset : high + lag - offset]
        found.append((_correlation(a, b), lag))
    if not found:
        return None
    best, at = max(found)
    others = [value for value, lag in found if abs(lag - at) * GRID > SAME]
    if best < ALIKE or (others and best - max(others) < AHEAD):
        return None
    by_lag = {lag: value for value, lag in found}
    top = 0.0
    if at - 1 in by_lag and at + 1 in by_lag:
        before, after = by_lag[at - 1], by_lag[at + 1]
        if (bent := before - 2 * best + after) < 0:
            top = float((before - after) / (2 * bent))
    grids = start - begin - offset * GRID
    return Shift((at + top) * GRID + grids, best)


def _texture(
    passes: Sequence[tuple[npt.ArrayLike, npt.ArrayLike]],
) -> tuple[float, Array] | None:
    """Where the stretch that all passes share begins, and the mean residual at each
    place of a grid from there."""
    columns = [_columns(s, r) for s, r in passes]
    if not columns or any(s.size < 40 for s, _ in columns):
        return None
    low, high = max(s.min() for s, _ in columns), min(s.max() for s, _ in columns)
    if high - low < 20 * GRID:
        return None
    edges = np.arange(low, high, GRID)
    lines = []
    for s, r in columns:
        places, index = np.unique(s, return_inverse=True)
        level = np.bincount(index, r) / np.bincount(index)
        if np.diff(places).max() > WIDEST_GAP:
            return None
        lines.append(np.interp(edges, places, level))
    mean = np.median(lines, axis=0)  # a grain that lay there once does not count
    u = np.linspace(-1, 1, edges.size)
    return float(low), mean - np.polyval(np.polyfit(u, mean, 2), u)


def _correlation(a: Array, b: Array) -> float:
    a, b = a - a.mean(), b - b.mean()
    size = float(np.sqrt((a @ a) * (b @ b)))
    return float(a @ b) / size if size > 0 else 0.0


def _columns(travel: npt.ArrayLike, reading: npt.ArrayLike) -> tuple[Array, Array]:
    s = np.asarray(travel, dtype=np.float64)
    r = np.asarray(reading, dtype=np.float64)
    if s.shape != r.shape or s.ndim != 1:
        raise ValueError(
            "travel and reading must be lists of one length, not"
            f" {s.shape} and {r.shape}"
        )
    order = np.argsort(s, kind="stable")
    return s[order], r[order]

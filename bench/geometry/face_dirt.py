"""Which readings along a face are dirt: dust, a missed digit, the kerf in a fence, a
plunger off the end.

A face may be bowed or waved, so what belongs to it is what its neighbours agree with:
first a smooth curve over the whole length that long runs cannot draw, then lines over a
short stretch. Positions and readings in mm.
"""

from __future__ import annotations

import numpy as np

from bench.geometry.cells import Array, Mask, at_stations
from bench.geometry.columns import legendre
from bench.geometry.reversal import CELLS_PER_WINDOW, WINDOW, smooth

FACE_LIMIT = 6.0  # standard deviations: a rough face is no dirt
# mm off the smooth curve: no fence turns so within the stretch that is averaged
GROSS = 0.15
NO_FENCE = 1.0  # mm off it: no fence at all, however much of the pass shows it
LEAST_DIRT = 0.004  # mm: finer than what a wiped face still shows
DIRT_COUNTS = 2.5  # counts off the smooth curve that dirt stands at least
CLEANING_ROUNDS = 8  # of flagging and smoothing anew, at most


def dirt_on_face(x: Array, r: Array, count: float) -> Mask:
    """(n,) True where a reading is set aside. x, r: (n,) in any order; stations too few
    to judge keep all."""
    none = np.zeros(x.size, dtype=bool)
    reach = float(np.ptp(x))
    if x.size < 40 or at_stations(x) or reach < 2 * WINDOW:
        return none
    cells = max(20, round(reach * CELLS_PER_WINDOW / WINDOW))
    member = np.minimum(((x - x.min()) * (cells / reach)).astype(np.intp), cells - 1)
    order = np.lexsort((r, member))
    used, first, held = np.unique(member[order], return_index=True, return_counts=True)
    # a median of each cell: one missed digit is gone already
    middles = r[order][first + held // 2]
    places = np.bincount(member, x)[used] / held
    off = np.abs(middles - _smooth_curve(places, middles))
    good = off < min(_limit(off, GROSS), NO_FENCE)
    for _ in range(CLEANING_ROUNDS):
        if good.sum() < 0.5 * good.size:
            return ~none
        left = middles - smooth(
            places[good], middles[good], np.clip(places, *_ends(places[good]))
        )
        limit = _limit(left[good], max(LEAST_DIRT, DIRT_COUNTS * count))
        off = np.where(good, np.abs(left), 0.0)
        if off.max() <= limit:
            break
        # the worst first: they draw the rest along
        good &= off <= max(limit, 0.5 * float(off.max()))
    if good.sum() < 0.5 * good.size:
        return ~none
    at = np.clip(x, *_ends(places[good]))
    left = r - np.interp(
        at,
        places,
        smooth(places[good], middles[good], np.clip(places, *_ends(at))),
    )
    aside: Mask = np.abs(left) > _limit(left, max(LEAST_DIRT, DIRT_COUNTS * count))
    # a reading beyond the last cell that belongs to the face hangs on nothing
    low, high = _ends(places[good])
    slack = 1.5 * reach / cells
    return aside | (x < low - slack) | (x > high + slack)


def _ends(places: Array) -> tuple[float, float]:
    return float(places.min()), float(places.max())


def _limit(left: Array, least: float) -> float:
    return max(
        FACE_LIMIT * 1.4826 * float(np.median(np.abs(left - np.median(left)))), least
    )


def _smooth_curve(x: Array, r: Array) -> Array:
    """A cubic that half the face can hold against the other half's dirt: least absolute
    deviations, by repeated weighting (Schlossmacher, 1973, JASA 68, 857-859).
    """
    basis = legendre(x, 3)
    curve = np.full_like(r, float(np.median(r)))
    for _ in range(30):
        weight = 1.0 / np.maximum(np.abs(r - curve), 1e-4)
        normal = basis.T @ (basis * weight[:, None])
        curve = basis @ np.linalg.solve(normal, basis.T @ (weight * r))
    return np.asarray(curve)

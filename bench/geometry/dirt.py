"""Which readings of a sweep are dirt: dust, a gullet, a missed digit, a plunger off the
end; and a sweep that is two lines: bumped stand, pressed zero, slipped square.

Small steps are judged with the noise (`correlated_noise`); here are those so large that
the robust line left one side of them out. Readings in mm, sorted by travel.
"""

from __future__ import annotations

from math import comb

import numpy as np
import numpy.typing as npt

from bench.geometry.columns import legendre, line_of
from bench.geometry.robust import (
    MAD,
    Array,
    least_quantile,
    least_quantile_bow,
    redescend,
    scale_of,
)
from bench.uncertainty.distributions import t_quantile

Mask = npt.NDArray[np.bool_]

DIRT_LIMIT = 4.0  # standard deviations of a mean of that many readings
REFIT_ROUNDS = 4  # of flagging and fitting anew, at most
LOWEST = 1.25  # run that can be dirt, in standard deviations of single readings
# of a count: scatter of readings whose noise is a third of a count
COUNT_SCATTER = 0.45
CURVED_FROM = 0.03  # set aside by a straight line: a bowed edge is then tried
_STATION_ODDS = 0.002  # that a clean set of stations loses one
SHORTER_SIDE = 0.2  # of the readings; less at an end is a plunger that ran off the edge
NOISIER = 4.0  # how much noisier than the first the second line may be


def dirt_in_sweep(s: Array, r: Array, count: float) -> tuple[Mask, Array]:
    """(aside, residuals) of a continuous sweep, s rising, 17 readings or more.

    Dirt comes in runs: the means of 1, 2, 4 ... neighbouring readings are each compared
    with their own usual size, so that a low run is seen and a textured edge, whose
    means are large everywhere, is left alone. A mean within three quarters of a count,
    a single reading within one and a half, is never dirt. Residuals are those from the
    line; a bowed edge is believed where it leaves less than half as much aside.
    """
    intercept, slope = least_quantile(s, r)
    design = legendre(s, 1)
    level, _ = redescend(
        design,
        r,
        intercept + slope * s,
        rounds=3,
        floor=max(COUNT_SCATTER * count, 1e-9),
    )
    aside, left = _settled(s, r, r - design @ level, count, 1)
    if aside.mean() > CURVED_FROM:
        bowed, _ = _settled(s, r, r - least_quantile_bow(s, r), count, 2)
        plain, rest = _settled(s, r, None, count, 2)
        usual = scale_of(r - _curve(s, r, ~bowed, 2))
        if plain.sum() < bowed.sum() and scale_of(rest) < 1.3 * usual:
            bowed = plain
        if bowed.sum() < 0.5 * aside.sum():
            return bowed, left
    return aside, left


def _settled(
    s: Array, r: Array, left: Array | None, count: float, degree: int
) -> tuple[Mask, Array]:
    """Flag and refit in turns, from the residuals of a start, or without one from plain
    least squares."""
    aside = np.zeros(s.size, dtype=bool)
    if left is None:
        left = r - _curve(s, r, ~aside, degree)
    lengths = [1]
    while lengths[-1] * 2 <= s.size // 15:
        lengths.append(lengths[-1] * (2 if lengths[-1] < 4 else 3))
    for turn in range(REFIT_ROUNDS):
        now = _runs(left, aside, lengths, count, turn == 0)
        same = bool((now == aside).all())
        aside = now
        if aside.sum() > s.size - 8 or (same and turn > 0):
            break
        left = r - _curve(s, r, ~aside, degree)
    return aside, left


def _curve(s: Array, r: Array, good: Mask, degree: int) -> Array:
    basis = legendre(s, degree)
    kept = basis[good]
    curve: Array = basis @ np.linalg.solve(kept.T @ kept, kept.T @ r[good])
    return curve


def _runs(
    left: Array, before: Mask, lengths: list[int], count: float, first: bool
) -> Mask:
    aside = np.zeros(left.size, dtype=bool)
    size1 = 0.0
    for length in lengths:
        rows = np.flatnonzero(~aside)
        if rows.size < 2 * length:
            break
        sums = np.concatenate([[0.0], np.cumsum(left[rows])])
        means = (sums[length:] - sums[:-length]) / length
        judged_by = means
        if not first:
            clean = np.concatenate([[0], np.cumsum(before[rows])])
            use = (clean[length:] - clean[:-length]) == 0
            if use.sum() > 4 * length:
                judged_by = means[use]
        size = scale_of(judged_by[:: max(1, length // 4)])
        if length == 1:
            # counted readings scatter in lumps, which the median misses: at least what
            # counting alone does
            size = size1 = max(size, COUNT_SCATTER * count)
        # no mean of related readings is sharper than independent ones would be, and
        # what is lower than the scatter of single readings is form or texture
        size = max(size, size1 / np.sqrt(length))
        limit = max(
            DIRT_LIMIT * size, LOWEST * size1, (1.5 if length == 1 else 0.75) * count
        )
        for side in (1.0, -1.0):
            over = side * means > limit
            if over.any():
                starts = np.concatenate([[0], np.cumsum(over)])
                last = np.minimum(np.arange(rows.size), over.size - 1)
                first_start = np.maximum(np.arange(rows.size) - length + 1, 0)
                covered = (
                    starts[last + 1] - starts[np.minimum(first_start, over.size)] > 0
                )
                aside[rows[covered & (side * left[rows] > 0.5 * limit)]] = True
    return aside


def dirt_at_stations(s: Array, r: Array, count: float) -> Mask:
    """Marks that do not belong to the others' line: up to a third, each far outside
    what the rest predicts.

    The farthest from the high-breakdown line are tried as a set, largest set first; a
    set is dirt where every member misses the line through the rest by more than
    Student's t allows, the number of sets considered.
    """
    n = s.size
    none = np.zeros(n, dtype=bool)
    if n < 5:
        return none
    intercept, slope = least_quantile(s, r, quantile=0.6, most=n)
    order = np.argsort(np.abs(r - intercept - slope * s), kind="stable")
    for k in range(n // 3, 0, -1):
        rest, out = np.sort(order[: n - k]), order[n - k :]
        if np.ptp(s[rest]) <= 0 or n - k < 4:
            continue
        line, away = line_of(s[rest], r[rest]), s[out] - s[rest].mean()
        scatter = float(np.sqrt(line.left @ line.left / (n - k - 2)))
        lever = 1 + 1 / (n - k) + away**2 / line.spread
        off = np.abs(r[out] - r[rest].mean() - line.slope * away)
        scale = max(scatter, count / np.sqrt(12)) * np.sqrt(lever)
        # of marks on one line to the last digit any other one is off
        t = np.divide(off, scale, out=np.where(off > 0, np.inf, 0.0), where=scale > 0)
        if t.min() > t_quantile(1 - _STATION_ODDS / comb(n, k), n - k - 2):
            aside = none.copy()
            aside[out] = True
            return aside
    return none


def long_step(
    s: Array, left: Array, aside: npt.NDArray[np.bool_]
) -> tuple[float, float] | None:
    """(place, size) of a step in the residuals `left` from the line through the larger
    side, s rising.

    The readings set aside must be nearly all on one side of the place, make up at least
    a fifth, and lie on a line of their own, as quiet as the rest: a gullet or free air
    is rougher, shorter or comes back.
    """
    n = s.size
    if aside.sum() < SHORTER_SIDE * n:
        return None
    gathered = np.concatenate([[0], np.cumsum(aside)])
    total = int(gathered[-1])
    cuts = np.arange(1, n)
    # readings on the wrong side if everything after (before) the cut were set aside and
    # nothing else
    wrong_after = gathered[cuts] + (n - cuts) - (total - gathered[cuts])
    wrong_before = (cuts - gathered[cuts]) + (total - gathered[cuts])
    after = int(np.argmin(wrong_after))
    before = int(np.argmin(wrong_before))
    if wrong_after[after] <= wrong_before[before]:
        cut, wrong = int(cuts[after]), int(wrong_after[after])
        other = np.arange(cut, n)
    else:
        cut, wrong = int(cuts[before]), int(wrong_before[before])
        other = np.arange(cut)
    if wrong > 0.1 * n or other.size < SHORTER_SIDE * n:
        return None
    clean = left[~aside]
    usual = MAD * float(np.median(np.abs(clean - np.median(clean))))
    far = left[other]
    size = float(np.median(far))
    quiet = MAD * float(np.median(np.abs(far - size)))
    if quiet > NOISIER * max(usual, 1e-4) and quiet > 0.1 * abs(size):
        return None
    return float(s[cut]), size

"""Play of many copies of the same runners and slots, with errors added to their widths,
worked out together.

The same conditions as in bench.geometry.runner_play, for which one copy after another
would keep a small computer busy for seconds. mm and rad.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import msgspec
import numpy as np

from bench.geometry.cells import Array, Mask
from bench.geometry.columns import least_of_convex
from bench.geometry.reversal import interpolation_matrix
from bench.geometry.runner_play import Widths, middle_of, places_under

SAME = 1e-6  # mm along the slot: nearer than that is one place
HALVINGS = 48  # of the range in which a limit is sought: to 2^-48 of it


class Copies(msgspec.Struct, frozen=True):
    """Errors of each copy, mm. runners, slots: (k, stations) each, added to the widths.
    common: (k,), to every slot width. offset: (k,), to how far a second slot stands
    right of where it was measured."""

    runners: Sequence[Array]
    slots: Sequence[Array]
    common: Array
    offset: Array


def plays(
    runners: Sequence[Widths],
    slots: Sequence[Widths],
    positions: Sequence[float],
    copies: Copies,
) -> tuple[Array, Array, Array]:
    """relief, yaw_play, side_play: (positions, k) each, for station 0 of the runners at
    each place in the slots.

    relief is negative by what is to spare where they fit, and the plays are 0 where
    they bind; a play that nothing bounds is infinite.
    """
    middle = middle_of(runners)
    walls = [_walls(runners, slots, at, copies) for at in positions]
    place, lower, upper = _filled(walls, middle, copies.common.size)
    reach = np.array([[np.ptp(u)] for u, _, _ in walls])
    single = reach[:, 0] <= SAME
    reach[single] = 1.0

    def top(m: Array) -> Array:
        return np.asarray(np.min(upper - m[..., None] * place, axis=-1))

    def bottom(m: Array) -> Array:
        return np.asarray(np.max(lower - m[..., None] * place, axis=-1))

    # beyond this slope the outermost walls leave less room than a level line has
    steep = (_spread(upper) + _spread(lower)) / reach
    steep[single] = 0.0
    easiest = least_of_convex(lambda m: bottom(m) - top(m), -steep, steep)
    relief = bottom(easiest) - top(easiest)
    fits = relief <= 0.0
    farthest = 2.0 * steep + np.maximum(-relief, 0.0) / reach
    low, high = (
        _last_that_passes(
            lambda m: bottom(m) <= top(m), easiest, easiest + sign * farthest
        )
        for sign in (-1.0, 1.0)
    )
    highest = top(least_of_convex(lambda m: -top(m), low, high))
    lowest = bottom(least_of_convex(bottom, low, high))
    yaw = np.where(fits, high - low, 0.0)
    side = np.where(fits, highest - lowest, 0.0)
    beside = single & np.array([abs(float(u[0]) - middle) > SAME for u, _, _ in walls])
    yaw[single] = np.where(fits[single], np.inf, 0.0)
    side[beside] = np.where(fits[beside], np.inf, 0.0)
    return relief, yaw, side


def _filled(
    walls: Sequence[tuple[Array, Array, Array]], middle: float, copies: int
) -> tuple[Array, Array, Array]:
    """The walls of all positions side by side; places that a position does not have are
    filled with walls that are nowhere."""
    shape = (len(walls), copies, max(u.size for u, _, _ in walls))
    place = np.zeros((shape[0], 1, shape[2]))
    lower, upper = np.full(shape, -np.inf), np.full(shape, np.inf)
    for row, (u, low, high) in enumerate(walls):
        place[row, 0, : u.size] = u - middle
        lower[row, :, : u.size], upper[row, :, : u.size] = low, high
    return place, lower, upper


def _last_that_passes(
    passes: Callable[[Array], Mask], inner: Array, outer: Array
) -> Array:
    """The slope farthest from `inner` toward `outer` that still passes, by halves."""
    for _ in range(HALVINGS):
        half = (inner + outer) / 2.0
        good = passes(half)
        inner, outer = np.where(good, half, inner), np.where(good, outer, half)
    return inner


def _spread(values: Array) -> Array:
    """Largest less smallest over the places that there are, (positions, k)."""
    there = np.isfinite(values)
    most = np.where(there, values, -np.inf).max(axis=-1)
    return np.asarray(most - np.where(there, values, np.inf).min(axis=-1))


def _walls(
    runners: Sequence[Widths], slots: Sequence[Widths], at: float, copies: Copies
) -> tuple[Array, Array, Array]:
    """u: (n,) places on the runners' scale. lower, upper: (k, n), between which their
    middle line must pass."""
    places, lower, upper = [], [], []
    for number, (runner, slot) in enumerate(zip(runners, slots, strict=True)):
        u = places_under(runner, slot, at)
        if not u.size:
            continue
        thick = (
            np.maximum(runner.w + copies.runners[number], SAME)
            @ interpolation_matrix(runner.s, u).T
        )
        wide = slot.w + copies.slots[number] + copies.common[:, None]
        room = (
            np.maximum(wide, SAME) @ interpolation_matrix(slot.s, at + u).T - thick
        ) / 2.0
        centre = np.asarray(slot.centre(at + u) - runner.centre(u))[None, :]
        if number:
            centre = centre + copies.offset[:, None]
        places.append(u)
        lower.append(centre - room)
        upper.append(centre + room)
    return (
        np.concatenate(places),
        np.concatenate(lower, axis=1),
        np.concatenate(upper, axis=1),
    )

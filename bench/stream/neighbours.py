"""Tests of a reading against its neighbours, for streams too slow to fit a curve.

A slow instrument sees the whole beginning or end of a motion between two readings.
A reading that lies beyond both its neighbours, while these go one way or rest, is
wrong: nobody moves a sled to and back so within two readings. One that lies between
them, where a motion comes to rest, may be true whatever a curve says. Pure: values in
mm; slack, mm, is what counts as no difference.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

FAST = 5.0  # times the slack a reading; a motion that slow stops on a curve
ALIKE = 3.0  # times rougher; below this either of two readings may be the wrong one


def is_between(value: float, one: float, other: float, slack: float) -> bool:
    return min(one, other) - slack <= value <= max(one, other) + slack


def _go_one_way(values: Sequence[float], slack: float) -> bool:
    steps = [after - before for before, after in pairwise(values)]
    return min(steps) >= -slack or max(steps) <= slack


def find_spike(
    path: Sequence[float],
    pending: Sequence[float],
    slack: float,
    roughness: Callable[[int], float],
) -> Sequence[int] | None:
    """Indices of pending readings to reject: the first beyond its neighbours, with the
    next one where either may be the wrong one; None where the next reading decides.

    path: the two readings before at least. roughness: of all without that one.
    """
    values = [*path[-2:], *pending]
    for at in range(len(pending) - 1 if len(path) > 1 else 0):
        earlier, before, value, after, *rest = values[at : at + 5]
        around = (earlier, before, after)
        if is_between(value, before, after, slack) or not _go_one_way(around, slack):
            continue
        if max(around) - min(around) <= slack:
            return (at,)
        if not rest:
            return None
        if _go_one_way((*around, *rest), slack):
            if is_between(after, value, rest[0], slack):
                return (at,)
            this, other = roughness(at), roughness(at + 1)
            if this > ALIKE * other:
                return (at + 1,)
            return (at,) if other > ALIKE * this else (at, at + 1)
    return ()


def is_in_reach(path: Sequence[float], value: float, slack: float) -> bool:
    """Whether the value is no further from the path than its readings are apart."""
    reach = max((abs(after - before) for before, after in pairwise(path)), default=0.0)
    return abs(value - path[-1]) <= reach + slack


def is_stop(
    path: Sequence[float], pending: Sequence[float], at: int, slack: float
) -> bool:
    """Whether the pending reading at `at` may be where a motion came to rest."""
    if len(path) < 2:
        return False
    earlier, before, value, *after = [*path, *pending][at + len(path) - 2 :][:5]
    motion = before - earlier
    goes_on = math.copysign(1.0, motion) * (after[-1] - value) > slack
    rests = any(abs(a - b) <= slack for a, b in pairwise(after))
    ends = rests or (abs(value - after[0]) <= slack and not goes_on)
    one_way = _go_one_way((earlier, before, value, after[0]), slack)
    stops = ends and one_way and abs(motion) > FAST * slack
    stands = abs(value - before) <= slack and is_in_reach(path, value, slack)
    return stops or (stands and not goes_on)

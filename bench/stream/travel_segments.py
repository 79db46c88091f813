"""Monotone segments of the travel over one movement, and jumps that no sled makes.

Pure: times in s, travel in mm.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from itertools import pairwise

# mm of reversal that part a forward pass from a return pass without a rest in between
TURN_MM = 5.0
# A jump is a step that no sled makes: over TRAVEL_JUMP_MM, so many times as long and as
# fast as the steps beside it; chosen, no source
TRAVEL_JUMP_MM = 10.0
JUMP_RATIO = 5.0
SPEED_RATIO = 3.0
# So is a hole of HOLE_S in which the travel goes on by less than this share of its way
HOLE_S = 0.15
HOLE_SHARE = 0.25
TOGETHER = 0.5  # of the usual intervals; readings that follow closer had waited
LEAST_STEP = 0.3  # mm; a smaller step is no motion


def segments(travel: Sequence[float]) -> list[tuple[int, int]]:
    """Index pairs of the monotone stretches; a reversal of TURN_MM parts them."""
    pieces: list[tuple[int, int]] = []
    first = extreme = 0
    direction = 0
    for index, s in enumerate(travel):
        ahead = s - travel[extreme]
        if direction == 0:
            if abs(s - travel[first]) > TURN_MM:
                direction = 1 if s > travel[first] else -1
                extreme = index
        elif ahead * direction >= 0:
            extreme = index
        elif ahead * direction < -TURN_MM:
            pieces.append((first, extreme))
            first, extreme, direction = extreme, index, -direction
    if direction:
        pieces.append((first, extreme))
    return pieces


def is_forward(travel: Sequence[float]) -> bool | None:
    """True for a forward pass, False for a return pass, by the first stretch; None
    where there is none."""
    first, final = next(iter(segments(travel)), (0, 0))
    return travel[final] > travel[first] if final > first else None


def find_jump(
    times: Sequence[float], travel: Sequence[float]
) -> tuple[float, float, int] | None:
    """(mm, where, how many readings before it) of a step from one reading to the next
    that no sled makes.

    Far beyond the steps on both sides of it, in length and in speed; or back for one
    reading only, amid a way on: a slow scale shows no more of it. Its zero was pressed,
    or its unit switched without a word.
    """
    steps = [b - a for a, b in pairwise(travel)]
    spans = [max(b - a, 1e-3) for a, b in pairwise(times)]
    for i, step in enumerate(steps):
        beside = [*range(max(0, i - 3), i), *range(i + 1, min(len(steps), i + 4))]
        if abs(step) <= TRAVEL_JUMP_MM or not beside:
            continue
        between = steps[i - 1 : i] + steps[i + 1 : i + 2]
        back = len(between) == 2 and all(
            step * other < 0 and abs(other) > LEAST_STEP for other in between
        )
        far = abs(step) > JUMP_RATIO * max(abs(steps[j]) for j in beside)
        fast = abs(step) / spans[i] > SPEED_RATIO * max(
            abs(steps[j]) / spans[j] for j in beside
        )
        if back or (far and fast):
            return abs(step), travel[i], i + 1
    return _held_back(times, travel)


def _held_back(
    times: Sequence[float], travel: Sequence[float]
) -> tuple[float, float, int] | None:
    """The same where the outlier filter rejected what followed the step: a hole in
    which the travel hardly goes on. After a hole that is a delay, readings that waited
    come together: nothing was rejected there."""
    usual = statistics.median([b - a for a, b in pairwise(times)])
    for i in range(3, len(times) - 4):
        hole, then = times[i + 1] - times[i], times[i + 4] - times[i + 1]
        if hole < HOLE_S or then < TOGETHER * 3 * usual:
            continue
        before = (travel[i] - travel[i - 3]) / max(1e-3, times[i] - times[i - 3])
        after = (travel[i + 4] - travel[i + 1]) / max(1e-3, then)
        due, came = (before + after) / 2 * hole, travel[i + 1] - travel[i]
        if (
            before * after > 0
            and abs(due - came) > TRAVEL_JUMP_MM
            and came / due < HOLE_SHARE
        ):
            return abs(due - came), travel[i], i + 1
    return None

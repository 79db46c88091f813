"""Which feeler leaves to stack for a distance: exact, at most three, each leaf the user
owns used once.

Lengths in mm. Pure.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

_NM = 1_000_000  # sums are made in whole nanometres, so that 0.04 + 0.06 equals 0.10


def best_stack(distance: float, leaves: Sequence[float]) -> list[float]:
    """The stack that leaves the least over: smallest |distance - sum|, then fewest
    leaves, then not thicker.

    distance: mm, not negative. leaves: mm, one entry per leaf owned (two equal leaves
    are two entries). Returns the stack, thickest first; empty where no leaf comes
    nearer than none at all.
    """
    owned = sorted((round(leaf * _NM), leaf) for leaf in leaves)
    # kept finer than the leaves, but rid of the last float digit
    aim = round(distance * _NM * 1000) / 1000
    best: tuple[float, int, bool] = (abs(aim), 0, False)
    chosen: tuple[int, ...] = ()
    for stack in _candidates([thickness for thickness, _ in owned], aim):
        total = sum(owned[n][0] for n in stack)
        key = (abs(aim - total), len(stack), total > aim)
        if key < best:
            best, chosen = key, stack
    return sorted((owned[n][1] for n in chosen), reverse=True)


def left_over(distance: float, stack: Sequence[float]) -> float:
    """mm still missing with this stack; negative when it overshoots."""
    return round(distance - sum(stack), 9)


def _candidates(owned: Sequence[int], aim: float) -> Iterator[tuple[int, ...]]:
    """Among the stacks of each size, those that can be nearest to aim; owned is rising.
    More than three leaves make a springy stack (common practice, no source)."""
    yield from ((n,) for n in range(len(owned)))
    yield from _pairs(owned, aim, 0)
    for first in range(len(owned) - 2):
        for pair in _pairs(owned, aim - owned[first], first + 1):
            yield (first, *pair)


def _pairs(owned: Sequence[int], aim: float, start: int) -> Iterator[tuple[int, int]]:
    """Walks the edge between pairs too thin and pairs too thick, so the nearest on both
    sides are met."""
    low, high = start, len(owned) - 1
    while low < high:
        yield low, high
        if owned[low] + owned[high] <= aim:
            low += 1
        else:
            high -= 1

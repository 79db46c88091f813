"""The best stack of leaves, beside every stack there is."""

from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.moves.leaves import best_stack, left_over

HUNDREDTHS = st.integers(1, 100).map(lambda n: n / 100)
THOUS = st.integers(1, 40).map(lambda n: n * 0.0254 / 2)


def brute(distance: float, leaves: list[float]) -> tuple[float, int]:
    """Smallest rest and the fewest leaves that reach it, over all subsets of at most three."""
    rests = [
        (round(abs(distance - sum(stack)), 7), size)
        for size in range(4)
        for stack in combinations(leaves, size)
    ]
    return min(rests)


@given(st.lists(HUNDREDTHS | THOUS, max_size=12), st.floats(0, 1.5) | HUNDREDTHS)
def test_no_other_stack_leaves_less_over(leaves: list[float], distance: float) -> None:
    stack = best_stack(distance, leaves)
    rest, size = brute(distance, leaves)
    assert abs(left_over(distance, stack)) == pytest.approx(rest, abs=2e-7)
    if abs(abs(left_over(distance, stack)) - rest) < 1e-9:
        assert len(stack) <= size
    for leaf in set(stack):
        assert stack.count(leaf) <= leaves.count(leaf)
    assert stack == sorted(stack, reverse=True)


@given(st.lists(HUNDREDTHS, max_size=10), HUNDREDTHS)
def test_fewest_leaves_among_equals(leaves: list[float], distance: float) -> None:
    """In whole hundredths ties are common and exact."""
    whole, aim = [round(leaf * 100) for leaf in leaves], round(distance * 100)
    _, size = min((abs(aim - sum(s)), n) for n in range(4) for s in combinations(whole, n))
    assert len(best_stack(distance, leaves)) == size


def test_a_whole_shop_of_leaves_is_quick_and_exact() -> None:
    leaves = [n / 100 for n in range(3, 101)]
    stack = best_stack(2.87, leaves)
    assert sum(stack) == pytest.approx(2.87)
    assert len(stack) == 3


@pytest.mark.parametrize(
    ("distance", "leaves", "stack"),
    [
        (0.15, (0.04, 0.05, 0.10, 0.15), [0.15]),
        (0.144, (0.04, 0.05, 0.10, 0.15), [0.10, 0.04]),
        (0.19, (0.04, 0.05, 0.10, 0.15), [0.15, 0.04]),
        (0.10, (0.05, 0.05), [0.05, 0.05]),
        (0.10, (0.05,), [0.05]),
        (0.01, (0.04, 0.05), []),
        (0.02, (0.04,), []),  # as far off with the leaf as without: leave it out
        (0.021, (0.04,), [0.04]),
        (0.15, (), []),
        (0.10, (0.09, 0.11), [0.09]),  # rather short than past it
        (0.10, (0.04, 0.06, 0.10), [0.10]),
        (0.06, (0.02, 0.02, 0.02, 0.02), [0.02, 0.02, 0.02]),
    ],
)
def test_stacks(distance: float, leaves: tuple[float, ...], stack: list[float]) -> None:
    assert best_stack(distance, leaves) == stack


def test_left_over_is_negative_when_the_stack_overshoots() -> None:
    assert left_over(0.15, [0.10, 0.04]) == pytest.approx(0.01)
    assert left_over(0.15, [0.10, 0.06]) == pytest.approx(-0.01)
    assert left_over(0.3, [0.1, 0.2]) == 0.0


def test_no_springy_stack() -> None:
    assert best_stack(0.4, (0.1,) * 4) == [0.1] * 3

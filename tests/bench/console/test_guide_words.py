"""The two ends of the interval name the same end of the fence, once too near and once too far."""

from __future__ import annotations

import pytest

from bench.console.guide import _opposite


@pytest.mark.parametrize(
    ("way", "other"),
    [
        ("left end too near you", "left end too far from you"),
        ("right end too far from you", "right end too near you"),
        ("rear leans left", "rear leans right"),
        ("opens at the rear", "closes at the rear"),
        ("crown", "crown"),
    ],
)
def test_the_other_way(way: str, other: str) -> None:
    assert _opposite(way) == other

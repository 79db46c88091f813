"""What only the first start wants of the virtual hands: a finger on the plunger, and a leaf under its tip."""

from __future__ import annotations

from hw.virtual.hands import Hands


async def press_plunger(hands: Hands, times: int = 2, depth: float = 2.0) -> None:
    """Push the plunger in with a finger, by mm, and let it go."""
    for _ in range(times):
        await hands.push_in(depth, 0.35 * hands.pace, 0.12)
        await hands.rest(0.1 * hands.pace)


async def slip_leaf(hands: Hands, mm: float, seconds: float = 1.5) -> None:
    """Slip a leaf of that thickness under the tip, hold it, draw it out."""
    await hands.push_in(mm, seconds * hands.pace, 0.1)

"""The acts of the virtual hands at each request of the daemon, for any check.

Enter is pressed by others: the operator, or the person at the screen.
"""

from __future__ import annotations

import asyncio
from collections.abc import Mapping

from bench.checks.options import OptionValue
from bench.procedure.prompt import Prompt
from hw.virtual.hands import Hands

SPEED = 200.0  # mm/s of a push
SCREW_STEPS, SCREW_STEP_S = 10, 0.04  # in which the last screw is turned
BITE = 0.06  # mm that the free end goes at one turn of the wrist
NEAR_AIM = 0.003  # mm from the aim where hands stop turning
DRAWN = 0.03  # mm that the last screw draws the fence back
KNOCK = 0.20  # mm that a bumped stand reads more
AT_START = 5.0  # mm from the start within which a sled need not be drawn back
# phases that want no decision, only hands
BY_THEMSELVES = ("place", "lean", "mark", "spot", "width")
FIRST_WIDTH = "near"  # of a strip, which is cut before it


async def set_up(hands: Hands, ask: Prompt, options: Mapping[str, OptionValue]) -> None:
    """Put up what a placement wants. ValueError where the saw has none of that kind."""
    placement = ask.placement or ""
    if ask.gather != "width":
        await hands.put(placement, mount=ask.mount, at=ask.at, side=ask.side)
        return
    if placement == FIRST_WIDTH and not ask.taken:
        side, turns = options.get("kept", "left"), options.get("turns", 4)
        await hands.cut_board(str(side), int(turns or 4))
    await hands.measure(placement, ask.at or 0.0)


async def follow(hands: Hands, ask: Prompt, options: Mapping[str, OptionValue]) -> None:
    """Do what `ask` wants of hands, one of BY_THEMSELVES; Enter then answers it.

    options: of the check, by the names that it declares.
    """
    if ask.phase == "place":
        await set_up(hands, ask, options)
    elif ask.phase == "lean":
        await hands.lean(ask.lean)
        await hands.rest(0.3)
    elif ask.phase == "mark":
        if ask.mark == 1 and ask.taken:
            await hands.pull_back()
            await hands.seat()
        await hands.stop_at(ask.at or 0.0, 400.0)
    elif ask.phase == "spot" and ask.taken:
        await hands.touch()
    elif ask.phase == "spot" and not ask.waiting:
        await hands.slide(ask.at or 0.0)
    elif ask.phase == "width" and not ask.waiting:
        await hands.measure(ask.placement or "", ask.at or 0.0)


async def push(hands: Hands, ask: Prompt) -> None:
    """A push right through; drawn back and seated anew before it where the sled is no
    longer at its start."""
    if ask.taken or ask.because or hands.pose(hands.clock()).s > AT_START:
        await hands.pull_back()
        await hands.seat()
    await hands.push(hands.saw.run, SPEED)


async def tap(hands: Hands) -> None:
    for _ in range(2):
        await hands.tap()


async def lean_both_ways(hands: Hands) -> None:
    for side in ("left", "right", None):
        await hands.lean(side)


async def tighten(hands: Hands, drawn: float) -> None:
    """Turn the last screw, which draws the free end by `drawn` mm, away positive."""
    for _ in range(SCREW_STEPS):
        hands.saw.shift_free_end(drawn / SCREW_STEPS)
        await asyncio.sleep(SCREW_STEP_S)

"""What a pair of hands does at each thing the daemon asks for, whoever then presses
Enter.

They know no check: they put up what is asked and read as they are told.
"""

from __future__ import annotations

from collections.abc import Mapping

from bench.checks.options import OptionValue
from bench.procedure.prompt import Ask
from hw.virtual.hands import Hands

SPEED = 200.0  # mm/s
# phases that want no decision, only hands
BY_THEMSELVES = ("place", "lean", "mark", "spot", "width")
FIRST_WIDTH = "near"  # of a strip, which is cut before it


async def set_up(hands: Hands, ask: Ask, options: Mapping[str, OptionValue]) -> None:
    """What a placement wants. ValueError where the pretend saw has nothing of the kind."""
    placement = ask.placement or ""
    if ask.gather != "width":
        await hands.put(placement, mount=ask.mount, at=ask.at)
        return
    if placement == FIRST_WIDTH and not ask.taken:
        side, turns = options.get("kept", "left"), options.get("turns", 4)
        await hands.cut_board(str(side), int(turns or 4))
    await hands.measure(placement, ask.at or 0.0)


async def follow(hands: Hands, ask: Ask, options: Mapping[str, OptionValue]) -> None:
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
    elif ask.phase == "width":
        await hands.measure(ask.placement or "", ask.at or 0.0)


async def push(hands: Hands, ask: Ask) -> None:
    """A push right through; drawn back and seated anew before it where one was kept
    already."""
    if ask.taken or ask.because:
        await hands.pull_back()
        await hands.seat()
    await hands.push(hands.saw.run, SPEED)


async def tap(hands: Hands) -> None:
    for _ in range(2):
        await hands.tap()

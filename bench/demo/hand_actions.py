"""What a pair of hands does at each thing the daemon asks for, whoever then presses
Enter.

They know no check: they put up what is asked, read as they are told, and read the words
as a person would where those alone say it.
"""

from __future__ import annotations

import re

from bench.procedure.prompt import Ask
from hw.virtual.hands import Hands

SPEED = 200.0  # mm/s
# phases that want no decision, only hands
BY_THEMSELVES = ("place", "lean", "mark", "spot", "width")
FIRST_WIDTH = "near"  # of a strip, which is cut before it


async def set_up(hands: Hands, ask: Ask) -> None:
    """What a placement wants. ValueError where the pretend saw has nothing of the kind."""
    placement = ask.placement or ""
    if ask.gather != "width":
        await hands.put(placement, mount=ask.mount, at=ask.at)
        return
    if placement == FIRST_WIDTH and not ask.taken:
        await hands.cut_board(*board_asked(ask.words))
    await hands.measure(placement, ask.at or 0.0)


async def follow(hands: Hands, ask: Ask) -> None:
    """Do what `ask` wants of hands, one of BY_THEMSELVES; Enter then answers it."""
    if ask.phase == "place":
        await set_up(hands, ask)
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
    if ask.taken or ask.remark:
        await hands.pull_back()
        await hands.seat()
    await hands.push(hands.saw.run, SPEED)


async def tap(hands: Hands) -> None:
    for _ in range(2):
        await hands.tap()


def board_asked(words: str) -> tuple[str, int]:
    """(side of the blade, turns) of a test board, as the words of its step have them."""
    side = re.search(r"on the (left|right) of the blade", words, re.IGNORECASE)
    turns = re.search(r"(\d+) turns", words)
    return (side[1].lower() if side else "left"), (int(turns[1]) if turns else 4)

"""What a pair of hands does at each request of the daemon, whoever then presses Enter.

The hands know no check: they put up what is asked and read as they are told. Only the
cut of a test board is read from the words of its step, since no field says it.
"""

from __future__ import annotations

import asyncio
import re

from bench.checks.options import OptionValue
from bench.procedure.prompt import Ask
from hw.virtual.hands import Hands

SPEED = 200.0  # mm/s
SCREW_STEPS, SCREW_STEP_S = 10, 0.04  # a turn of the last screw
# phases that want no decision, only hands
BY_THEMSELVES = ("place", "lean", "mark", "spot", "width")
FIRST_WIDTH = "near"  # of a strip, which is cut before it


async def set_up(hands: Hands, ask: Ask) -> None:
    """Put up what a placement wants. ValueError where the saw has none of that kind."""
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


async def lean_both_ways(hands: Hands) -> None:
    for side in ("left", "right", None):
        await hands.lean(side)


async def tighten(hands: Hands, drawn: float) -> None:
    """Turn the last screw, which draws the free end by `drawn` mm, away positive."""
    for _ in range(SCREW_STEPS):
        hands.saw.shift_free_end(drawn / SCREW_STEPS)
        await asyncio.sleep(SCREW_STEP_S)


def options_shown(ask: Ask, before: dict[str, OptionValue]) -> dict[str, OptionValue]:
    """The options of the check, as far as its requests show them; before: by then."""
    if ask.gather != "width":
        return before
    what, _, side = (ask.placement or "").partition("-")
    options = {} if ask.step == 1 and not ask.taken else dict(before)
    if what == FIRST_WIDTH:
        options["kept"] = board_asked(ask.words)[0]
    elif side in ("left", "right"):
        one = options.get("runner", side)
        options["runner"] = side if side == one else "both"
    return options


def board_asked(words: str) -> tuple[str, int]:
    """(side of the blade, turns) of a test board, from the words of its step."""
    side = re.search(r"on the (left|right) of the blade", words, re.IGNORECASE)
    turns = re.search(r"(\d+) turns", words)
    return (side[1].lower() if side else "left"), (int(turns[1]) if turns else 4)

"""What Enter or the pedal would answer now, and since when it is asked.

Screen and panel share it: both hear what the daemon tells. An answer that comes sooner
after its question than a hand or a foot can give it was meant for the one before.
"""

from __future__ import annotations

import math

from bench.procedure.prompt import Prompt
from bench.protocol.notifications import LiveMoveNotice, SetupNotice

# s: to see that the question changed takes some 0.3 s, the hand to the sled and back as
# long again at the least; common practice, no source
HAND_S = 0.8


def press_answers(
    ask: Prompt | None, live: LiveMoveNotice | None, setup: SetupNotice | None
) -> bool:
    """Enter is asked for; one that nobody asked for would answer the next question
    unread."""
    if live is not None:
        return live.enter
    if setup is not None:
        return setup.phase == "seen" or setup.enter
    return ask is not None and ask.enter and not ask.waiting


class QuestionClock:
    """Since when the question stands. Times are of one monotonic clock, s."""

    def __init__(self) -> None:
        self._question: object = None
        self._since = -math.inf

    def note(
        self,
        now: float,
        run: str | None,
        ask: Prompt | None,
        live: LiveMoveNotice | None,
        setup: SetupNotice | None,
        found: str | None = None,
    ) -> bool:
        """Something was heard: whether another question stands from now on. found: the
        result that is shown. A question is known by its place and not by its words. A
        live move's act comes before Enter is asked for, so that this is no other
        question."""
        turn = ask and (ask.phase, ask.placement, ask.step, ask.taken, ask.mark)
        place = ask and (ask.at, ask.lean)
        learn = setup and (setup.what, setup.phase, setup.step)
        waits = live.phase if live is not None else press_answers(ask, live, setup)
        question = run, turn, place, learn, found, waits
        if question == self._question:
            return False
        self._question, self._since = question, now
        return True

    def too_soon(self, now: float) -> bool:
        """Nobody can have done yet what is asked."""
        return now - self._since < HAND_S

"""A single number that is waited for: pressed for, or taken by itself once it came back
and holds still.

Pure: times in monotonic s, values in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.return_watch import ReturnWatch
from bench.stream.rest_detector import BOUNCE, RestDetector

# phases answered by a reading that holds
STANDING_STILL = {"lean", "tap", "mark", "spot", "width"}
SINGLE_NUMBERS = {"spot", "width"}  # each of them is a set-up's own number
# s after a number was taken by itself in which a press still means that number
HASTE = 1.0


class NumberTaking:
    """`facts.waiting` says that a number is waited for. automatic: nobody pressed for
    it."""

    def __init__(self, facts: ProcedureState, resolution: float | None) -> None:
        self.detector = RestDetector(resolution)
        self.automatic = False
        self._facts = facts
        self._watch = ReturnWatch()
        self._came_back = False  # it is waited for because it came back
        self._pressed_at = -BOUNCE  # when a number was last pressed for
        self._taken_by_itself: float | None = None  # when the last number was so

    def means_the_last(self, current: Prompt, now: float) -> bool:
        """Whether a press means a number that was just taken by itself, or that was
        pressed for within BOUNCE."""
        taken = self._taken_by_itself
        hasty = taken is not None and now - taken < HASTE and not self._watch.left
        if hasty and current.by_itself and not self._facts.waiting:
            return True
        if current.phase not in STANDING_STILL:
            return False
        before, self._pressed_at = self._pressed_at, now
        return now - before < BOUNCE

    def press(self, now: float) -> None:
        """The number at hand is wanted."""
        self._facts.waiting = True
        self.automatic = self._came_back = False
        self.detector.press(now)

    def take_by_itself(self, now: float, *, came_back: bool = False) -> None:
        """The number at hand is taken as soon as it holds still, without a press."""
        self._facts.waiting = self.automatic = True
        self._came_back = came_back
        self.detector.press(now)

    def came(
        self, values: Sequence[float], away: float
    ) -> Literal["back", "gone"] | None:
        """Whether the number came back near the value taken last, while none is waited
        for, or left again before it was taken. away: as in `ReturnWatch.back`."""
        back = self._watch.back(values, away)
        if self._came_back and not back:
            self.cancel()
            return "gone"
        return "back" if back and not self._facts.waiting else None

    def end(self, now: float) -> None:
        """The number that was waited for is there."""
        self._taken_by_itself = now if self.automatic else None
        self._facts.waiting = self.automatic = self._came_back = False

    def taken(self, value: float) -> None:
        """A spot or width was taken: the next is told when it comes back."""
        self._watch.taken(value)
        self._facts.number_known = True

    def cancel(self) -> None:
        """No number is waited for any more."""
        self.detector.cancel()
        self._facts.waiting = self.automatic = self._came_back = False

    def cancel_return(self) -> None:
        """What came back by itself is not meant: nobody pressed for it."""
        if self._came_back:
            self.cancel()
            self._watch.stay()

    def forget(self) -> None:
        """A set-up is put up anew: there is no value to come back to."""
        self._watch.forget()
        self._facts.number_known = self.automatic = self._came_back = False

"""A single number that is waited for: pressed for, or taken by itself once it came back
and holds still.

Pure: times in monotonic s, values in mm.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.status_message import StatusMessage, status
from bench.stream.rest_detector import BOUNCE_S, NotAtRest, RestDetector

# phases answered by a reading that holds
STANDING_STILL = {"lean", "tap", "mark", "spot", "width"}
SINGLE_NUMBERS = {"spot", "width"}  # each of them is a set-up's own number
# s after a number was taken by itself in which a press still means that number
HASTE_S = 1.0
# the codes of a number that creeps, and of one that wanders
RESTLESS = {
    "number": ("number-creeps", "number-wanders"),
    "reading": ("reading-creeps", "reading-wanders"),
}
# of the way out; what is farther from the value before is asked about
RETURN_SHARE = 0.25
# mm: widths, wobble and play differ less from one place to the next
RETURN_MOST_MM = 0.5


class ReturnWatch:
    """Watches whether the number left the value that was taken last, and came back near
    it, so that the next spot or width is at hand.

    Rest alone does not tell: a lifted plunger, an opened caliper and a sled that was
    let go hold still as well. They rest where the number is farthest from the value
    taken before, so a number counts only when it came back most of the way. mm.
    """

    def __init__(self) -> None:
        self.restart(None)

    def restart(self, base: float | None) -> None:
        """The number must go away from this value before it counts as back."""
        self.base = base  # the value taken last; None: none to come back to
        self._far = 0.0  # the farthest it was from the base
        self.left = False  # it went away, since the value was taken

    def back(self, values: Sequence[float], away: float) -> bool:
        """Take in readings, mm; whether the latest is back near the value taken.

        away: mm that it must have been away by at least.
        """
        if self.base is None:
            return False
        for value in values:
            self._far = max(self._far, abs(value - self.base))
        self.left = self._far >= away - 1e-9
        near = min(RETURN_SHARE * self._far, RETURN_MOST_MM)
        return self.left and bool(values) and abs(values[-1] - self.base) <= near


class NumberTaking:
    """Takes one number that holds still. `facts.waiting` says that one is waited for.
    automatic: nobody pressed for it."""

    def __init__(self, facts: ProcedureState, resolution: float | None) -> None:
        self.detector = RestDetector(resolution)
        self.automatic = False
        self._facts = facts
        self._watch = ReturnWatch()
        self._came_back = False  # it is waited for because it came back
        self._pressed_at = -BOUNCE_S  # when a number was last pressed for
        self._taken_by_itself: float | None = None  # when the last number was so

    def means_the_last(self, current: Prompt, now: float) -> bool:
        """Whether a press is for a number that was just taken by itself, or that was
        pressed for within BOUNCE."""
        taken = self._taken_by_itself
        hasty = taken is not None and now - taken < HASTE_S and not self._watch.left
        if hasty and current.by_itself and not self._facts.waiting:
            return True
        if current.phase not in STANDING_STILL:
            return False
        before, self._pressed_at = self._pressed_at, now
        return now - before < BOUNCE_S

    def press(self, now: float) -> None:
        """Wait for the number at hand."""
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
        """Note that the number that was waited for is there."""
        self._taken_by_itself = now if self.automatic else None
        self._facts.waiting = self.automatic = self._came_back = False

    def taken(self, value: float) -> None:
        """Note that a spot or width was taken: the next is told when it comes back."""
        self._watch.restart(value)
        self._facts.number_known = True

    def cancel(self) -> None:
        """Stop waiting for a number."""
        self.detector.cancel()
        self._facts.waiting = self.automatic = self._came_back = False

    def cancel_return(self) -> None:
        """Stop waiting for a number that came back by itself, since nobody pressed for
        it."""
        if self._came_back:
            self.cancel()
            self._watch.restart(self._watch.base)

    def forget(self) -> None:
        """Note that a set-up is put up anew: there is no value to come back to."""
        self._watch.restart(None)
        self._facts.number_known = self.automatic = self._came_back = False


def restless(subject: Literal["number", "reading"], answer: NotAtRest) -> StatusMessage:
    """The message that no number is taken yet, since it wanders or creeps."""
    code = RESTLESS[subject][answer.spread > answer.allowed]
    return status(code, spread=answer.spread, allowed=answer.allowed)

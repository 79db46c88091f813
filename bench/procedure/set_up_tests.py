"""The tests of a set-up before its first pass: the lean test and the tap test.

Holds no port and no socket.
"""

from __future__ import annotations

import msgspec

from bench.checks.model import LeanTest, Step, TapTest
from bench.procedure.journal import Reporter
from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.status_message import StatusMessage, status
from bench.stream.rest_detector import RestReading

LEAN_COUNTS = 3  # counts that the number must change by before it says anything
# That a stand which does not return after a light tap will not hold through a push
# either, and these limits: common practice, no source.
TAP_COUNTS = 1.5  # one, and half of one: what is compared are means of whole counts
# of the spread at rest over half a second, about 1.5 times its noise
TAP_SPREAD_SHARE = 1.0 / 3.0


class SetUpTests:
    """Takes the readings of the tests in the order they come; `facts` says which test
    is passed."""

    def __init__(self, facts: ProcedureState, report: Reporter) -> None:
        self.leans: list[LeanTest] = []
        self.taps: list[TapTest] = []
        self._facts, self._report = facts, report
        self._left: float | None = None  # the reading leaned to the left, mm
        self._before_tap: RestReading | None = None

    def restart(self) -> None:
        """Forget what was proved, since the set-up was put up anew."""
        facts = self._facts
        facts.leaned = [step for step in facts.leaned if step != facts.step]
        facts.tapped = facts.tap_rest = False

    def tap(self, ask: Prompt, taken: RestReading, count: float) -> None:
        """The number at rest, then the number after the stand was tapped."""
        before, facts = self._before_tap, self._facts
        if not facts.tap_rest or before is None:
            self._before_tap, facts.tap_rest = taken, True
            return
        off = not_back(before, taken, count)
        facts.tapped, facts.tap_rest = off is None, False
        tap = TapTest(ask.placement or "", before.value, taken.value, off is None)
        self.taps.append(tap)
        self._report.event("tap", msgspec.to_builtins(tap))
        if off is None:
            self._report.notify("tap", status("tap-passed"), "good")
            return
        facts.remark = status("tap-failed", off=abs(off))
        self._report.notify("tap", facts.remark, "warning")

    def lean(self, ask: Prompt, taken: RestReading, step: Step, count: float) -> None:
        """The reading leaned to the left, then that leaned to the right."""
        assert ask.placement is not None
        facts = self._facts
        if ask.lean == "left":
            self._left, facts.lean_next = taken.value, "right"
            return
        left = self._left if self._left is not None else taken.value
        facts.lean_next = None
        lean = LeanTest(ask.placement, left, taken.value)
        self._report.event("lean", msgspec.to_builtins(lean))
        seen = proved_side(lean, step, count)
        remark = lean_remark(lean, step, seen)
        passed = seen in (None, step.side)
        if passed:  # the latest of a set-up is the one that stands
            others = [one for one in self.leans if one.placement != lean.placement]
            self.leans = [*others, lean]
            facts.leaned = [*facts.leaned, facts.step]
        else:
            # the one slip no arithmetic can see: both set-ups would agree on nonsense
            facts.placed = False
            facts.remark = remark
        self._report.notify("lean", remark, "note" if passed else "warning")


def proved_side(lean: LeanTest, step: Step, count: float) -> str | None:
    """The side on which the indicator stands, from leaning left then right; None when
    no play is seen.

    Leaned to the right the surface goes to +X: a standing indicator on the right is
    pushed in, one on the left let out. A carried one goes with the sled, so the other
    way round.
    """
    change = lean.right - lean.left
    if abs(change) < LEAN_COUNTS * count - 1e-9:
        return None
    right = change > 0
    if step.mount == "carried":
        right = not right
    return "right" if right else "left"


def lean_remark(lean: LeanTest, step: Step, seen: str | None) -> StatusMessage:
    """The message of what a lean test showed; `seen` as `proved_side` has it."""
    if seen is None:
        return status("lean-no-play", side=step.side)
    if seen == step.side:
        play = abs(lean.right - lean.left)
        return status("lean-proved", side=seen, play=play)
    return status("lean-wrong-side", side=seen, wanted=step.side)


def not_back(before: RestReading, after: RestReading, count: float) -> float | None:
    """mm by which the number did not come back after the tap; None where it did."""
    off = after.value - before.value
    spread = max(before.spread, after.spread)
    allowed = max(TAP_COUNTS * count, TAP_SPREAD_SHARE * spread) + 1e-9
    return off if abs(off) > allowed else None

"""What makes a pass while one is asked for: a movement of the sled, or of the indicator
along a fence, or marks that are taken one after the other.

Holds no port and no socket. Times in monotonic s.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.status_message import Severity, StatusMessage
from bench.procedure.trouble_watch import LivenessMonitor
from bench.protocol import MarkNotice
from bench.stream.rest_detector import RestReading
from bench.stream.sweep_detector import (
    MovementEnd,
    MovementEvent,
    MovementFault,
    MovementStart,
    Sweep,
)

# s after the press before rest is believed: a hand that moves with it shows by then
SETTLE = 0.15


class PassTaking:
    """Which movement counts: one that began after READY was told. The last mark of a
    pass makes it whole.

    notify(about, remark, severity): tells what is to be said. event: writes a mark
    down; tell: tells clients of it. at_rest: whether both instruments show rest.
    """

    def __init__(
        self,
        facts: ProcedureState,
        kept: AcceptedPasses,
        life: LivenessMonitor,
        notify: Callable[[str, StatusMessage, Severity], None],
        event: Callable[[str, Mapping[str, Any]], None],
        tell: Callable[[msgspec.Struct], None],
        at_rest: Callable[[], bool],
    ) -> None:
        self.placed_at = 0.0  # when the present set-up was said to stand
        self._ready_since: float | None = None
        self._asked: Prompt | None = None  # the prompt before the present one
        self._facts = facts
        self._kept = kept
        self._life = life
        self._notify = notify
        self._event = event
        self._tell = tell
        self._at_rest = at_rest
        # travel and reading in mm, s, of the marks of a pass that is not whole yet
        self._marked: list[tuple[float, float, float]] = []

    def asked(self, prompt: Prompt, now: float) -> None:
        """What is asked now; READY counts from when a set-up is told so first."""
        before, self._asked = self._asked, prompt
        same = before is not None and before.placement == prompt.placement
        if not prompt.ready:
            self._ready_since = None
        elif not (same and before is not None and before.ready):
            self._ready_since = now

    def rest(self, prompt: Prompt, now: float) -> bool:
        """Whether the sled is now seen at rest for the first time since it was
        placed."""
        facts = self._facts
        if not facts.placed or facts.rested or prompt.phase != "sweep":
            return False
        facts.rested = now - self.placed_at > SETTLE and self._at_rest()
        return facts.rested

    def event(self, what: MovementEvent, ask: Callable[[], Prompt], now: float) -> bool:
        """Whether the facts have changed. ask: the prompt as of the facts."""
        if ask().phase != "sweep":
            return False
        if self._ready_since is None or what.began < self._ready_since:
            self._too_early(what)
            return False
        if isinstance(what, MovementStart):
            self._begin(now)
        elif isinstance(what, MovementFault):
            self._break(what)
        else:
            self._end(what, ask)
        return True

    def _too_early(self, what: MovementEvent) -> None:
        """Drawing back while it is being set up is no news; a push that was too quick
        is."""
        passed = isinstance(what, MovementEnd) and bool(what.sweeps)
        if passed and what.began >= self.placed_at:
            self._life.end(passed=True)
            self._notify("sweep", StatusMessage("began-too-early"), "warning")

    def _begin(self, now: float) -> None:
        self._facts.moving = True
        self._life.begin(now)
        self._facts.remark = None
        self._kept.start()

    def _break(self, what: MovementFault) -> None:
        self._facts.moving = self._facts.rested = False
        self._life.end(passed=True)
        remark = StatusMessage("pass-broken", {**what.values, "why": what.code})
        self._kept.refuse(remark, push=what.push)

    def _end(self, what: MovementEnd, ask: Callable[[], Prompt]) -> None:
        """A movement came to its end: a pass, two, or none."""
        self._facts.moving = False
        self._life.end(passed=bool(what.sweeps))
        if not what.sweeps:
            self._kept.drop(StatusMessage("too-short"))
        for sweep in what.sweeps:
            if ask().phase == "sweep":
                self._kept.judge(sweep)

    # ---- at marks ----

    def take_mark(self, current: Prompt, taken: RestReading) -> None:
        assert current.at is not None and current.placement is not None
        self._kept.begin()
        del self._marked[self._facts.marks_taken :]  # of another set-up
        self._marked.append((current.at, taken.value, taken.at))
        number, of = len(self._marked), len(self._facts.marks)
        self._facts.marks_taken = number % of
        seen = {"value": taken.value, "at": current.at}
        place = {"placement": current.placement, "spread": taken.spread}
        self._event("mark", {**place, **seen})
        told = (current.placement, current.at, number, of, taken.value)
        self._tell(MarkNotice(*told, remarks=[StatusMessage("mark-taken", seen)]))
        if number == of:
            travel, reading, at = map(list, zip(*self._marked, strict=True))
            self._kept.keep(Sweep(True, travel, reading, at))

    def take_back_mark(self) -> StatusMessage:
        """The last one taken, of at least one; says so."""
        self._facts.marks_taken -= 1
        at, value, _ = self._marked[self._facts.marks_taken]
        self._event(
            "mark-undone", {"placement": self._kept.placement, "at": at, "value": value}
        )
        if not self._facts.marks_taken:
            self._kept.drop(StatusMessage("marks-undone"))
        return StatusMessage("mark-undone", {"at": at})

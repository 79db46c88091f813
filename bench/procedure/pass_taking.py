"""Decides which movements are passes while one is asked for: a movement of the sled, or
of the indicator along a fence, or marks that are taken one after the other.

Holds no port and no socket. Times in monotonic s.
"""

from __future__ import annotations

from collections.abc import Callable

from bench.procedure.journal import Reporter
from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.status_message import StatusMessage, status
from bench.procedure.trouble_watch import NOT_AT_REST, LivenessMonitor
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
REST_BELIEVED_S = 0.15


class PassTaking:
    """Takes movements as passes where they began after READY was told, and marks one by
    one; the last mark of a pass makes it whole.

    at_rest: whether both instruments show rest.
    """

    def __init__(
        self,
        facts: ProcedureState,
        passes: AcceptedPasses,
        life: LivenessMonitor,
        report: Reporter,
        at_rest: Callable[[], bool],
    ) -> None:
        self.placed_at = 0.0  # when the present set-up was said to stand
        self._ready_since: float | None = None
        self._facts, self._passes, self._life = facts, passes, life
        self._report, self._at_rest = report, at_rest
        # travel and reading in mm, s, of the marks of a pass that is not whole yet
        self._marked: list[tuple[float, float, float]] = []

    def asked(self, before: Prompt, prompt: Prompt, now: float) -> None:
        """Take in the present prompt; READY counts from when a set-up is told so
        first."""
        if not prompt.ready:
            self._ready_since = None
        elif not (before.ready and before.placement == prompt.placement):
            self._ready_since = now

    def rest(self, prompt: Prompt, now: float) -> bool:
        """Whether the sled is now seen at rest for the first time since it was
        placed."""
        facts = self._facts
        if not facts.placed or facts.rested or prompt.phase != "sweep":
            return False
        facts.rested = now - self.placed_at > REST_BELIEVED_S and self._at_rest()
        told = facts.remark
        if facts.rested and told is not None and told.code == NOT_AT_REST:
            facts.remark = None
        return facts.rested

    def event(self, what: MovementEvent, ask: Callable[[], Prompt], now: float) -> bool:
        """Take in an event of the sweep detector; True where the facts have changed.
        ask: the prompt as of the facts."""
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
            self._report.notify("sweep", status("began-too-early"), "warning")

    def _begin(self, now: float) -> None:
        self._facts.moving = True
        self._life.begin(now)
        self._facts.remark = None
        self._passes.start()

    def _break(self, what: MovementFault) -> None:
        self._facts.moving = self._facts.rested = False
        self._life.end(passed=True)
        remark = status("pass-broken", **what.values, why=what.code)
        self._passes.refuse(remark, push=what.push)

    def _end(self, what: MovementEnd, ask: Callable[[], Prompt]) -> None:
        """A movement came to its end: a pass, two, or none."""
        self._facts.moving = False
        self._life.end(passed=bool(what.sweeps))
        if not what.sweeps:
            self._passes.drop(status("too-short"))
        for sweep in what.sweeps:
            if ask().phase == "sweep":
                self._passes.judge(sweep)

    # ---- at marks ----

    def take_mark(self, current: Prompt, taken: RestReading) -> None:
        assert current.at is not None and current.placement is not None
        self._passes.begin()
        del self._marked[self._facts.marks_taken :]  # of another set-up
        self._marked.append((current.at, taken.value, taken.at))
        number, of = len(self._marked), len(self._facts.marks)
        self._facts.marks_taken = number % of
        seen = {"value": taken.value, "at": current.at}
        place = {"placement": current.placement, "spread": taken.spread}
        self._report.event("mark", {**place, **seen})
        told = (current.placement, current.at, number, of, taken.value)
        self._report.tell(MarkNotice(*told, remarks=[status("mark-taken", **seen)]))
        if number == of:
            travel, reading, at = map(list, zip(*self._marked, strict=True))
            self._passes.accept(Sweep(True, travel, reading, at))

    def take_back_mark(self) -> StatusMessage:
        """The last one taken, of at least one; says so."""
        self._facts.marks_taken -= 1
        at, value, _ = self._marked[self._facts.marks_taken]
        self._report.event(
            "mark-undone",
            {"placement": self._passes.placement, "at": at, "value": value},
        )
        if not self._facts.marks_taken:
            self._passes.drop(status("marks-undone"))
        return status("mark-undone", at=at)

"""The check in progress: presses, sweeps and marks in; events for the log and messages
for clients out.

Holds no port and no socket. Everything that must survive the daemon's end is put in the
journal before it is told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import msgspec

from bench.checks.model import (
    Caution,
    Check,
    Evidence,
    EvidenceGear,
    Lean,
    Step,
    Tap,
    Trace,
)
from bench.checks.options import OptionValue
from bench.finding import Doubt
from bench.procedure.early_stop import may_stop_early
from bench.procedure.journal import Journal
from bench.procedure.liveness import LivenessMonitor
from bench.procedure.marks import Marks
from bench.procedure.number_taking import (
    SINGLE_NUMBERS,
    STANDING_STILL,
    NumberTaking,
)
from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState, Prompt, advance, ask
from bench.procedure.set_up_tests import SetUpTests
from bench.procedure.status_message import Severity, StatusMessage
from bench.procedure.trouble_watch import TroubleWatch
from bench.protocol import PromptChanged, RunState, notice
from bench.stream.rest_detector import NotAtRest, Taken
from bench.stream.sweep_detector import Began, Broken, Ended, Sweep, SweepEvent

# s after the press before rest is believed: a hand that moves with it shows by then
SETTLE = 0.15
MOST_WAITING_PRESSES = 100  # presses that wait; more are somebody leaning on the pedal


class CheckProcedure:
    """One check from its cautions to its evidence. tell: called with each message for
    clients."""

    def __init__(
        self,
        run_id: str,
        check: Check,
        options: Mapping[str, OptionValue],
        gear: EvidenceGear,
        *,
        sweeps: int | None,
        lean: bool,
        tap: bool = False,
        marks: tuple[float, ...],
        journal: Journal,
        tell: Callable[[msgspec.Struct], None],
        at_rest: Callable[[], bool],
        verifies: str | None = None,
        cautions: Sequence[Caution] | None = None,
    ) -> None:
        """cautions: those that are asked; all of the check where None."""
        self.id = run_id
        self.check = check
        self.options = dict(options)
        self.gear = gear
        self.steps: tuple[Step, ...] = tuple(
            msgspec.structs.replace(s, repeat=sweeps)
            if s.gather == "sweep" and sweeps is not None
            else s
            for s in check.plan(self.options, gear)
        )
        self.cautions = tuple(check.cautions if cautions is None else cautions)
        self.facts = ProcedureState(lean_wanted=lean, tap_wanted=tap, marks=marks)
        self.facts.acknowledged = not self.cautions
        hold = self.options.get("hold")
        self.kept = AcceptedPasses(
            run_id, self.steps, self.facts, str(hold) if hold else None, journal, tell
        )
        self.ready_since: float | None = None
        self._placed_at = 0.0
        self._journal = journal
        self.verifies = verifies
        self.looks = 0  # how often it was extended
        # by set-up, the last pass that was refused because no line fits it
        self.crooked: dict[str, Trace] = {}
        self._tell = tell
        self._at_rest = at_rest
        self._early = 0
        self.tests = SetUpTests(self.facts, self._event, self._notify)
        self._marks = Marks(self.facts, self.kept, self._event, tell)
        by_caliper = any(step.gather == "width" for step in self.steps)
        instrument = gear.caliper if by_caliper else gear.indicator
        self.numbers = NumberTaking(self.facts, instrument.resolution)
        self.life = LivenessMonitor()
        self._said: Prompt | None = None
        self.troubles = TroubleWatch(
            self.facts, self.kept, self.life, self._event, self._notify
        )
        # the prompt as of the latest event, for whoever looks at it at each reading
        self.prompt = self.ask

    # ---- what is asked ---------------------------------------------------------------

    @property
    def ask(self) -> Prompt:
        return ask(self.cautions, self.steps, self.facts)

    @property
    def step(self) -> Step | None:
        """The present one; None when nothing is lacking any more."""
        return self.kept.step

    @property
    def sweep_id(self) -> str | None:
        """The sweep being recorded."""
        return self.kept.sweep_id

    def _about(self) -> dict[str, Any]:
        """The fields that a client is told of it."""
        gear = self.gear
        return {
            "check": self.check.kind,
            "jig": gear.jig.name if gear.jig else None,
            "saw": gear.saw.name if gear.saw else None,
            "ask": self.ask,
            "question": self.check.question,
            "verifies": self.verifies,
            "options": self.options,
        }

    def state(self) -> RunState:
        return RunState(id=self.id, passes=list(self.kept.passes), **self._about())

    def asking(self, *, joined: bool = False, ref: int | None = None) -> PromptChanged:
        return PromptChanged(run=self.id, joined=joined, ref=ref, **self._about())

    @property
    def complete(self) -> bool:
        return self.facts.step >= len(self.steps)

    def evidence(self) -> Evidence:
        return Evidence(
            check=self.check.kind,
            traces=list(self.kept.traces),
            options=self.options,
            gear=self.gear,
            leans=list(self.tests.leans),
            taps=list(self.tests.taps),
            alive=list(self.life.alive),
            shown=sorted(self.life.shown),
        )

    def extend(self, sweeps: int, now: float) -> None:
        """So many pushes more in every set-up; the later look is a stricter one."""
        self.extended(sweeps)
        self._early = 0  # what was pressed before the answer was not meant for this
        self._event("extended", {"sweeps": sweeps})
        self.settle_down(now)

    def extended(self, sweeps: int) -> None:
        self.looks += 1
        self.facts.extra += sweeps

    @property
    def may_stop_early(self) -> bool:
        return may_stop_early(self.check, self.steps, self.facts)

    def stop_early(self, now: float) -> None:
        """The passes so far settle it: the last one is not asked for. A movement that
        is under way ends first."""
        self.facts.settled_at = self.steps[-1].placement
        self._notify("sweep", StatusMessage("settled-early"), "good")
        if not self.facts.moving:
            self.settle_down(now)

    def settle_down(self, now: float) -> None:
        """Bring facts and guidance in line, use presses that waited, and tell what has
        changed."""
        advance(self.steps, self.facts)
        while True:
            self._take_rest(now)
            self._say(now)
            if not self._early or not self._wants_press():
                return
            self._early -= 1
            self._use_press(now)
            advance(self.steps, self.facts)

    def _say(self, now: float) -> None:
        current = self.prompt = self.ask
        if current == self._said:
            return
        said = self._said
        was_ready = said is not None and said.ready
        same = said is not None and said.placement == current.placement
        if current.ready and not (was_ready and same):
            self.ready_since = now
        elif not current.ready:
            self.ready_since = None
        self._said = current
        self._tell(self.asking())

    # ---- presses ---------------------------------------------------------------------

    def press(self, now: float, *, waits: bool = True) -> bool:
        """Enter or the pedal. False when nothing asks for it and it should not wait."""
        current = self.ask
        if self.numbers.means_the_last(current, now):
            return True
        if self._wants_press():
            self._use_press(now)
            self.settle_down(now)
            return True
        if self.facts.waiting and current.phase in SINGLE_NUMBERS:
            return True
        if waits:
            self._early = min(MOST_WAITING_PRESSES, self._early + 1)
        return waits

    def _wants_press(self) -> bool:
        return self.ask.enter and (not self.facts.waiting or self.numbers.automatic)

    def _use_press(self, now: float) -> None:
        current = self.ask
        self.facts.remark = None
        if current.phase == "cautions":
            self.facts.acknowledged = True
            names = [caution.name for caution in self.cautions]
            self._event("acknowledged", {"cautions": names})
        elif current.phase == "place":
            self.numbers.forget()
            self._place(current, now)
            if current.gather != "sweep" and not current.button:
                self.numbers.take_by_itself(now)
        elif current.phase in STANDING_STILL:
            self.numbers.press(now)

    def _place(self, current: Prompt, now: float) -> None:
        self.facts.placed, self.facts.rested = True, False
        self.tests.restart()
        self._placed_at = now
        if current.gather == "sweep":
            self.life.anew(current.placement)
        self._event("placed", {"placement": current.placement})

    @property
    def _rest_wanted(self) -> bool:
        """The number before the tap is taken without being asked for: nothing is to be
        touched then."""
        facts = self.facts
        return not (facts.waiting or facts.tap_rest) and self.ask.phase == "tap"

    def _take_rest(self, now: float) -> None:
        if self._rest_wanted:
            self.numbers.press(now)

    # ---- the indicator holding still -------------------------------------------------

    def readings(self, times: list[float], values: list[float], now: float) -> None:
        """New indicator readings (growing as the plunger is pushed in)."""
        # what the filter passed on late was shown before the set-up stood
        fresh = [v for t, v in zip(times, values, strict=True) if t > self._placed_at]
        detector = self.numbers.detector
        if self.troubles.readings(fresh, self.ask, detector.count, now):
            self.settle_down(now)
        self._watch_return(values, now)
        answer = detector.readings(times, values)
        if isinstance(answer, Taken):
            self._took(answer, now)
        elif isinstance(answer, NotAtRest):
            moves = {"spread": answer.spread, "allowed": answer.allowed}
            wanders = answer.spread > answer.allowed
            code = "reading-wanders" if wanders else "reading-creeps"
            self._notify("indicator", StatusMessage(code, moves), "warning")

    def _watch_return(self, values: list[float], now: float) -> None:
        """A spot or width is at hand when the number came back; it is none any more
        when it leaves again before it was taken."""
        step, facts = self.step, self.facts
        if step is None or step.gather == "sweep" or step.away is None:
            return
        came = self.numbers.came(values, step.away)
        if came == "gone":
            self.settle_down(now)
        elif came == "back" and self.ask.by_itself:
            if not facts.placed:
                self._place(self.ask, now)
            self.numbers.take_by_itself(now, came_back=True)
            self.settle_down(now)

    def doubts(self, found: Mapping[Any, Doubt], now: float) -> None:
        """What the passes so far show against themselves: each is said once; a pass
        that stood still is taken again."""
        for doubt in self.troubles.new_doubts(found):
            remark = StatusMessage("doubt", msgspec.to_builtins(doubt))
            trace = next((t for t in self.kept.traces if t.sweep == doubt.sweep), None)
            if doubt.code == "stood" and trace is not None:
                self.life.anew(trace.placement)
                self.refuse_kept(trace, remark, now)
            self.troubles.tell(remark)
            self.settle_down(now)

    def rest(self, now: float) -> None:
        """Ready is said once the sled was seen at rest: a push from before that has no
        beginning."""
        facts = self.facts
        if not facts.placed or facts.rested or self.ask.phase != "sweep":
            return
        if now - self._placed_at > SETTLE and self._at_rest():
            facts.rested = True
            self.settle_down(now)

    def tick(self, now: float) -> None:
        """A reading sent at the instrument's own button both asks and answers."""
        self.rest(now)
        if self.troubles.tick(self.ask, now):
            self.settle_down(now)
        if self._rest_wanted:
            self.settle_down(now)
        current = self.ask
        # a press at the instrument's own button says that it stands, too
        stands = current.phase == "place" and current.gather in SINGLE_NUMBERS
        if current.phase in STANDING_STILL or (stands and current.button):
            taken = self.numbers.detector.button(now)
            if taken is not None:
                if stands:
                    self._place(current, now)
                self._took(taken, now)

    def _took(self, taken: Taken, now: float) -> None:
        current = self.ask
        self.numbers.end(now)
        count = self.numbers.detector.count
        if current.phase == "lean":
            self.tests.lean(current, taken, self.steps[self.facts.step], count)
        elif current.phase == "tap":
            self.tests.tap(current, taken, count)
        elif current.phase == "mark":
            self._marks.take(current, taken)
        elif current.phase in SINGLE_NUMBERS:
            self._spotted(current, taken)
        self.settle_down(now)

    def _spotted(self, current: Prompt, taken: Taken) -> None:
        at = current.at if current.at is not None else 0.0
        self.numbers.taken(taken.value)
        self.kept.keep(Sweep(taken.at, taken.at, True, [at], [taken.value], [taken.at]))
        self.life.anew()

    # ---- sweeps ----------------------------------------------------------------------

    def happening(self, what: SweepEvent, now: float) -> None:
        if self.ask.phase != "sweep":
            return
        if self.ready_since is None or what.began < self.ready_since:
            # drawing back while it is being set up is no news; a push that was too
            # quick is
            early = isinstance(what, Ended) and bool(what.sweeps)
            if early and what.began >= self._placed_at:
                self.life.end(passed=True)
                self._notify("sweep", StatusMessage("began-too-early"), "warning")
            return
        if isinstance(what, Began):
            self.facts.moving = True
            self.life.begin(now)
            self.facts.remark = None
            self.kept.start()
        elif isinstance(what, Broken):
            self.facts.moving = self.facts.rested = False
            self.life.end(passed=True)
            self.kept.refuse(
                StatusMessage("pass-broken", {**what.values, "why": what.code}),
                push=what.push,
            )
        else:
            self._end(what)
        self.settle_down(now)

    def _end(self, what: Ended) -> None:
        """A movement came to its end: a pass, two, or none."""
        self.facts.moving = False
        self.life.end(passed=bool(what.sweeps))
        if not what.sweeps:
            self.kept.drop(StatusMessage("too-short"))
        for sweep in what.sweeps:
            if self.ask.phase == "sweep":
                self.kept.judge(sweep)

    def interrupt(self, remark: StatusMessage, now: float) -> None:
        """The cable was pulled or the daemon ends: what was being recorded is stored as
        interrupted."""
        self.facts.marks_taken = 0
        self.kept.interrupt(remark)
        self.numbers.cancel()
        self.numbers.forget()
        self.facts.rested = False
        self._say(now)

    def undo(self, now: float) -> StatusMessage:
        """Take back the press that waits, else the last mark of an unfinished pass,
        else the last kept pass."""
        self._early = 0
        self.numbers.cancel_return()  # what was taken before is meant
        if self.facts.waiting and self.ask.enter:
            self.numbers.cancel()
            remark = StatusMessage("press-undone")
        elif self.facts.marks_taken:
            remark = self._marks.take_back()
        elif (latest := self.kept.latest()) is None:
            return StatusMessage("nothing-to-undo")
        else:
            self.kept.take_back(latest, StatusMessage("undone-by-hand"))
            remark = StatusMessage("pass-undone", {"placement": latest.placement})
        self.settle_down(now)
        return remark

    def refuse_kept(self, trace: Trace, remark: StatusMessage, now: float) -> None:
        """The arithmetic has looked at a kept pass and cannot use it (the stand was
        bumped, zero pressed)."""
        self.kept.take_back(trace, remark, state="refused")
        self.facts.remark = remark
        advance(self.steps, self.facts)
        self.settle_down(now)

    # ---- inside ----------------------------------------------------------------------

    def _event(self, kind: str, data: Mapping[str, Any]) -> None:
        self._journal.event(self.id, kind, data)

    def _notify(
        self, about: str, remark: StatusMessage, severity: Severity = "note"
    ) -> None:
        self._tell(notice(about, remark, severity))

    # ---- after a restart -------------------------------------------------------------

    def resume(
        self,
        *,
        acknowledged: bool,
        traces: list[Trace],
        leans: list[Lean],
        taps: list[Tap],
        alive: list[str],
        now: float,
    ) -> None:
        """Take up a run from the log. What was placed is asked again: somebody may have
        moved it."""
        self.facts.acknowledged = acknowledged
        self.tests.leans, self.tests.taps = list(leans), list(taps)
        self.life.alive = list(alive)
        self.kept.resume(traces)
        self.facts.step = -1
        advance(self.steps, self.facts)
        self._say(now)

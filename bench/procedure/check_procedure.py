"""The check in progress, as a state machine: presses, readings and movements in; events
for the log and messages for clients out.

Its states are the phases of a prompt, worked out from the facts by
`bench.procedure.prompt.ask`; what happens changes the facts, and `settle_down` tells
the state that follows:

    cautions      Enter acknowledges them -> place
    place         Enter: the set-up stands -> tap, lean, sweep, mark, spot or width
    tap           the number at rest, Enter after the tap -> lean or sweep; else tap
    lean          Enter leaned left, then right -> sweep or mark; wrong side -> place
    sweep, mark   a pass, or its marks one by one -> the same until all are kept
    spot, width   a number that holds still -> the same until all are kept
    (all kept)    -> place of the next set-up, then working-out

`SetUpTests` does tap and lean, `PassTaking` sweep and mark, `NumberTaking` the
waiting for a number. Holds no port and no socket. Everything that must survive the
daemon's end is put in the journal before it is told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import msgspec

from bench.checks import find
from bench.checks.model import (
    Caution,
    Evidence,
    EvidenceGear,
    LeanTest,
    Step,
    TapTest,
    Trace,
)
from bench.checks.options import OptionValue, given_text
from bench.finding import Doubt
from bench.procedure.early_stop import may_stop_early
from bench.procedure.journal import Journal, Reporter
from bench.procedure.number_taking import (
    SINGLE_NUMBERS,
    STANDING_STILL,
    NumberTaking,
)
from bench.procedure.pass_taking import PassTaking
from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState, Prompt, advance, ask
from bench.procedure.reading_intake import ReadingIntake
from bench.procedure.set_up_tests import SetUpTests
from bench.procedure.status_message import StatusMessage, status
from bench.procedure.trouble_watch import LivenessMonitor, TroubleWatch
from bench.protocol import Begin, PromptChanged, RunState
from bench.stream.sweep_detector import MovementEvent

MOST_WAITING_PRESSES = 100  # presses that wait; more are somebody leaning on the pedal


class CheckProcedure:
    """One check from its cautions to its evidence. tell: called with each message for
    clients."""

    def __init__(
        self,
        run_id: str,
        begun: Begin,
        gear: EvidenceGear,
        *,
        marks: tuple[float, ...],
        journal: Journal,
        tell: Callable[[msgspec.Struct], None],
        at_rest: Callable[[], bool],
        buttons: Sequence[str] = (),
        cautions: Sequence[Caution] | None = None,
    ) -> None:
        """begun: the request that began it, with validated options. buttons: the
        instruments that send only at their own button. cautions: those that are asked;
        all of the check where None."""
        check = find(begun.check)
        self.id, self.check, self.gear = run_id, check, gear
        self.options: dict[str, OptionValue] = dict(begun.options)
        self.steps: tuple[Step, ...] = tuple(
            msgspec.structs.replace(step, repeat=begun.sweeps or step.repeat)
            if step.gather == "sweep"
            else step
            for step in check.plan(self.options, gear)
        )
        self.cautions = tuple(check.cautions if cautions is None else cautions)
        self.facts = ProcedureState(
            acknowledged=not self.cautions,
            lean_wanted=begun.lean,
            tap_wanted=begun.tap,
            marks=marks,
            buttons=tuple(buttons),
        )
        hold = given_text(self.options, "hold")
        self.report = Reporter(run_id, journal, tell)
        self.passes = AcceptedPasses(self.steps, self.facts, hold, self.report)
        self.extensions = 0  # how often it was extended
        # by set-up, the last pass that was refused: no line fits it
        self.not_straight: dict[str, Trace] = {}
        self._presses_waiting = 0  # presses that wait until something asks for one
        self.tests = SetUpTests(self.facts, self.report)
        by_caliper = any(step.gather == "width" for step in self.steps)
        instrument = gear.caliper if by_caliper else gear.indicator
        self.numbers = NumberTaking(self.facts, instrument.resolution)
        self.liveness = LivenessMonitor()
        common = self.facts, self.passes, self.liveness, self.report
        self.taking = PassTaking(*common, at_rest)
        self.troubles = TroubleWatch(*common)
        # what stays the same for the whole check, as the fields of a message
        self._about: dict[str, Any] = {
            "check": check.kind,
            "jig": gear.jig.name if gear.jig else None,
            "saw": gear.saw.name if gear.saw else None,
            "question": check.question,
            "verifies": begun.verifies,
            "options": self.options,
        }
        self._intake = ReadingIntake(self)
        self.prompt = Prompt("done")  # as it was told last

    # ---- what is asked ---------------------------------------------------------------

    @property
    def ask(self) -> Prompt:
        return ask(self.cautions, self.steps, self.facts)

    def run_state(self) -> RunState:
        passes = list(self.passes.fitted)
        return RunState(id=self.id, passes=passes, ask=self.ask, **self._about)

    def prompt_changed(self, *, joined: bool = False) -> PromptChanged:
        return PromptChanged(run=self.id, ask=self.ask, joined=joined, **self._about)

    @property
    def complete(self) -> bool:
        return self.facts.step >= len(self.steps)

    def evidence(self) -> Evidence:
        return Evidence(
            check=self.check.kind,
            traces=list(self.passes.traces),
            options=self.options,
            gear=self.gear,
            leans=list(self.tests.leans),
            taps=list(self.tests.taps),
            alive=list(self.liveness.alive),
            shown=sorted(self.liveness.shown),
        )

    def extend(self, sweeps: int, now: float) -> None:
        """Ask for so many pushes more in every set-up; the later look is a stricter
        one."""
        self.extended(sweeps)
        self._presses_waiting = (
            0  # what was pressed before the answer was not meant for this
        )
        self.report.event("extended", {"sweeps": sweeps})
        self.settle_down(now)

    def extended(self, sweeps: int) -> None:
        self.extensions += 1
        self.facts.extra += sweeps

    @property
    def may_stop_early(self) -> bool:
        return may_stop_early(self.check, self.steps, self.facts)

    def stop_early(self, now: float) -> None:
        """Do not ask for the last pass, since those so far settle the verdict. A
        movement that is under way ends first."""
        self.facts.settled_at = self.steps[-1].placement
        self.report.notify("sweep", status("settled-early"), "good")
        if not self.facts.moving:
            self.settle_down(now)

    def settle_down(self, now: float) -> None:
        """Bring facts and guidance in line, use presses that waited, and tell what has
        changed."""
        advance(self.steps, self.facts)
        while True:
            if self._rest_wanted:
                self.numbers.press(now)
            self._say(now)
            if not self._presses_waiting or not self._wants_press():
                return
            self._presses_waiting -= 1
            self._use_press(now)
            advance(self.steps, self.facts)

    def _say(self, now: float) -> None:
        before, self.prompt = self.prompt, self.ask
        self.taking.asked(before, self.prompt, now)
        if self.prompt != before:
            self.report.tell(self.prompt_changed())

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
            self._presses_waiting = min(MOST_WAITING_PRESSES, self._presses_waiting + 1)
        return waits

    def _wants_press(self) -> bool:
        return self.ask.enter and (not self.facts.waiting or self.numbers.automatic)

    def _use_press(self, now: float) -> None:
        current = self.ask
        self.facts.remark = None
        if current.phase == "cautions":
            self.facts.acknowledged = True
            names = [caution.name for caution in self.cautions]
            self.report.event("acknowledged", {"cautions": names})
        elif current.phase == "place":
            self.numbers.forget()
            self.place(current, now)
            if current.gather != "sweep" and not current.button:
                self.numbers.take_by_itself(now)
        elif current.phase in STANDING_STILL:
            self.numbers.press(now)

    def place(self, current: Prompt, now: float) -> None:
        """Note that the set-up that is asked for stands."""
        self.facts.placed, self.facts.rested = True, False
        self.tests.restart()
        self.taking.placed_at = now
        if current.gather == "sweep":
            self.liveness.restart(current.placement)
        self.report.event("placed", {"placement": current.placement})

    @property
    def _rest_wanted(self) -> bool:
        """The number before the tap is taken without being asked for: nothing is to be
        touched then."""
        facts = self.facts
        return not (facts.waiting or facts.tap_rest) and self.ask.phase == "tap"

    # ---- readings and time -----------------------------------------------------------

    def readings(self, times: list[float], values: list[float], now: float) -> None:
        """New indicator readings (growing as the plunger is pushed in)."""
        self._intake.readings(times, values, self.taking.placed_at, now)

    def doubts(self, found: Mapping[Any, Doubt], now: float) -> None:
        """Tell once each what the passes so far show against themselves; a pass in
        which the number stood still is taken again."""
        for remark, stood in self.troubles.new_doubts(found):
            if stood is not None:
                self.refuse_kept(stood, remark, now)
            self.troubles.tell(remark)
            self.settle_down(now)

    def rest(self, now: float) -> None:
        """Take in whether the sled rests: READY is told only after that, and no push
        begins before."""
        if self.taking.rest(self.ask, now):
            self.settle_down(now)

    def tick(self, now: float) -> None:
        self.rest(now)
        if self.troubles.tick(self.ask, now) or self._rest_wanted:
            self.settle_down(now)
        self._intake.button(now)

    # ---- movements -------------------------------------------------------------------

    def sweep_event(self, what: MovementEvent, now: float) -> None:
        if self.taking.event(what, lambda: self.ask, now):
            self.settle_down(now)

    def interrupt(self, remark: StatusMessage, now: float) -> None:
        """Store the pass as interrupted, since a cable is out or the daemon ends."""
        self.facts.marks_taken = 0
        self.passes.interrupt(remark)
        self.numbers.cancel()
        self.numbers.forget()
        self.facts.rested = False
        self._say(now)

    def undo(self, now: float) -> StatusMessage:
        """Take back the press that waits, else the last mark of an unfinished pass,
        else the last kept pass."""
        self._presses_waiting = 0
        self.numbers.cancel_return()  # what was taken before is meant
        if self.facts.waiting and self.ask.enter:
            self.numbers.cancel()
            remark = status("press-undone")
        elif self.facts.marks_taken:
            remark = self.taking.take_back_mark()
        elif (latest := self.passes.latest()) is None:
            return status("nothing-to-undo")
        else:
            self.passes.take_back(latest, status("undone-by-hand"))
            remark = status("pass-undone", placement=latest.placement)
        self.settle_down(now)
        return remark

    def refuse_kept(self, trace: Trace, remark: StatusMessage, now: float) -> None:
        """Take back an accepted pass that the arithmetic cannot use, since the stand
        was bumped or zero pressed."""
        self.passes.take_back(trace, remark, state="refused")
        self.facts.remark = remark
        advance(self.steps, self.facts)
        self.settle_down(now)

    # ---- after a restart -------------------------------------------------------------

    def resume(
        self,
        *,
        acknowledged: bool,
        traces: list[Trace],
        leans: list[LeanTest],
        taps: list[TapTest],
        alive: list[str],
        now: float,
    ) -> None:
        """Take up a run from the log. What was placed is asked again: somebody may have
        moved it."""
        self.facts.acknowledged = acknowledged
        self.tests.leans, self.tests.taps = list(leans), list(taps)
        self.liveness.alive = list(alive)
        self.passes.resume(traces)
        self.facts.step = -1
        advance(self.steps, self.facts)
        self._say(now)

"""The check in progress: presses, sweeps and marks in; events for the log and messages
for clients out.

Holds no port and no socket. Everything that must survive the daemon's end is put in the
journal before it is told.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from bench.checks.model import Check, Evidence, EvidenceGear, Lean, Step, Tap, Trace
from bench.checks.options import OptionValue
from bench.finding import Doubt
from bench.procedure.journal import Journal
from bench.procedure.lean_test import lean_words, proved_side
from bench.procedure.liveness import Life
from bench.procedure.marks import Marks
from bench.procedure.passes import Kept
from bench.procedure.prompt import Ask, Facts, advance, ask
from bench.procedure.tap_test import not_back
from bench.protocol import Asking, Notice, RunState, SweepSaid
from bench.stream.rest_detector import BOUNCE, NotAtRest, RestDetector, Taken
from bench.stream.sweep_detector import Began, Broken, Ended, Sweep, SweepEvent

# s after the press before rest is believed: a hand that moves with it shows by then
SETTLE = 0.15
# phases answered by a reading that holds
STANDING_STILL = {"lean", "tap", "mark", "spot", "width"}
MOST_EARLY = 100  # presses that wait; more are somebody leaning on the pedal


class CheckProcedure:
    """One check from its cautions to its evidence. `changed` is called when what is
    asked may have changed."""

    def __init__(
        self,
        run_id: str,
        check: Check,
        options: Mapping[str, OptionValue],
        gear: EvidenceGear,
        *,
        sweeps: int,
        lean: bool,
        tap: bool = False,
        marks: tuple[float, ...],
        journal: Journal,
        tell: Callable[[msgspec.Struct], None],
        at_rest: Callable[[], bool],
        verifies: str | None = None,
    ) -> None:
        self.id = run_id
        self.check = check
        self.options = dict(options)
        self.gear = gear
        self.steps: tuple[Step, ...] = tuple(
            msgspec.structs.replace(s, repeat=sweeps) if s.gather == "sweep" else s
            for s in check.plan(self.options, gear)
        )
        self.facts = Facts(lean_wanted=lean, tap_wanted=tap, marks=marks)
        hold = self.options.get("hold")
        self.kept = Kept(
            run_id, self.steps, self.facts, str(hold) if hold else None, journal, tell
        )
        self.leans: list[Lean] = []
        self.taps: list[Tap] = []
        self.ready_since: float | None = None
        self._placed_at = 0.0
        self._journal = journal
        self.verifies = verifies
        self.looks = 0  # how often it was extended
        self._tell = tell
        self._at_rest = at_rest
        self._early = 0
        self._lean_left: float | None = None
        self._at_rest_value: Taken | None = None  # before the tap
        self._marks = Marks(self.facts, self.kept, self._event, tell)
        by_caliper = any(step.gather == "width" for step in self.steps)
        self.rest_detector = RestDetector(
            (gear.caliper if by_caliper else gear.indicator).resolution
        )
        self._pressed_for_number = -BOUNCE  # when a number was last pressed for
        self.life = Life()
        self._said: Ask | None = None
        self.doubted: dict[Any, Doubt] = {}  # by what makes one the same as another

    # ---- what is asked ---------------------------------------------------------------

    @property
    def ask(self) -> Ask:
        return ask(self.check.cautions, self.steps, self.facts)

    @property
    def step(self) -> Step | None:
        """The present one; None when nothing is lacking any more."""
        return self.kept.step

    @property
    def sweep_id(self) -> str | None:
        """The sweep being recorded."""
        return self.kept.sweep_id

    def state(self) -> RunState:
        return RunState(
            id=self.id,
            check=self.check.kind,
            jig=self.gear.jig.name if self.gear.jig else None,
            saw=self.gear.saw.name if self.gear.saw else None,
            ask=self.ask,
            question=self.check.question,
            verifies=self.verifies,
            passes=list(self.kept.passes),
        )

    def asking(self, *, joined: bool = False, ref: int | None = None) -> Asking:
        gear = self.gear
        return Asking(
            run=self.id,
            check=self.check.kind,
            jig=gear.jig.name if gear.jig else None,
            ask=self.ask,
            joined=joined,
            ref=ref,
            saw=gear.saw.name if gear.saw else None,
            question=self.check.question,
            verifies=self.verifies,
        )

    @property
    def complete(self) -> bool:
        return self.facts.step >= len(self.steps)

    def evidence(self) -> Evidence:
        return Evidence(
            check=self.check.kind,
            traces=list(self.kept.traces),
            options=self.options,
            gear=self.gear,
            leans=list(self.leans),
            taps=list(self.taps),
            alive=list(self.life.alive),
            shown=sorted(self.life.shown),
        )

    def extend(self, sweeps: int, now: float) -> None:
        """So many pushes more in every set-up; the later look is a stricter one."""
        self.extended(sweeps)
        self._early = 0  # what was pressed before the answer was not meant for this
        self.facts.worked_out = False
        self._event("extended", {"sweeps": sweeps})
        self.settle_down(now)

    def extended(self, sweeps: int) -> None:
        self.looks += 1
        self.facts.extra += sweeps

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
        current = self.ask
        if current == self._said:
            return
        was_ready = (
            self._said is not None
            and self._said.ready
            and self._said.placement == current.placement
        )
        if current.ready and not was_ready:
            self.ready_since = now
        elif not current.ready:
            self.ready_since = None
        self._said = current
        self._tell(self.asking())

    # ---- presses ---------------------------------------------------------------------

    def press(self, now: float, *, waits: bool = True) -> bool:
        """Enter or the pedal. False when nothing asks for it and it should not wait.

        Whoever presses for a number twice within BOUNCE means one: the second press is
        dropped.
        """
        if self.ask.phase in STANDING_STILL:
            before, self._pressed_for_number = self._pressed_for_number, now
            if now - before < BOUNCE:
                return True
        if self._wants_press():
            self._use_press(now)
            self.settle_down(now)
            return True
        if waits:
            self._early = min(MOST_EARLY, self._early + 1)
        return waits

    def _wants_press(self) -> bool:
        return self.ask.enter and not self.facts.waiting

    def _use_press(self, now: float) -> None:
        current = self.ask
        self.facts.remark = None
        if current.phase == "cautions":
            self.facts.acknowledged = True
            self._event(
                "acknowledged", {"cautions": [c.name for c in self.check.cautions]}
            )
        elif current.phase == "place":
            self.facts.placed, self.facts.rested = True, False
            # whatever was proved of it before was proved of another set-up
            self.facts.leaned = [
                step for step in self.facts.leaned if step != self.facts.step
            ]
            self.facts.tapped = self.facts.tap_rest = False
            self._placed_at = now
            if current.gather == "sweep":
                self.life.anew(current.placement)
            self._event("placed", {"placement": current.placement})
        elif current.phase in STANDING_STILL:
            self.facts.waiting = True
            self.rest_detector.press(now)

    def _take_rest(self, now: float) -> None:
        """The number before the tap is taken without being asked for: nothing is to be
        touched then."""
        if (
            not self.facts.waiting
            and self.ask.phase == "tap"
            and not self.facts.tap_rest
        ):
            self.facts.waiting = True
            self.rest_detector.press(now)

    # ---- the indicator holding still -------------------------------------------------

    def readings(self, times: list[float], values: list[float], now: float) -> None:
        """New indicator readings (growing as the plunger is pushed in)."""
        # what the filter passed on late was shown before the set-up stood
        self._watch(
            [v for t, v in zip(times, values, strict=True) if t > self._placed_at], now
        )
        answer = self.rest_detector.readings(times, values)
        if isinstance(answer, Taken):
            self._took(answer, now)
        elif isinstance(answer, NotAtRest):
            seen = f"The reading does not hold still: {answer.words()}."
            self._tell(
                Notice("indicator", f"{seen} Hands off the sled; is the stand firm?")
            )

    def _watch(self, values: list[float], now: float) -> None:
        if not values:
            return
        current, count = self.ask, self.rest_detector.count
        if current.phase == "sweep":
            self.life.waits(values, now, count, moving=current.moving)
        there = self.facts.placed or current.gather != "sweep"
        if there and self.life.see(values, self.kept.placement, count):
            self._event("alive", {"placement": self.kept.placement})
            if (
                self.doubted.pop(("frozen", self.kept.placement, None), None)
                is not None
            ):
                self.say_trouble("The number moves: good.", now, remark=False)

    def say_trouble(self, words: str, now: float, *, remark: bool = True) -> None:
        """Told at once, and kept beside what is asked until the next pass begins."""
        self.facts.remark = words if remark else None
        self._tell(Notice("doubt", words))
        self.settle_down(now)

    def doubts(
        self, found: Mapping[Any, Doubt], say: Callable[[Doubt], str], now: float
    ) -> None:
        """What the passes so far show against themselves: each is said once; a pass
        that stood still is taken again."""
        fresh = [
            (key, doubt) for key, doubt in found.items() if key not in self.doubted
        ]
        self.doubted = dict(found)
        for _, doubt in fresh:
            words = say(doubt)
            trace = next((t for t in self.kept.traces if t.sweep == doubt.sweep), None)
            if doubt.code == "stood" and trace is not None:
                self.life.anew(trace.placement)
                self.refuse_kept(trace, words, now)
            self.say_trouble(words, now)

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
        facts = self.facts
        words = self.life.trouble(now, ready=facts.rested, moving=facts.moving)
        if words is not None and self.ask.phase == "sweep":
            self.say_trouble(words, now)
        if (
            self.ask.phase == "tap"
            and not self.facts.tap_rest
            and not self.facts.waiting
        ):
            self.settle_down(now)
        if self.ask.phase in STANDING_STILL:
            taken = self.rest_detector.button(now)
            if taken is not None:
                self._took(taken, now)

    def _took(self, taken: Taken, now: float) -> None:
        current = self.ask
        self.facts.waiting = False
        if current.phase == "lean":
            self._leaned(current, taken)
        elif current.phase == "tap":
            self._tapped(current, taken)
        elif current.phase == "mark":
            self._marks.take(current, taken)
        elif current.phase in {"spot", "width"}:
            self._spotted(current, taken)
        self.settle_down(now)

    def _spotted(self, current: Ask, taken: Taken) -> None:
        at = current.at if current.at is not None else 0.0
        self.kept.keep(Sweep(taken.at, taken.at, True, [at], [taken.value], [taken.at]))
        self.life.anew()

    def _tapped(self, current: Ask, taken: Taken) -> None:
        before = self._at_rest_value
        if not self.facts.tap_rest or before is None:
            self._at_rest_value, self.facts.tap_rest = taken, True
            return
        off = not_back(before, taken, self.rest_detector.count)
        self.facts.tapped, self.facts.tap_rest = off is None, False
        self.taps.append(
            Tap(current.placement or "", before.value, taken.value, off is None)
        )
        self._event("tap", msgspec.to_builtins(self.taps[-1]))
        if off is None:
            self._tell(Notice("tap", "Tapped: the number came back, the stand holds."))
            return
        self.facts.remark = (
            f"Tapped, and the number did not come back: it stands {abs(off):.3f} mm"
            " off. Is the magnet on, the foot clean, every screw of the stand tight?"
            " Mend it, then hands off: it is asked again."
        )
        self._tell(Notice("tap", self.facts.remark))

    def _leaned(self, current: Ask, taken: Taken) -> None:
        assert current.placement is not None
        if current.lean == "left":
            self._lean_left = taken.value
            self.facts.lean_next = "right"
            return
        left = self._lean_left if self._lean_left is not None else taken.value
        self.facts.lean_next = None
        lean = Lean(current.placement, left, taken.value)
        self._event(
            "lean",
            {"placement": lean.placement, "left": lean.left, "right": lean.right},
        )
        step = self.steps[self.facts.step]
        seen = proved_side(lean, step, self.rest_detector.count)
        words = lean_words(lean, step, seen)
        if seen in (None, step.side):  # the latest of a set-up is the one that stands
            self.leans = [
                *(other for other in self.leans if other.placement != lean.placement),
                lean,
            ]
            self.facts.leaned = [*self.facts.leaned, self.facts.step]
        else:
            # the one slip no arithmetic can see: both set-ups would agree on nonsense
            self.facts.placed = False
            self.facts.remark = words
        self._tell(Notice("lean", words))

    # ---- sweeps ----------------------------------------------------------------------

    def happening(self, what: SweepEvent, now: float) -> None:
        if self.ask.phase != "sweep":
            return
        if self.ready_since is None or what.began < self.ready_since:
            # drawing back while it is being set up is no news; a push that was too
            # quick is
            if (
                isinstance(what, Ended)
                and what.sweeps
                and what.began >= self._placed_at
            ):
                self.life.end(passed=True)
                self._tell(
                    Notice("sweep", "That movement began too early: it does not count.")
                )
            return
        if isinstance(what, Began):
            placement = self.ask.placement
            assert placement is not None
            self.facts.moving = True
            self.life.begin(now)
            self.facts.remark = None
            sweep, kept = self.kept.begin(), self.kept
            self._tell(
                SweepSaid(
                    sweep, placement, "running", taken=kept.taken, wanted=kept.wanted
                )
            )
        elif isinstance(what, Broken):
            self.facts.moving = self.facts.rested = False
            self.life.end(passed=True)
            self.kept.refuse(what.words, push=what.push)
        else:
            self.facts.moving = False
            self.life.end(passed=bool(what.sweeps))
            if not what.sweeps:
                self.kept.drop("too short for a pass")
            for sweep_ in what.sweeps:
                if self.ask.phase == "sweep":
                    self.kept.judge(sweep_)
        self.settle_down(now)

    def interrupt(self, words: str, now: float) -> None:
        """The cable was pulled or the daemon ends: what was being recorded is stored as
        interrupted."""
        self.facts.marks_taken = 0
        self.kept.interrupt(words)
        self.rest_detector.cancel()
        self.facts.waiting = self.facts.rested = False
        self._say(now)

    def undo(self, now: float) -> str:
        """Take back the press that waits, else the last mark of an unfinished pass,
        else the last kept pass."""
        self._early = 0
        if self.facts.waiting and self.ask.enter:
            self.rest_detector.cancel()
            self.facts.waiting = False
            words = "The press is taken back: no number was taken."
        elif self.facts.marks_taken:
            words = self._marks.take_back()
        elif (latest := self.kept.latest()) is None:
            return "There is nothing to take back."
        else:
            self.kept.take_back(latest, "Taken back by hand.")
            words = f"The last pass at {latest.placement} is taken back."
        self.settle_down(now)
        return words

    def refuse_kept(self, trace: Trace, words: str, now: float) -> None:
        """The arithmetic has looked at a kept pass and cannot use it (the stand was
        bumped, zero pressed)."""
        self.kept.take_back(trace, words, state="refused")
        self.facts.remark = words
        advance(self.steps, self.facts)
        self.settle_down(now)

    # ---- inside ----------------------------------------------------------------------

    def _event(self, kind: str, data: Mapping[str, Any]) -> None:
        self._journal.event(self.id, kind, data)

    # ---- after a restart -------------------------------------------------------------

    def resume(
        self, *, acknowledged: bool, traces: list[Trace], leans: list[Lean], taps: list[Tap], now: float,
        alive: list[str],
    ) -> None:  # fmt: skip
        """Take up a run from the log. What was placed is asked again: somebody may have
        moved it."""
        self.facts.acknowledged = acknowledged
        self.leans, self.taps = list(leans), list(taps)
        self.life.alive = list(alive)
        self.kept.resume(traces)
        self.facts.step = -1
        advance(self.steps, self.facts)
        self._say(now)

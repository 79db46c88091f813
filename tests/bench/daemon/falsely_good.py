"""A whole check on a clock of its own: two streams through filter, sweep detector and check, and what is said of them.

A sled is pushed and drawn back as by hand. What an instrument then shows is worked out from turned bodies (the edge
of a sled pushed by s is a turned line, met by the plunger's axis) and spoiled as the test says.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from typing import Any

from bench.checks import find
from bench.checks.model import EvidenceGear, Trace
from bench.checks.shared.doubts import doubts_by_subject, evidence_doubts
from bench.daemon.evaluation_worker import fit_pass
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig, Saw
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.conclusion import conclude
from bench.procedure.status_message import StatusMessage
from bench.protocol import Begin, Notice, PassNotice
from bench.render.notices import with_words
from bench.stream.outlier_filter import OutlierFilter
from bench.stream.sweep_detector import SweepDetector

PUSH, REST = 8.0, 1.6  # s
LENGTH = 250.0  # mm
CYCLE = 2 * (PUSH + REST)
SET_UP = 3.0  # s, the hands still busy with it; the plunger is let down within
JIG = Jig("sled", pivot_to_blade=250.0, pivot_to_screw=500.0, widest_board=600.0)
SAW = Saw("saw")

Show = Callable[["Job", float, float], float]


def place(t: float) -> float:
    """mm of travel t s after "placed": three times pushed and drawn back, begun after a rest."""
    t = (t - REST) % CYCLE if t > REST else 0.0
    share = min(1.0, t / PUSH) if t < PUSH + REST else max(0.0, 1 - (t - PUSH - REST) / PUSH)
    return LENGTH * share * share * (3 - 2 * share)


@dataclass
class Job:
    """One check, swept. show: what the indicator and the travel show, by (job, t since placed, true value), mm."""

    kind: str = "fence-square"
    rate: float = 50.0
    rotation: float = 4e-4
    count: float = 0.001
    declared: float | None = 0.001
    seed: int = 1
    indicator: Show = lambda job, t, value: value
    travel: Show = lambda job, t, value: value
    options: dict[str, Any] = field(default_factory=dict)
    said: list[tuple[int, float, str]] = field(default_factory=list)  # step, s since placed, words
    step: int = -1
    t: float = 0.0

    def work(self) -> Finding | None:
        """The finding; None where the check could not be carried to its end. Every word is in `said`."""
        self.chance = random.Random(self.seed)
        gear = EvidenceGear(indicator=Indicator(resolution=self.declared), jig=JIG, saw=SAW)
        self.detector, self.clock = SweepDetector(), 100.0
        self.looked = 0
        self.run = CheckProcedure(
            "run", Begin(self.kind, sweeps=3, options=self.options), gear,
            marks=(), journal=self, tell=self._hear,
            at_rest=lambda: self.detector.at_rest,
        )  # fmt: skip
        self.gates = {"indicator": OutlierFilter(self.declared or 0.0), "travel": OutlierFilter(0.0)}
        self.run.press(self.clock)
        while self.run.ask.phase == "place":
            before, self.step = self.step, self.run.facts.step
            if self.step == before:
                return None
            self._set_up()
        if not self.run.complete:
            return None
        try:
            return conclude(self.run.evidence(), id="x", at="2026-01-01T00:00:00+00:00")
        except EvidenceError:
            return None

    # ---- hands ------------------------------------------------------------------------------------

    def _set_up(self) -> None:
        self.level = 2.5 + self.chance.uniform(-0.3, 0.3)
        self.seat = 0.0
        for t in self._moments(-SET_UP, 0.0):
            self._feed(t, 0.0)
        self.run.press(self.clock)
        placement, cycle = self.run.passes.placement, 0
        for t in self._moments(0.0, REST + 5 * CYCLE):
            if (now := int((t - REST) // CYCLE)) != cycle:
                cycle, self.seat = now, self.chance.gauss(0, 0.003)
            self._feed(t, place(t))
            if self.run.passes.placement != placement:
                return

    def _moments(self, begin: float, end: float) -> Iterator[float]:
        n, base = round((end - begin) * self.rate), self.clock - begin
        for k in range(n):
            t = begin + (k + 0.5) / self.rate
            self.clock = base + t
            yield t
        self.clock = base + end

    def true(self, t: float, s: float) -> float:
        """Depth of the plunger, mm; while it is set up it is let down by hand."""
        step = self.run.passes.step
        side = -1.0 if step is not None and step.side == "left" else 1.0
        turn = -1.0 if step is not None and step.mount == "carried" else 1.0
        x = math.tan(self.rotation) * s * side * turn
        lifted = max(0.0, -1.0 - t)
        return self.level + self.seat + x - lifted + self.chance.gauss(0, 0.0004)

    def shown(self, value: float, count: float) -> float:
        return round(round(value / count) * count, 7)

    def _feed(self, t: float, s: float) -> None:
        run, now, self.t = self.run, self.clock, t
        travel = self.travel(self, t, self.shown(s + self.chance.gauss(0, 0.003), 0.01))
        passed = self.gates["travel"].pass_on([now - 0.3 / self.rate], [travel], [None])
        for what in self.detector.travel(passed.stamps, passed.values):
            run.sweep_event(what, now)
        reading = self.indicator(self, t, self.true(t, s))
        passed = self.gates["indicator"].pass_on([now], [self.shown(reading, self.count)], [None])
        if passed.stamps:
            for what in self.detector.indicator(passed.stamps, passed.values):
                run.sweep_event(what, now)
            run.readings(passed.stamps, passed.values, now)
        for what in self.detector.tick(now):
            run.sweep_event(what, now)
        run.tick(now)
        self._look(now)

    # ---- what the daemon does with a kept pass ------------------------------------------------------

    def _look(self, now: float) -> None:
        for trace, straight in self.waiting:
            if trace not in self.run.passes.traces:
                continue
            if straight and (why := fit_pass(trace, self.declared, "mm").words):
                self.run.refuse_kept(trace, StatusMessage("pass-not-straight", {"why": why}), now)
                continue
            evidence = self.run.evidence()
            self.run.doubts(doubts_by_subject(evidence_doubts(evidence, find(self.kind))), now)
        self.waiting = []

    waiting: list[tuple[Trace, bool]] = field(default_factory=list)

    def pass_accepted(self, trace: Trace, *, straight: bool) -> None:
        self.waiting.append((trace, straight))

    def event(self, *some: Any) -> None: ...

    start_sweep = end_sweep = undo_sweep = lambda self, *some, **more: None

    def _hear(self, message: Any) -> None:
        refused = isinstance(message, PassNotice) and message.state == "refused"
        if refused or isinstance(message, Notice):
            self.said.append((self.step, self.t, with_words(message, "mm").words))


@dataclass
class Stops(Job):
    """A check read at a stop: marks, spots, widths. shows: mm, by (job, placement, how many were taken there, whether
    it is held still). Between readings the plunger is lifted, the jaws are opened."""

    shows: Callable[[Job, str, int, bool], float] = lambda job, placement, taken, still: 2.0
    marks: tuple[float, ...] = ()

    def work(self) -> Finding | None:
        self.chance = random.Random(self.seed)
        gear = EvidenceGear(indicator=Indicator(resolution=self.declared), jig=JIG, saw=SAW)
        self.clock = 100.0
        run = self.run = CheckProcedure(
            "run", Begin(self.kind, sweeps=3, options=self.options), gear,
            marks=self.marks, journal=self, tell=self._hear, at_rest=lambda: True,
        )  # fmt: skip
        run.press(self.clock)
        for _ in range(300):
            if run.complete:
                return conclude(run.evidence(), id="x", at="2026-01-01T00:00:00+00:00")
            ask = run.ask
            self.step = run.facts.step
            for still in (False, True) if ask.phase != "place" else (False,):
                if still:
                    run.press(self.clock)
                for _ in range(60 if still else 14):
                    if still and not run.facts.waiting:
                        break
                    self.clock += 0.05
                    taken = ask.taken if ask.mark is None else 100 * ask.taken + ask.mark
                    value = self.shows(self, ask.placement or "", taken, still)
                    run.readings([self.clock], [self.shown(value, self.count)], self.clock)
            if ask.phase == "place":
                run.press(self.clock)
            self._look(self.clock)
        return None

"""The passes of the check in progress: the one being recorded, those accepted, those
refused or taken back.

Holds no port and no socket.
"""

from __future__ import annotations

import uuid
from itertools import islice
from statistics import StatisticsError, linear_regression
from typing import Any, Literal

from bench.checks.model import Step, Trace
from bench.checks.shared.plausibility import SHARE_OF_LONGEST, incomplete_passes
from bench.procedure.journal import Reporter, SweepEnd
from bench.procedure.prompt import ProcedureState, wanted
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import FittedPass, PassNotice
from bench.stream.sweep_detector import Sweep

LEAST_PASS_READINGS = 8  # as of a recorded sweep
PassState = Literal["running", "kept", "refused", "undone", "back"]


class AcceptedPasses:
    """Counts the accepted passes in `facts`, writes them down in the journal, and tells
    them."""

    def __init__(
        self,
        steps: tuple[Step, ...],
        facts: ProcedureState,
        hold: str | None,
        report: Reporter,
    ) -> None:
        self.traces: list[Trace] = []
        self.fitted: list[FittedPass] = []
        self.sweep_id: str | None = None  # the sweep being recorded
        # the return of a refused push is still to come, and belongs to no pass
        self._draw_back = False
        self._steps, self._facts, self._hold = steps, facts, hold
        self._report, self._journal = report, report.journal

    # ---- where it stands -------------------------------------------------------------

    @property
    def step(self) -> Step | None:
        """The present one; None when nothing is lacking any more."""
        return (
            self._steps[self._facts.step]
            if self._facts.step < len(self._steps)
            else None
        )

    @property
    def placement(self) -> str:
        return self.step.placement if self.step is not None else ""

    @property
    def wanted(self) -> int:
        return wanted(self.step, self._facts) if self.step is not None else 0

    # ---- one pass --------------------------------------------------------------------

    def begin(self) -> str:
        if self.sweep_id is None:
            self.sweep_id = uuid.uuid4().hex[:12]
            self._journal.start_sweep(
                self._report.run_id, self.sweep_id, self.placement, self._hold
            )
        return self.sweep_id

    def start(self) -> None:
        """Begin, and tell it."""
        self._say(self.begin(), "running")

    def _say(
        self, sweep_id: str, state: PassState, *remarks: StatusMessage, **more: Any
    ) -> None:
        self._report.tell(
            PassNotice(
                *(sweep_id, more.pop("placement", self.placement), state),
                taken=self._facts.taken,
                wanted=self.wanted,
                remarks=list(remarks),
                **more,
            )
        )

    def _end(
        self,
        state: SweepEnd,
        reason: StatusMessage | None,
        push: bool | None = None,
        trace: Trace | None = None,
    ) -> str:
        """End the sweep being recorded, begun now where there is none; returns its
        name."""
        sweep_id, self.sweep_id = self.begin(), None
        self._journal.end_sweep(sweep_id, state, push=push, trace=trace, reason=reason)
        return sweep_id

    def judge(self, sweep: Sweep) -> None:
        """Accept a movement that came to its end as a pass, or tell why it is none."""
        longest = max(
            (abs(t.travel[-1] - t.travel[0]) for t in self.traces if t.push),
            default=0.0,
        )
        if len(sweep.reading) < LEAST_PASS_READINGS:
            few = status("too-few-readings", readings=len(sweep.reading))
            self.refuse(few, push=sweep.push)
        elif sweep.length < SHARE_OF_LONGEST * longest:
            if sweep.push:
                why = status("not-whole", length=sweep.length, longest=longest)
                self.refuse(why, push=True)
            else:
                self.drop(status("short-return"))
        elif sweep.push and (other := self._elsewhere(sweep.travel)) is not None:
            self.refuse(other, push=True)
        elif self._draw_back and not sweep.push:
            self._drawn_back(sweep)
        else:
            if sweep.push and self.traces:
                self._drop_shorter(sweep.length)
            self.accept(sweep)

    def _elsewhere(self, travel: list[float]) -> StatusMessage | None:
        """Why a push over another stretch than an earlier one cannot be used with it.
        Between set-ups the travel may be zeroed, but not along a straightedge."""
        along = self.step is not None and self.step.pushed == "indicator"
        pushes = [trace for trace in self.traces if trace.push]
        here = [t for t in pushes if along or t.placement == self.placement]
        new = Trace(self.placement, travel, [])
        why = incomplete_passes([*here, new], face=along, latest=new).get(id(new))
        return status("pass-elsewhere", **why.values) if why else None

    def _drop_shorter(self, length: float) -> None:
        """A first, short pass was taken for whole until a longer one showed what whole
        is."""
        for trace in [t for t in self.traces if t.push]:
            reach = abs(trace.travel[-1] - trace.travel[0])
            if reach < SHARE_OF_LONGEST * length:
                why = status("shown-not-whole", length=reach, longest=length)
                self.take_back(trace, why)

    def _drawn_back(self, sweep: Sweep) -> None:
        """Take in the return of a refused push. Alone, it would say that the travel
        counts the other way round."""
        self._draw_back = False
        sweep_id = self._end("refused", status("return-of-refused"), False)
        self._say(
            sweep_id,
            "back",
            status("returned"),
            push=False,
            readings=len(sweep.reading),
            length=sweep.length,
        )

    def accept(self, sweep: Sweep) -> None:
        self._draw_back = False
        step, sweep_id = self.step, self.begin()
        assert step is not None
        trace = Trace(
            placement=step.placement,
            travel=sweep.travel,
            reading=sweep.reading,
            push=sweep.push,
            sweep=sweep_id,
            hold=self._hold,
            at=sweep.at,
        )
        self.traces.append(trace)
        if sweep.push:
            self._facts.accepted[self._facts.step] += 1
        # a profile along a fence is no line, nor is a plate's own form
        straight = step.gather == "sweep" and step.straight and step.mount is not None
        self._journal.pass_accepted(trace, straight=straight)
        self._end("whole", None, sweep.push, trace)
        self._say(
            sweep_id,
            "kept" if sweep.push else "back",
            self._outcome(sweep),
            push=sweep.push,
            readings=len(sweep.reading),
            slope=plain_slope(sweep.travel, sweep.reading),
            length=sweep.length,
        )

    def _outcome(self, sweep: Sweep) -> StatusMessage:
        if sweep.push:
            count = {"taken": self._facts.taken, "wanted": self.wanted}
            if self.step is None or self.step.gather == "sweep":
                return status("pass-kept", **count)
            code = "number-kept-of" if self.wanted > 1 else "number-kept"
            return status(code, value=sweep.reading[0], **count)
        here = self.placement
        if any(trace.push and trace.placement == here for trace in self.traces):
            return status("returned")
        right = self.step is not None and self.step.runs == "right"
        return status("returned-first-right" if right else "returned-first")

    def refuse(self, reason: StatusMessage, *, push: bool | None = None) -> None:
        """Refuse the pass, and tell the person why. push: whether it was one, where
        that is known."""
        self._draw_back = self._draw_back or bool(push)
        self._say(self._end("refused", reason), "refused", reason)
        self._facts.remark = reason

    def drop(self, reason: StatusMessage) -> None:
        """Store a movement as refused without telling it: it was handling of the sled,
        no pass."""
        if self.sweep_id is not None:
            self._end("refused", reason)

    def interrupt(self, reason: StatusMessage) -> None:
        """Store the sweep being recorded as interrupted."""
        if self.sweep_id is not None:
            self._facts.moving = False
            self._say(self._end("interrupted", reason), "refused", reason)
            self._facts.remark = reason

    # ---- second thoughts -------------------------------------------------------------

    def latest(self) -> Trace | None:
        """The pass that is taken back by hand; a draw back by which a set-up began is
        one, too."""
        pushes = [t for t in self.traces if t.push]
        here = [t for t in self.traces if t.placement == self.placement]
        if here and not any(t.push for t in here):
            return here[-1]
        return pushes[-1] if pushes else None

    def take_back(
        self,
        trace: Trace,
        reason: StatusMessage,
        state: Literal["undone", "refused"] = "undone",
    ) -> None:
        """Take a pass back. A push takes its return with it, where that was made
        already: it closes nothing any more."""
        after = next(iter(self.traces[self.traces.index(trace) + 1 :]), None)
        self._remove(trace, reason, state, [reason])
        if not trace.push:
            return
        if after is None:
            self._draw_back = trace.placement == self.placement
        elif not after.push and after.placement == trace.placement:
            self._remove(after, status("return-of-undone"), "undone", [])

    def _remove(
        self,
        trace: Trace,
        reason: StatusMessage,
        state: Literal["undone", "refused"],
        remarks: list[StatusMessage],
    ) -> None:
        self.traces.remove(trace)
        self.fitted = [p for p in self.fitted if p.sweep != trace.sweep]
        accepted = self._facts.accepted
        # a spot that is visited several times is taken back from its latest visit
        for index in [i for i in self._steps_of(trace) if accepted[i]][-1:]:
            accepted[index] -= 1
        self._journal.undo_sweep(trace.sweep, reason)
        self._say(
            trace.sweep, state, *remarks, push=trace.push, placement=trace.placement
        )

    def _steps_of(self, trace: Trace) -> list[int]:
        """The steps that a push may be of, by index; none of what was drawn back."""
        return [
            index
            for index, step in enumerate(self._steps)
            if trace.push
            and step.placement == trace.placement
            and step.at in (None, trace.travel[0])
        ]

    def resume(self, traces: list[Trace]) -> None:
        """Take up and count the passes that the log kept."""
        self.traces = list(traces)
        accepted = self._facts.accepted = [0] * len(self._steps)
        for trace in traces:
            lacks = (
                index
                for index in self._steps_of(trace)
                if accepted[index] < wanted(self._steps[index], self._facts)
            )
            for index in islice(lacks, 1):
                accepted[index] += 1


def plain_slope(travel: list[float], reading: list[float]) -> float | None:
    """Least squares without weights: the slope while the sled is still moving."""
    try:
        return linear_regression(travel, reading).slope
    except StatisticsError:  # fewer than two places
        return None

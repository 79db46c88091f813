"""The passes of the check in progress: the one being recorded, those kept, those
refused or taken back.

Holds no port and no socket.
"""

from __future__ import annotations

import uuid
from collections.abc import Callable
from itertools import islice
from statistics import StatisticsError, linear_regression
from typing import Any, Literal

import msgspec

from bench.checks.model import Step, Trace
from bench.checks.shared.plausibility import SHARE_OF_LONGEST, incomplete_passes
from bench.procedure.journal import Journal
from bench.procedure.prompt import ProcedureState, wanted
from bench.procedure.status_message import StatusMessage
from bench.protocol import FittedPass, PassNotice
from bench.stream.sweep_detector import Sweep

LEAST_READINGS = 8
PassState = Literal["running", "kept", "refused", "undone", "back"]


class AcceptedPasses:
    """Counts what is kept in `facts`, writes it down in the journal, and tells it."""

    def __init__(
        self,
        run_id: str,
        steps: tuple[Step, ...],
        facts: ProcedureState,
        hold: str | None,
        journal: Journal,
        tell: Callable[[msgspec.Struct], None],
    ) -> None:
        self.traces: list[Trace] = []
        self.passes: list[FittedPass] = []
        self.sweep_id: str | None = None  # the sweep being recorded
        # that of a push which was not kept is still to come: it belongs to no pass
        self._draw_back = False
        self._run_id = run_id
        self._steps = steps
        self._facts = facts
        self._hold = hold
        self._journal = journal
        self._tell = tell

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
    def taken(self) -> int:
        return self._facts.taken

    @property
    def wanted(self) -> int:
        return wanted(self.step, self._facts) if self.step is not None else 0

    # ---- one pass --------------------------------------------------------------------

    def begin(self) -> str:
        if self.sweep_id is None:
            self.sweep_id = uuid.uuid4().hex[:12]
            self._journal.start_sweep(
                self._run_id, self.sweep_id, self.placement, None, self._hold
            )
        return self.sweep_id

    def start(self) -> None:
        """Begin, and tell it."""
        self._say(self.begin(), "running")

    def _say(
        self, sweep_id: str, state: PassState, *remarks: StatusMessage, **more: Any
    ) -> None:
        self._tell(
            PassNotice(
                *(sweep_id, more.pop("placement", self.placement), state),
                taken=self.taken,
                wanted=self.wanted,
                remarks=list(remarks),
                **more,
            )
        )

    def _end(
        self,
        state: str,
        reason: StatusMessage | None,
        push: bool | None = None,
        trace: Trace | None = None,
    ) -> str:
        """Of the sweep being recorded, begun now where none is; its name."""
        sweep_id, self.sweep_id = self.begin(), None
        self._journal.end_sweep(sweep_id, state, push=push, trace=trace, reason=reason)
        return sweep_id

    def judge(self, sweep: Sweep) -> None:
        """A movement came to its end: keep it, or say why not."""
        longest = max(
            (abs(t.travel[-1] - t.travel[0]) for t in self.traces if t.push),
            default=0.0,
        )
        if len(sweep.reading) < LEAST_READINGS:
            self.refuse(
                StatusMessage("too-few-readings", {"readings": len(sweep.reading)}),
                push=sweep.push,
            )
        elif sweep.length < SHARE_OF_LONGEST * longest:
            if sweep.push:
                lengths = {"length": sweep.length, "longest": longest}
                self.refuse(StatusMessage("not-whole", lengths), push=True)
            else:
                self.drop(StatusMessage("short-return"))
        elif sweep.push and (other := self._elsewhere(sweep.travel)) is not None:
            self.refuse(other, push=True)
        elif self._draw_back and not sweep.push:
            self._drawn_back(sweep)
        else:
            if sweep.push and self.traces:
                self._drop_shorter(sweep.length)
            self.keep(sweep)

    def _elsewhere(self, travel: list[float]) -> StatusMessage | None:
        """Why a push over another stretch than an earlier one cannot be used with it.
        Between set-ups the travel may be zeroed, but not along a straightedge."""
        along = self.step is not None and self.step.pushed == "indicator"
        pushes = [trace for trace in self.traces if trace.push]
        here = [t for t in pushes if along or t.placement == self.placement]
        new = Trace(self.placement, travel, [])
        why = incomplete_passes([*here, new], face=along, latest=new).get(id(new))
        return StatusMessage("pass-elsewhere", dict(why.values)) if why else None

    def _drop_shorter(self, length: float) -> None:
        """A first, short pass was taken for whole until a longer one showed what whole
        is."""
        for trace in [t for t in self.traces if t.push]:
            reach = abs(trace.travel[-1] - trace.travel[0])
            if reach < SHARE_OF_LONGEST * length:
                lengths = {"length": reach, "longest": length}
                self.take_back(trace, StatusMessage("shown-not-whole", lengths))

    def _drawn_back(self, sweep: Sweep) -> None:
        """Alone, it would say that the travel counts the other way round."""
        self._draw_back = False
        sweep_id = self._end("refused", StatusMessage("return-of-refused"), False)
        self._say(
            sweep_id,
            "back",
            StatusMessage("returned"),
            push=False,
            readings=len(sweep.reading),
            length=sweep.length,
        )

    def keep(self, sweep: Sweep) -> None:
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
            self._facts.kept[self._facts.step] += 1
        # a profile along a fence is no line, nor is a plate's own form
        straight = step.gather == "sweep" and step.straight and step.mount is not None
        self._journal.kept(trace, straight=straight)
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
            count = {"taken": self.taken, "wanted": self.wanted}
            if self.step is None or self.step.gather == "sweep":
                return StatusMessage("pass-kept", count)
            number = {"value": sweep.reading[0], **count}
            several = self.wanted > 1
            return StatusMessage("number-kept-of" if several else "number-kept", number)
        here = self.placement
        if any(trace.push and trace.placement == here for trace in self.traces):
            return StatusMessage("returned")
        right = self.step is not None and self.step.runs == "right"
        return StatusMessage("returned-first-right" if right else "returned-first")

    def refuse(self, reason: StatusMessage, *, push: bool | None = None) -> None:
        """Not kept, and the person is told why. push: whether it was one, where that is
        known."""
        self._draw_back = self._draw_back or bool(push)
        self._say(self._end("refused", reason), "refused", reason)
        self._facts.remark = reason

    def drop(self, reason: StatusMessage) -> None:
        """Handling of the sled, not a sweep: kept in the log as refused, not worth a
        word."""
        if self.sweep_id is not None:
            self._end("refused", reason)

    def interrupt(self, reason: StatusMessage) -> None:
        """What was being recorded is stored as interrupted."""
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
        """A push takes its draw back with it, where that was made already: it closes
        nothing any more."""
        after = next(iter(self.traces[self.traces.index(trace) + 1 :]), None)
        self._remove(trace, reason, state, [reason])
        if not trace.push:
            return
        if after is None:
            self._draw_back = trace.placement == self.placement
        elif not after.push and after.placement == trace.placement:
            self._remove(after, StatusMessage("return-of-undone"), "undone", [])

    def _remove(
        self,
        trace: Trace,
        reason: StatusMessage,
        state: Literal["undone", "refused"],
        remarks: list[StatusMessage],
    ) -> None:
        self.traces.remove(trace)
        self.passes = [p for p in self.passes if p.sweep != trace.sweep]
        kept = self._facts.kept
        # of a spot that is visited several times the latest visit gives it back
        for index in [i for i in self._steps_of(trace) if kept[i]][-1:]:
            kept[index] -= 1
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
        """Take up what the log kept, and count it."""
        self.traces = list(traces)
        kept = self._facts.kept = [0] * len(self._steps)
        for trace in traces:
            lacks = (
                index
                for index in self._steps_of(trace)
                if kept[index] < wanted(self._steps[index], self._facts)
            )
            for index in islice(lacks, 1):
                kept[index] += 1


def plain_slope(travel: list[float], reading: list[float]) -> float | None:
    """Least squares without weights: the slope while the sled is still moving."""
    try:
        return linear_regression(travel, reading).slope
    except StatisticsError:  # fewer than two places
        return None

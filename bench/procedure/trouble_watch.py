"""The trouble watch: what readings and passes show against themselves, told once.

Holds no port and no socket.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any

import msgspec

from bench.checks.model import Trace
from bench.finding import Doubt
from bench.procedure.liveness import LivenessMonitor
from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState, Prompt
from bench.procedure.status_message import Severity, StatusMessage


class TroubleWatch:
    """What is told stays beside the prompt until the next pass begins.

    Each method that may change the prompt says whether it did.
    """

    def __init__(
        self,
        facts: ProcedureState,
        kept: AcceptedPasses,
        life: LivenessMonitor,
        event: Callable[[str, Mapping[str, Any]], None],
        notify: Callable[[str, StatusMessage, Severity], None],
    ) -> None:
        self._facts = facts
        self._kept = kept
        self._life = life
        self._event = event
        self._notify = notify
        # by what makes one doubt the same as another
        self._doubts: dict[Any, Doubt] = {}

    def tell(self, remark: StatusMessage) -> None:
        self._facts.remark = remark
        self._notify("doubt", remark, "warning")

    def new_doubts(
        self, found: Mapping[Any, Doubt]
    ) -> list[tuple[StatusMessage, Trace | None]]:
        """What is said of those that were not there before, each with the pass in which
        the number stood still, where it is that; `found` are all there are now."""
        fresh = [doubt for key, doubt in found.items() if key not in self._doubts]
        self._doubts = dict(found)
        return [
            (StatusMessage("doubt", msgspec.to_builtins(doubt)), self._stood(doubt))
            for doubt in fresh
        ]

    def _stood(self, doubt: Doubt) -> Trace | None:
        traces = self._kept.traces if doubt.code == "stood" else []
        for trace in traces:
            if trace.sweep == doubt.sweep:
                self._life.anew(trace.placement)
                return trace
        return None

    def readings(
        self, values: Sequence[float], ask: Prompt, count: float, now: float
    ) -> bool:
        """New readings of the set-up, mm. count: the instrument's, mm."""
        if not values:
            return False
        if ask.phase == "sweep":
            self._life.waits(values, now, count, moving=ask.moving)
        placement = self._kept.placement
        there = self._facts.placed or ask.gather != "sweep"
        if not there or not self._life.see(values, placement, count):
            return False
        self._event("alive", {"placement": placement})
        if self._doubts.pop(("frozen", placement, None), None) is None:
            return False
        self._facts.remark = None
        self._notify("doubt", StatusMessage("number-moves"), "good")
        return True

    def tick(self, ask: Prompt, now: float) -> bool:
        """Whether the travel moves as well, while a pass is waited for."""
        facts = self._facts
        remark = self._life.trouble(now, ready=facts.rested, moving=facts.moving)
        if remark is None or ask.phase != "sweep":
            return False
        self.tell(remark)
        return True

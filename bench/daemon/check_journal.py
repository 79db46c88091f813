"""The journal of the check in progress: what it writes into the log."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from bench.checks.model import Trace
from bench.procedure.status_message import StatusMessage
from bench.protocol import Saved

if TYPE_CHECKING:
    from bench.daemon.check_controller import CheckController


class CheckJournal:
    """See bench.procedure.journal."""

    def __init__(self, check: CheckController) -> None:
        self.log, self._check = check.log, check

    def event(self, run_id: str, kind: str, data: Mapping[str, Any]) -> None:
        self.log.event(run_id, kind, data)
        if kind == "acknowledged":
            self._check.tell(Saved("event", run_id))

    def start_sweep(
        self,
        run_id: str,
        sweep_id: str,
        placement: str,
        seat: str | None,
        hold: str | None,
    ) -> None:
        wires = {
            i.name: {
                "format": i.settings.format,
                "profile": i.settings.profile,
                **i.settings.options,
            }
            for i in self._check.instruments
        }
        self.log.start_sweep(
            sweep_id, run_id, placement, seat=seat, hold=hold, wires=wires
        )

    def end_sweep(
        self,
        sweep_id: str,
        state: str,
        *,
        push: bool | None,
        trace: Trace | None,
        reason: StatusMessage | None,
    ) -> None:
        self.log.end_sweep(sweep_id, state, push=push, trace=trace, reason=reason)  # type: ignore[arg-type]

    def kept(self, trace: Trace, *, straight: bool) -> None:
        self._check.evaluation.look_at(trace, straight)

    def undo_sweep(self, sweep_id: str, reason: StatusMessage) -> None:
        self.log.undo_sweep(sweep_id, reason)

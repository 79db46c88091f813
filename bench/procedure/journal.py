"""What the check in progress asks of the log."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from bench.checks.model import Trace
from bench.procedure.status_message import StatusMessage


class Journal(Protocol):
    """What a run asks of the log; all return at once."""

    def event(self, run_id: str, kind: str, data: Mapping[str, Any]) -> None: ...
    def start_sweep(
        self,
        run_id: str,
        sweep_id: str,
        placement: str,
        seat: str | None,
        hold: str | None,
    ) -> None: ...
    def end_sweep(
        self,
        sweep_id: str,
        state: str,
        *,
        push: bool | None,
        trace: Trace | None,
        reason: StatusMessage | None,
    ) -> None: ...
    def undo_sweep(self, sweep_id: str, reason: StatusMessage) -> None: ...
    def pass_accepted(self, trace: Trace, *, straight: bool) -> None: ...

"""The interface through which a check procedure writes to the log and tells clients."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, Literal, Protocol

import msgspec

from bench.checks.model import Trace
from bench.procedure.status_message import Severity, StatusMessage
from bench.protocol import notice

SweepEnd = Literal["whole", "interrupted", "refused"]


class Journal(Protocol):
    """What a check procedure writes down; all methods return at once."""

    def event(self, run_id: str, kind: str, data: Mapping[str, Any]) -> None: ...
    def start_sweep(
        self, run_id: str, sweep_id: str, placement: str, hold: str | None
    ) -> None: ...
    def end_sweep(
        self,
        sweep_id: str,
        state: SweepEnd,
        /,
        *,
        push: bool | None,
        trace: Trace | None,
        reason: StatusMessage | None,
    ) -> object: ...
    def undo_sweep(self, sweep_id: str, reason: StatusMessage, /) -> object: ...
    def pass_accepted(self, trace: Trace, *, straight: bool) -> None: ...


class Reporter:
    """Writes the events of one check into its journal, and tells clients of them.

    tell: called with each message for clients.
    """

    def __init__(
        self, run_id: str, journal: Journal, tell: Callable[[msgspec.Struct], None]
    ) -> None:
        self.run_id, self.journal, self.tell = run_id, journal, tell

    def event(self, kind: str, data: Mapping[str, Any]) -> None:
        self.journal.event(self.run_id, kind, data)

    def notify(
        self, about: str, remark: StatusMessage, severity: Severity = "note"
    ) -> None:
        self.tell(notice(about, remark, severity))

"""The journal of the check in progress: what it writes into the log."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

import msgspec

from bench.checks.model import Trace
from bench.daemon.acquisition import Instrument
from bench.log.writer import LogWriter
from bench.procedure.status_message import StatusMessage
from bench.protocol import Saved


class CheckJournal:
    """See bench.procedure.journal. look_at: what is done with a kept pass."""

    def __init__(
        self,
        log_writer: LogWriter,
        tell: Callable[[msgspec.Struct], None],
        instruments: list[Instrument],
        look_at: Callable[[Trace, bool], None],
    ) -> None:
        self.log = log_writer
        self._tell = tell
        self._instruments = instruments
        self._look_at = look_at

    def event(self, run_id: str, kind: str, data: Mapping[str, Any]) -> None:
        self.log.event(run_id, kind, data)
        if kind == "acknowledged":
            self._tell(Saved("event", run_id))

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
            for i in self._instruments
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
        self._look_at(trace, straight)

    def undo_sweep(self, sweep_id: str, reason: StatusMessage) -> None:
        self.log.undo_sweep(sweep_id, reason)

"""Records what the daemon gives it: each call returns at once with a ticket.

A commit is told as Commit(upto=ticket) from the log's own thread. No call raises
because of the disk (see `committer`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TypeVarTuple

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.options import OptionValue
from bench.finding import Finding, Move
from bench.log import entries
from bench.log.committer import NOT_QUEUED, Committer
from bench.log.entry import Entry
from bench.log.rows import Commit, Stamp, SweepEnd, now
from bench.log.write_queue import Write
from bench.procedure.status_message import StatusMessage

__all__ = ["NOT_QUEUED", "LogWriter"]


_Values = TypeVarTuple("_Values")


class LogWriter(Committer):
    """Writes to one log; made by `open`, used from one thread (the callbacks come from
    another)."""

    @classmethod
    def open(
        cls,
        path: Path | str,
        *,
        boot_id: str,
        program: str,
        on_saved: Callable[[Commit], None],
        on_trouble: Callable[[str | None], None],
        clock: Callable[[], Stamp] = now,
    ) -> LogWriter:
        """Take the log, bring its tables up to date, find what was left unfinished,
        start writing.

        Raises LogHeld (another process has it), LogNewer, LogUnknown: those are for the
        user to solve. A medium that is full, read-only or away is no error: the writer
        starts in trouble and tries again.
        """
        writer = cls(
            Path(path).absolute(), boot_id, program, on_saved, on_trouble, clock
        )
        writer.start()
        return writer

    def begin_check(
        self,
        run_id: str,
        kind: str,
        *,
        jig: str | None,
        saw: str | None,
        options: Mapping[str, OptionValue],
        gear: EvidenceGear,
        instrument: str | None = None,
        hold: str | None = None,
        at: Stamp | None = None,
    ) -> int:
        """instrument: a lasting name of the indicator, such as its port by serial
        number."""
        named = (run_id, kind, jig, saw, dict(options), gear, instrument, hold)
        return self._put(entries.begin_check, at, *named)

    def event(
        self,
        run_id: str | None,
        kind: str,
        data: Mapping[str, object] | None = None,
        *,
        at: Stamp | None = None,
        urgent: bool = False,
    ) -> int:
        """data must be JSON. An event without a check waits for other writes, unless it
        is urgent."""
        write = self._write(entries.event, at, run_id, kind, dict(data or {}))
        return self.put(write, urgent=urgent or run_id is not None)

    def climate(
        self,
        sensor: str,
        temperature: float | None,
        humidity: float | None,
        *,
        at: Stamp | None = None,
    ) -> int:
        """deg C, and relative humidity as a fraction. It waits for other writes."""
        write = self._write(entries.climate, at, sensor, temperature, humidity)
        return self.put(write, urgent=False)

    def start_sweep(
        self,
        sweep_id: str,
        run_id: str,
        placement: str,
        *,
        push: bool | None = None,
        seat: str | None = None,
        hold: str | None = None,
        gather: str = "sweep",
        wires: Mapping[str, object] | None = None,
        at: Stamp | None = None,
    ) -> int:
        """wires: by instrument the format and options that its raw bytes are read
        with."""
        named = (sweep_id, run_id, placement, push, seat, hold, gather)
        return self._put(entries.start_sweep, at, *named, dict(wires or {}))

    def end_sweep(
        self,
        sweep_id: str,
        state: SweepEnd,
        *,
        push: bool | None = None,
        trace: Trace | None = None,
        reason: StatusMessage | None = None,
        at: Stamp | None = None,
    ) -> int:
        write = self._write(entries.end_sweep, at, sweep_id, state, push, trace, reason)
        if dropped := self._dropped.pop(sweep_id, 0):
            self.event(
                None,
                "not-recorded",
                {"sweep": sweep_id, "readings": dropped, "why": "the log was stalled"},
            )
        size = 300 + (24 * len(trace.reading) if trace else 0)
        return self.put(write, size=size, sweep=sweep_id)

    def undo_sweep(
        self,
        sweep_id: str,
        reason: StatusMessage | None = None,
        *,
        at: Stamp | None = None,
    ) -> int:
        return self._put(entries.undo_sweep, at, sweep_id, reason)

    def finding(
        self,
        run_id: str,
        finding: Finding,
        evidence: Evidence,
        *,
        supersedes: str | None = None,
        finish: bool = True,
        at: Stamp | None = None,
    ) -> int:
        """The finding needs its id. finish: the check is over; supersedes: the id of
        the one it replaces."""

        def record(entry: Entry) -> None:
            entries.finding(entry, run_id, finding, evidence, supersedes)
            if finish:
                entries.set_check_state(entry, run_id, "finished", None)

        size = 4000 + sum(24 * len(trace.reading) for trace in evidence.traces)
        write = self._write(record, at)
        return self.put(write, size=size, finding=finding.id)

    def move_planned(
        self, move_id: str, finding_id: str, move: Move, *, at: Stamp | None = None
    ) -> int:
        return self._put(entries.move_planned, at, move_id, finding_id, move)

    def move_made(
        self,
        move_id: str,
        data: Mapping[str, object] | None = None,
        *,
        at: Stamp | None = None,
    ) -> int:
        """data: what was done, e.g. {"leaves_mm": [0.15], "drew_mm": 0.03}."""
        return self._put(entries.move_made, at, move_id, dict(data or {}))

    def move_verified(
        self, move_id: str, finding_id: str, *, at: Stamp | None = None
    ) -> int:
        return self._put(entries.move_verified, at, move_id, finding_id)

    def abandon(
        self, run_id: str, reason: str | None = None, *, at: Stamp | None = None
    ) -> int:
        return self._put(entries.set_check_state, at, run_id, "abandoned", reason)

    def reopen(self, run_id: str, *, at: Stamp | None = None) -> int:
        """A finished check goes on: more passes are wanted to settle it."""
        return self._put(entries.set_check_state, at, run_id, "open", None)

    def finish(self, run_id: str, *, at: Stamp | None = None) -> int:
        return self._put(entries.set_check_state, at, run_id, "finished", None)

    def _write(
        self,
        record: Callable[[Entry, *_Values], object],
        at: Stamp | None,
        *values: *_Values,
    ) -> Write:
        moment = at or self._clock()
        return lambda db, boot_key: record(Entry(db, boot_key, moment), *values)

    def _put(
        self,
        record: Callable[[Entry, *_Values], object],
        at: Stamp | None,
        *values: *_Values,
    ) -> int:
        return self.put(self._write(record, at, *values))

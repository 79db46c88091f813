"""Records what the daemon gives it: each call returns at once with a ticket.

A commit is told as Commit(upto=ticket) from the log's own thread. No call raises
because of the disk (see `committer`).
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Concatenate, ParamSpec

from bench.checks.model import Evidence, Trace
from bench.finding import Finding
from bench.log import entries
from bench.log.committer import Committer
from bench.log.entry import Entry
from bench.log.rows import Commit, Stamp, now
from bench.log.write_queue import Write
from bench.procedure.journal import SweepEnd
from bench.procedure.status_message import StatusMessage

P = ParamSpec("P")


def _recorded(
    record: Callable[Concatenate[Entry, P], object], *, urgent: bool = True
) -> Callable[Concatenate[LogWriter, P], int]:
    """The method that queues such an entry; returns its ticket."""

    def put(self: LogWriter, /, *values: P.args, **named: P.kwargs) -> int:
        write = self._write(lambda entry: record(entry, *values, **named))
        return self.put(write, urgent=urgent)

    put.__doc__ = record.__doc__
    return put


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
        """Take the log, find what was left unfinished, start writing. Raises LogHeld
        (another process has it), LogNewer, LogUnknown: those are for the user to solve.
        A medium that is full, read-only or away is no error: the writer starts in
        trouble and tries again."""
        at = Path(path).absolute()
        writer = cls(at, boot_id, program, on_saved, on_trouble, clock)
        writer.start()
        return writer

    begin_check = _recorded(entries.begin_check)
    start_sweep = _recorded(entries.start_sweep)
    undo_sweep = _recorded(entries.undo_sweep)
    move_planned = _recorded(entries.move_planned)
    move_made = _recorded(entries.move_made)
    move_verified = _recorded(entries.move_verified)
    abandon = _recorded(entries.abandon)
    reopen = _recorded(entries.reopen)
    finish = _recorded(entries.finish)
    climate = _recorded(entries.climate, urgent=False)

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
        kept = dict(data or {})
        write = self._write(lambda entry: entry.event(run_id, kind, kept), at)
        return self.put(write, urgent=urgent or run_id is not None)

    def end_sweep(
        self,
        sweep_id: str,
        state: SweepEnd,
        *,
        push: bool | None = None,
        trace: Trace | None = None,
        reason: StatusMessage | None = None,
    ) -> int:
        write = self._write(
            lambda entry: entries.end_sweep(entry, sweep_id, state, push, trace, reason)
        )
        if dropped := self.queue.dropped.pop(sweep_id, 0):
            self.event(
                None,
                "not-recorded",
                {"sweep": sweep_id, "readings": dropped, "why": "the log was stalled"},
            )
        size = 300 + (24 * len(trace.reading) if trace else 0)
        return self.put(write, size=size, sweep=sweep_id)

    def finding(
        self,
        run_id: str,
        finding: Finding,
        evidence: Evidence,
        *,
        supersedes: str | None = None,
    ) -> int:
        """The finding, with its id, ends the check; supersedes: the id of the one it
        replaces."""

        def record(entry: Entry) -> None:
            entries.finding(entry, run_id, finding, evidence, supersedes)
            entries.finish(entry, run_id)

        size = 4000 + sum(24 * len(trace.reading) for trace in evidence.traces)
        return self.put(self._write(record), size=size, finding=finding.id)

    def _write(
        self, record: Callable[[Entry], object], at: Stamp | None = None
    ) -> Write:
        moment = at or self._clock()
        return lambda db, boot_key: record(Entry(db, boot_key, moment))

"""The log's writer, as the daemon sees it: what can be recorded. Every call returns at
once with a ticket. A commit is told as Saved(upto=ticket) from the log's own thread; no
call raises because of the disk (see `committer`).
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.options import OptionValue
from bench.finding import Finding, Move
from bench.log import append
from bench.log.committer import NOT_QUEUED, Committer, Piece
from bench.log.rows import Saved, Stamp, SweepEnd, Unfinished, now

__all__ = ["NOT_QUEUED", "LogWriter"]


class LogWriter:
    """Appends to one log; made by `open`, used from one thread (the callbacks come from
    another)."""

    def __init__(self, committer: Committer, clock: Callable[[], Stamp]) -> None:
        self._committer = committer
        self._put = committer.put
        self._clock = clock
        # readings of a sweep for which there was no room
        self._dropped: dict[str, int] = {}

    @classmethod
    def open(
        cls,
        path: Path | str,
        *,
        boot_id: str,
        program: str,
        on_saved: Callable[[Saved], None],
        on_trouble: Callable[[str | None], None],
        clock: Callable[[], Stamp] = now,
    ) -> LogWriter:
        """Take the log, bring its tables up to date, find what was left unfinished,
        start writing.

        Raises LogHeld (another process has it), LogNewer, LogUnknown: those are for the
        user to solve. A medium that is full, read-only or away is no error: the writer
        starts in trouble and tries again.
        """
        committer = Committer(
            Path(path).absolute(), boot_id, program, on_saved, on_trouble, clock
        )
        committer.start()
        return cls(committer, clock)

    @property
    def path(self) -> Path:
        return self._committer.path

    @property
    def unfinished(self) -> Unfinished:
        """What the last life left; found anew after a salvage, or once the log could be
        opened."""
        return self._committer.unfinished

    @property
    def trouble(self) -> str | None:
        """Why nothing is being recorded, or None."""
        return self._committer.trouble

    @property
    def awaited(self) -> int:
        """Ticket of the latest act that somebody may be told of (not of raw bytes, nor
        of what need not hurry)."""
        return self._committer.awaited

    def look(self) -> None:
        """To be called now and then: what was given and waits for too long is trouble."""
        self._committer.look()

    # What the daemon records. Every call returns its ticket.

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
        at, options = at or self._clock(), dict(options)
        return self._put(
            lambda db, boot: append.begin_check(
                db, boot, at, run_id, kind, jig, saw, options, gear, instrument, hold
            )
        )

    def event(
        self,
        run_id: str | None,
        kind: str,
        data: Mapping[str, object] | None = None,
        *,
        at: Stamp | None = None,
        urgent: bool = False,
    ) -> int:
        """Anything that happened; data must be JSON. Without a check it may wait for
        company, unless it is urgent."""
        at, data = at or self._clock(), dict(data or {})
        return self._put(
            lambda db, boot: append.event(db, boot, at, run_id, kind, data),
            urgent=urgent or run_id is not None,
        )

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
        """wires: by instrument the format and options that its raw bytes are read with."""
        at, wires = at or self._clock(), dict(wires or {})
        return self._put(
            lambda db, boot: append.start_sweep(
                db,
                boot,
                at,
                sweep_id,
                run_id,
                placement,
                push,
                seat,
                hold,
                gather,
                wires,
            )
        )

    def chunk(
        self, sweep_id: str, instrument: str, raw: bytes, arrival_ns: Iterable[int]
    ) -> int:
        """Bytes of a running sweep; arrival_ns: monotonic, one for each record in them
        (kept to 1 us)."""
        times = [arrival // 1000 for arrival in arrival_ns]
        ticket = self._put(
            Piece(sweep_id, instrument, raw, times),
            urgent=False,
            size=len(raw) + 8 * len(times) + 300,
            spare=False,
        )
        if ticket == NOT_QUEUED:
            self._dropped[sweep_id] = self._dropped.get(sweep_id, 0) + len(times)
        return ticket

    def end_sweep(
        self,
        sweep_id: str,
        state: SweepEnd,
        *,
        push: bool | None = None,
        trace: Trace | None = None,
        reason: str | None = None,
        at: Stamp | None = None,
    ) -> int:
        at = at or self._clock()
        if dropped := self._dropped.pop(sweep_id, 0):
            self.event(
                None,
                "not-recorded",
                {"sweep": sweep_id, "readings": dropped, "why": "the log was stalled"},
            )
        return self._put(
            lambda db, boot: append.end_sweep(
                db, boot, at, sweep_id, state, push, trace, reason
            ),
            size=300 + (24 * len(trace.reading) if trace else 0),
            sweep=sweep_id,
        )

    def undo_sweep(
        self, sweep_id: str, reason: str | None = None, *, at: Stamp | None = None
    ) -> int:
        at = at or self._clock()
        return self._put(
            lambda db, boot: append.undo_sweep(db, boot, at, sweep_id, reason)
        )

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
        at = at or self._clock()

        def write(db: sqlite3.Connection, boot: int) -> None:
            append.finding(db, boot, at, run_id, finding, evidence, supersedes)
            if finish:
                append.end_check(db, boot, at, run_id, "finished", None)

        size = 4000 + sum(24 * len(trace.reading) for trace in evidence.traces)
        return self._put(write, size=size, finding=finding.id)

    def move_planned(
        self, move_id: str, finding_id: str, move: Move, *, at: Stamp | None = None
    ) -> int:
        at = at or self._clock()
        return self._put(
            lambda db, boot: append.move_planned(
                db, boot, at, move_id, finding_id, move
            )
        )

    def move_made(
        self,
        move_id: str,
        data: Mapping[str, object] | None = None,
        *,
        at: Stamp | None = None,
    ) -> int:
        """data: what was done, e.g. {"leaves_mm": [0.15], "drew_mm": 0.03}."""
        at, data = at or self._clock(), dict(data or {})
        return self._put(lambda db, boot: append.move_made(db, boot, at, move_id, data))

    def move_verified(
        self, move_id: str, finding_id: str, *, at: Stamp | None = None
    ) -> int:
        at = at or self._clock()
        return self._put(
            lambda db, boot: append.move_verified(db, boot, at, move_id, finding_id)
        )

    def abandon(
        self, run_id: str, reason: str | None = None, *, at: Stamp | None = None
    ) -> int:
        at = at or self._clock()
        return self._put(
            lambda db, boot: append.end_check(db, boot, at, run_id, "abandoned", reason)
        )

    def reopen(self, run_id: str, *, at: Stamp | None = None) -> int:
        """A finished check goes on: more pushes are wanted to settle it."""
        at = at or self._clock()
        return self._put(
            lambda db, boot: append.end_check(db, boot, at, run_id, "open", None)
        )

    def finish(self, run_id: str, *, at: Stamp | None = None) -> int:
        at = at or self._clock()
        return self._put(
            lambda db, boot: append.end_check(db, boot, at, run_id, "finished", None)
        )

    def flush(self, timeout: float = 5.0) -> bool:
        """Wait until all that was given so far is on the disk; False if it is not after
        `timeout` s."""
        return self._committer.flush(timeout)

    def close(self) -> bool:
        """Save what waits (for at most a second and a half), let go of the log; True if
        all was saved."""
        return self._committer.close()

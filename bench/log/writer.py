"""The log's writer: a thread of its own takes the acts in order and tells when they are on the disk.

May import: the standard library and bench.log. Every call returns at once with a ticket; a commit is told
as Saved(upto=ticket). Whatever the disk does, no call raises: the thread says what is wrong through
`on_trouble`, keeps what waits, tries again, and says None once all is well.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import NamedTuple, TypeVar

from bench.checks.model import Evidence, EvidenceGear, OptionValue, Trace
from bench.finding import Finding, Move
from bench.log import append, recover
from bench.log.hold import Hold
from bench.log.rows import LogError, Saved, Stamp, SweepEnd, Unfinished, now

GROUP_S = 0.25  # chunks and events of no check wait this long for company; everything else goes at once
FIRST_RETRY_S = 0.25
LAST_RETRY_S = 2.0
QUEUE_BYTES = 16 * 2**20  # at 8,000 readings a second some two minutes of a stalled disk
QUEUE_RESERVE_BYTES = 4 * 2**20  # beyond the limit chunks are refused; this is left for ends and findings
BATCH_BYTES = 4 * 2**20
CLOSE_S = 1.5
_CLOSING_RETRY_S = 0.1

NOT_QUEUED = -1  # the ticket of an act for which there was no room; it is never saved

_REFUSALS = (sqlite3.IntegrityError, sqlite3.ProgrammingError, sqlite3.InterfaceError, sqlite3.DataError)
_T = TypeVar("_T")

_log = logging.getLogger(__name__)


class _Act(NamedTuple):
    ticket: int
    size: int
    urgent: bool
    write: Callable[[sqlite3.Connection, int], object]  # connection, boot key
    sweep: str | None = None  # told in Saved once committed
    finding: str | None = None


class LogWriter:
    """Appends to one log; made by `open`, used from one thread (the callbacks come from another).

    unfinished: what the last life left, as found at opening. trouble: why nothing is being recorded, or None.
    """

    def __init__(
        self,
        path: Path,
        boot_id: str,
        program: str,
        on_saved: Callable[[Saved], None],
        on_trouble: Callable[[str | None], None],
        clock: Callable[[], Stamp],
    ) -> None:
        self.path = path
        self.unfinished = Unfinished()
        self.trouble: str | None = None
        self._boot_id, self._program, self._clock = boot_id, program, clock
        self._on_saved, self._on_trouble = on_saved, on_trouble
        self._hold: Hold | None = None
        self._db: sqlite3.Connection | None = None
        self._boot_key = 0
        self._opened_at = clock()
        self._queue: deque[_Act] = deque()
        self._queued_bytes = 0
        self._urgent = 0
        self._dropped: dict[str, int] = {}  # readings of a sweep for which there was no room
        self._ticket = 0
        self._saved = 0
        self._wake = threading.Condition()
        self._closing_at: float | None = None
        self._thread = threading.Thread(target=self._run, name="log-writer", daemon=True)

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
        """Take the log, bring its tables up to date, find what was left unfinished, start writing.

        Raises LogHeld (another process has it), LogNewer, LogUnknown: those are for the user to solve. A
        medium that is full, read-only or away is no error: the writer starts in trouble and tries again.
        """
        self = cls(Path(path).absolute(), boot_id, program, on_saved, on_trouble, clock)
        try:
            self._connect()
        except (sqlite3.Error, OSError) as error:
            self._say(self._words(error))
            self.unfinished = recover.unfinished_read_only(self.path)
        except LogError:
            self._release()
            raise
        self._thread.start()
        return self

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
        """instrument: a lasting name of the indicator, such as its port by serial number."""
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
    ) -> int:
        """Anything that happened; data must be JSON. Without a check it may wait for company."""
        at, data = at or self._clock(), dict(data or {})
        return self._put(
            lambda db, boot: append.event(db, boot, at, run_id, kind, data), urgent=run_id is not None
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
                db, boot, at, sweep_id, run_id, placement, push, seat, hold, gather, wires
            )
        )

    def chunk(self, sweep_id: str, instrument: str, raw: bytes, arrival_ns: Iterable[int]) -> int:
        """Bytes of a running sweep; arrival_ns: monotonic, one for each record in them (kept to 1 us)."""
        times = [arrival // 1000 for arrival in arrival_ns]
        ticket = self._put(
            lambda db, _: append.chunk(db, sweep_id, instrument, raw, times),
            urgent=False,
            size=len(raw) + 8 * len(times) + 300,
            reserve=0,
        )
        if ticket == NOT_QUEUED:
            self._dropped[sweep_id] = self._dropped.get(sweep_id, 0) + len(times)
            self._say(self._full_words())
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
                None, "not-recorded", {"sweep": sweep_id, "readings": dropped, "why": "the log was stalled"}
            )
        return self._put(
            lambda db, boot: append.end_sweep(db, boot, at, sweep_id, state, push, trace, reason),
            size=300 + (24 * len(trace.reading) if trace else 0),
            sweep=sweep_id,
        )

    def undo_sweep(self, sweep_id: str, reason: str | None = None, *, at: Stamp | None = None) -> int:
        at = at or self._clock()
        return self._put(lambda db, boot: append.undo_sweep(db, boot, at, sweep_id, reason))

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
        """The finding needs its id. finish: the check is over; supersedes: the id of the one it replaces."""
        at = at or self._clock()

        def write(db: sqlite3.Connection, boot: int) -> None:
            append.finding(db, boot, at, run_id, finding, evidence, supersedes)
            if finish:
                append.end_check(db, boot, at, run_id, "finished", None)

        size = 4000 + sum(24 * len(trace.reading) for trace in evidence.traces)
        return self._put(write, size=size, finding=finding.id)

    def move_planned(self, move_id: str, finding_id: str, move: Move, *, at: Stamp | None = None) -> int:
        at = at or self._clock()
        return self._put(lambda db, boot: append.move_planned(db, boot, at, move_id, finding_id, move))

    def move_made(
        self, move_id: str, data: Mapping[str, object] | None = None, *, at: Stamp | None = None
    ) -> int:
        """data: what was done, e.g. {"leaves_mm": [0.15], "drew_mm": 0.03}."""
        at, data = at or self._clock(), dict(data or {})
        return self._put(lambda db, boot: append.move_made(db, boot, at, move_id, data))

    def move_verified(self, move_id: str, finding_id: str, *, at: Stamp | None = None) -> int:
        at = at or self._clock()
        return self._put(lambda db, boot: append.move_verified(db, boot, at, move_id, finding_id))

    def abandon(self, run_id: str, reason: str | None = None, *, at: Stamp | None = None) -> int:
        at = at or self._clock()
        return self._put(lambda db, boot: append.end_check(db, boot, at, run_id, "abandoned", reason))

    def finish(self, run_id: str, *, at: Stamp | None = None) -> int:
        at = at or self._clock()
        return self._put(lambda db, boot: append.end_check(db, boot, at, run_id, "finished", None))

    def flush(self, timeout: float = 5.0) -> bool:
        """Wait until all that was given so far is on the disk; False if it is not after `timeout` s."""
        with self._wake:
            wanted = self._ticket
            self._put_locked(_Act(0, 0, True, lambda db, boot: None), count=False)
            return self._wake.wait_for(lambda: self._saved >= wanted, timeout)

    def close(self) -> bool:
        """Save what waits (for at most a second and a half), let go of the log; True if all was saved."""
        with self._wake:
            if self._closing_at is None:
                self._closing_at = time.monotonic() + CLOSE_S
            self._wake.notify_all()
        if self._thread.is_alive():
            self._thread.join(CLOSE_S + 0.5)
        return self._saved >= self._ticket

    # The queue.

    def _put(
        self,
        write: Callable[[sqlite3.Connection, int], object],
        *,
        urgent: bool = True,
        size: int = 500,
        reserve: int = QUEUE_RESERVE_BYTES,
        sweep: str | None = None,
        finding: str | None = None,
    ) -> int:
        with self._wake:
            if self._closing_at is not None or self._queued_bytes + size > QUEUE_BYTES + reserve:
                return NOT_QUEUED
            return self._put_locked(_Act(self._ticket + 1, size, urgent, write, sweep, finding))

    def _put_locked(self, act: _Act, count: bool = True) -> int:
        if count:
            self._ticket = act.ticket
        self._queue.append(act)
        self._queued_bytes += act.size
        self._urgent += act.urgent
        self._wake.notify_all()
        return act.ticket

    def _next_batch(self) -> list[_Act]:
        """Wait for an act, give those that need not hurry a quarter second of company, take what fits."""
        with self._wake:
            self._wake.wait_for(lambda: self._queue or self._closing_at is not None)
            until = time.monotonic() + GROUP_S
            while self._closing_at is None and not self._urgent:
                left = until - time.monotonic()
                if left <= 0 or not self._wake.wait(left):
                    break
            batch: list[_Act] = []
            size = 0
            for act in self._queue:
                if batch and size + act.size > BATCH_BYTES:
                    break
                batch.append(act)
                size += act.size
            return batch

    # The thread.

    def _run(self) -> None:
        retry = FIRST_RETRY_S
        while True:
            batch = self._next_batch()
            if not batch:
                break  # closing, and nothing waits
            try:
                saved = self._commit(batch)
            except (sqlite3.Error, OSError, LogError) as error:
                self._fail(error)
                if self._closing_at is not None and time.monotonic() > self._closing_at:
                    break
                if self._closing_at is not None:
                    time.sleep(_CLOSING_RETRY_S)
                with self._wake:
                    self._wake.wait_for(lambda: self._closing_at is not None, retry)
                retry = min(2 * retry, LAST_RETRY_S)
                continue
            retry = FIRST_RETRY_S
            self._done(batch, saved)
        self._release()

    def _commit(self, batch: list[_Act]) -> Saved:
        if self._db is None:
            self._connect()
        db = self._db
        assert db is not None
        refused: list[tuple[int, str]] = []
        db.execute("BEGIN IMMEDIATE")
        for act in batch:
            db.execute("SAVEPOINT act")
            try:
                act.write(db, self._boot_key)
            except Exception as error:
                if isinstance(error, sqlite3.Error) and not isinstance(error, _REFUSALS):
                    raise  # the disk's fault or the file's, not the act's: it is tried again
                db.execute("ROLLBACK TO act")
                refused.append((act.ticket, str(error)))
                append.event(db, self._boot_key, self._clock(), None, "refused-by-log", {"why": str(error)})
                _log.error("the log refused an act: %s", error, exc_info=error)
            db.execute("RELEASE act")
        db.execute("COMMIT")
        bad = {ticket for ticket, _ in refused}
        good = [act for act in batch if act.ticket not in bad]
        return Saved(
            max(act.ticket for act in batch),
            tuple(act.sweep for act in good if act.sweep is not None),
            tuple(act.finding for act in good if act.finding is not None),
            tuple(refused),
        )

    def _done(self, batch: list[_Act], saved: Saved) -> None:
        with self._wake:
            for _ in batch:
                act = self._queue.popleft()
                self._queued_bytes -= act.size
                self._urgent -= act.urgent
            self._saved = max(self._saved, saved.upto)
            self._wake.notify_all()
        if self.trouble is not None:
            self._say(None)
        if saved.upto:
            self._tell(self._on_saved, saved)

    def _fail(self, error: Exception) -> None:
        """Undo the half-made transaction, let go of the file, and say what is wrong."""
        db, self._db = self._db, None
        if db is not None:
            try:
                db.close()  # rolls back
            except sqlite3.Error:
                _log.exception("closing the log after %s", error)
        self._say(self._words(error))

    def _connect(self) -> None:
        if self._hold is None:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._hold = Hold.take(self.path)
        opened = recover.open_or_salvage(self.path)
        db = opened.db
        try:
            key = self._boot_key
            if not append.knows_boot(db, key, self._boot_id):  # a first opening, or the file was exchanged
                db.execute("BEGIN IMMEDIATE")
                key = append.boot(db, self._boot_id, self._program, os.getpid(), self._opened_at)
                if self._boot_key == 0:
                    append.interrupt_running(db, key, self._clock())
                db.execute("COMMIT")
        except BaseException:
            db.close()
            raise
        if self._boot_key == 0 or opened.unfinished.salvage:
            self.unfinished = opened.unfinished
        self._db, self._boot_key = db, key

    def _release(self) -> None:
        if self._db is not None:
            self._db.close()
            self._db = None
        if self._hold is not None:
            self._hold.release()
            self._hold = None

    def _say(self, trouble: str | None) -> None:
        if trouble != self.trouble:
            self.trouble = trouble
            self._tell(self._on_trouble, trouble)

    def _tell(self, tell: Callable[[_T], None], what: _T) -> None:
        try:
            tell(what)
        except RuntimeError:  # the event loop that would have listened is closed
            _log.debug("nobody listens any more: %r", what)

    def _full_words(self) -> str:
        return f"NOT RECORDED: {self.path} takes nothing and the waiting readings fill the memory set aside"

    def _words(self, error: Exception) -> str:
        return f"NOT RECORDED: {recover.why(error)} ({self.path}); readings go on and it is tried again"

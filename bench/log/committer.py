"""Commits the writes of a bounded queue, in order and in groups, on its own thread.

Whatever the disk does, nothing here raises into whoever gave a write: the thread tells
what is wrong through `on_trouble`, keeps what waits, tries again, and tells None once
all is well. Each commit also records its last ticket, so that a write whose commit
failed half way (written, but not confirmed) is found done and not done twice.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import msgspec

from bench.log import entries, high_water_marks, recover
from bench.log.entry import Entry, refusal
from bench.log.faults import closed_on_error, is_damage, why
from bench.log.log_file import LogFile
from bench.log.recover import SoundnessCheck
from bench.log.rows import Commit, LogError, Stamp, UnfinishedWork
from bench.log.write_queue import (
    QueuedWrite,
    Write,
    WriteQueue,
    merged,
)
from hw import timeouts

_log = logging.getLogger(__name__)


class Committer:
    """Commits the writes of its queue. trouble: why nothing is being recorded, or None.
    unfinished: what the last run of the program left, found anew after a salvage, or
    once the log could be opened."""

    def __init__(
        self,
        path: Path,
        boot_id: str,
        program: str,
        on_saved: Callable[[Commit], None],
        on_trouble: Callable[[str | None], None],
        clock: Callable[[], Stamp],
    ) -> None:
        self.path = path
        self.unfinished = UnfinishedWork()
        self.trouble: str | None = None
        self._boot_id, self._program, self._clock = boot_id, program, clock
        self._on_saved, self._on_trouble = on_saved, on_trouble
        self._file = LogFile(path)
        self._boot_key = 0
        self._damaged = False  # found while running: salvage before anything else
        self._opened_at = clock()
        self.queue = WriteQueue(
            lambda: self._tell_trouble(
                f"NOT RECORDED: {path} takes nothing, and the memory for what waits is"
                " full"
            )
        )
        self._wake = self.queue.wake
        self._hurry = False  # somebody waits for all of it
        self._saved = 0
        self._closing_at: float | None = None
        self._thread = threading.Thread(
            target=self._run, name="log-writer", daemon=True
        )
        self._check: SoundnessCheck | None = None

    def start(self) -> None:
        """Raises LogError where the user must act (held, newer, not ours); a failing
        medium is trouble."""
        try:
            self._connect()
        except (sqlite3.Error, OSError) as error:
            self._tell_trouble(self._words(error))
            self.unfinished = recover.unfinished_read_only(self.path)
        except LogError:
            self._release()
            raise
        self._thread.start()

    def put(self, write: Write, **how: Any) -> int:
        """Queue a write, as `WriteQueue.put` does. how: fields of `QueuedWrite`."""
        ticket = self.queue.put(QueuedWrite(write, **how))
        self.check_stall()
        return ticket

    @property
    def awaited(self) -> int:
        return self.queue.awaited

    def check_stall(self) -> None:
        """Tell trouble where a write waits for too long; to be called now and then."""
        with self._wake:
            if self.trouble is None and self.queue.wait_s < -timeouts.LOG_STALL_S:
                self._tell_trouble(
                    "NOT RECORDED: the disk has not answered for"
                    f" {timeouts.LOG_STALL_S:g} s ({self.path})"
                )

    def flush(self, timeout: float = timeouts.LOG_FLUSH_S) -> bool:
        """Wait at most `timeout` s; True if all that was given so far is saved."""
        with self._wake:
            wanted = self.queue.ticket
            self._hurry = True
            self._wake.notify_all()
            return self._wake.wait_for(lambda: self._saved >= wanted, timeout)

    def close(self) -> bool:
        """Save what waits, for at most LOG_CLOSE_S; True if all was saved."""
        with self._wake:
            if self._closing_at is None:
                self._closing_at = time.monotonic() + timeouts.LOG_CLOSE_S
                self.queue.closed = True
            self._wake.notify_all()
        if self._thread.is_alive():
            self._thread.join(timeouts.LOG_CLOSE_S + 0.5)
        return self._saved >= self.queue.ticket

    # The thread runs what follows; `start` uses `_connect` and `_tell_trouble` before.

    def _run(self) -> None:
        retry = timeouts.LOG_FIRST_RETRY_S
        while (batch := self._next_batch()) is not None:
            try:
                commit = self._commit(batch)
            except Exception as error:
                self._fail(error)
                if not self._tries_again(retry):
                    break
                retry = min(2 * retry, timeouts.LOG_LAST_RETRY_S)
            else:
                retry = timeouts.LOG_FIRST_RETRY_S
                self._done(batch, commit)
        self._release()

    def _next_batch(self) -> list[QueuedWrite] | None:
        """Wait for a write and give those that are not urgent time for others. Empty
        where the file itself is to be looked after; None at the end."""
        while True:
            with self._wake:
                self._wake.wait_for(
                    lambda: self.queue or self._closing_at is not None or self._damaged,
                    timeouts.LOG_IDLE_LOOK_S,
                )
                while self.queue and self.queue.wait_s > 0:
                    if self._hurry or self._closing_at is not None:
                        break
                    self._wake.wait(self.queue.wait_s)
                batch = self.queue.batch()
            if batch or self._damaged:
                return batch
            if self._closing_at is not None:
                return None
            if self._file.replaced():
                return batch

    def _tries_again(self, after_s: float) -> bool:
        """Wait before the next try; False where there is no time left."""
        with self._wake:
            if self._closing_at is None:
                self._wake.wait_for(lambda: self._closing_at is not None, after_s)
                return True
        time.sleep(timeouts.LOG_CLOSING_RETRY_S)
        return time.monotonic() <= self._closing_at

    def _commit(self, batch: list[QueuedWrite]) -> Commit:
        if self._file.db is not None and (replaced := self._file.replaced()):
            with self._wake:
                self._tell_trouble(self._words(replaced))
            self._file.follow_path()
        if self._file.db is None or self._damaged:
            self._file.close()
            self._connect()
        db = self._file.db
        assert db is not None
        self._file.ensure_room(sum(queued.size for queued in batch))
        done = entries.last_ticket(db, self._boot_key, self._boot_id) or 0
        refused: list[tuple[int, str]] = []
        db.execute("BEGIN IMMEDIATE")
        # What comes up to `done` was committed, though it was not confirmed.
        for tickets, write in merged(batch, done):
            error = refusal(db, partial(write, db, self._boot_key))
            if error is not None:
                self._tell_refused(db, error)
                refused += [(ticket, str(error)) for ticket in tickets]
        upto = batch[-1].ticket if batch else done
        entries.note_ticket(db, self._boot_key, upto)
        db.execute("COMMIT")
        if replaced := self._file.replaced():
            raise replaced
        if any(queued.urgent for queued in batch):
            high_water_marks.record(self.path, db)
        return _commit_of(batch, upto, refused)

    def _tell_refused(self, db: sqlite3.Connection, error: Exception) -> None:
        entry = Entry(db, self._boot_key, self._clock())
        entry.event(None, "refused-by-log", {"why": str(error)})
        _log.error("the log refused a write: %s", error, exc_info=error)

    def _done(self, batch: list[QueuedWrite], commit: Commit) -> None:
        with self._wake:
            self.queue.remove(len(batch))
            self._hurry = self._hurry and bool(self.queue)
            self._saved = max(self._saved, commit.upto)
            self._wake.notify_all()
            self._tell_trouble(None)
        if batch:
            self._on_saved(commit)
        if commit.findings and self._file.db is not None:
            # the write-ahead file then holds nothing that the log does not: a lost one
            # costs one check
            try:
                self._file.db.execute("PRAGMA wal_checkpoint(PASSIVE)")
            except sqlite3.Error as error:
                self._fail(error)

    def _fail(self, error: Exception) -> None:
        """Undo the half-made transaction, let go of the file, and say what is wrong."""
        if not isinstance(error, (sqlite3.Error, OSError, LogError)):
            _log.error("the log's thread met a fault of its own", exc_info=error)
        self._damaged = self._damaged or is_damage(error)
        try:
            self._file.close_after_failure()
        except sqlite3.Error:
            _log.exception("letting go of the log after %s", error)
        with self._wake:
            self._tell_trouble(self._words(error))

    def _connect(self) -> None:
        self._file.lock()
        db, unfinished, checked = recover.open_or_salvage(self.path, self._damaged)
        self._damaged = False
        lacking = unfinished.lacking
        with closed_on_error(db):
            key = self._record_boot(db)
            entry = Entry(db, key, self._clock())
            if (salvage := unfinished.salvage) is not None:
                entry.event(None, "log-salvaged", msgspec.to_builtins(salvage))
            if lacking:
                entry.event(None, "log-lacks", lacking)
            high_water_marks.record(self.path, db, losses_told=bool(lacking))
        if self._boot_key == 0 or unfinished.about_log:
            self.unfinished = unfinished
        self._file.attach(db)
        self._boot_key = key
        if not checked:
            self._check = SoundnessCheck(self.path, self._salvage_next)

    def _record_boot(self, db: sqlite3.Connection) -> int:
        """The number of this opening, recorded where the file does not have it yet: at
        the first opening, or where another file lies at the path now."""
        if entries.last_ticket(db, self._boot_key, self._boot_id) is not None:
            return self._boot_key
        db.execute("BEGIN IMMEDIATE")
        key = entries.record_boot(
            db, self._boot_id, self._program, self._opened_at, self._saved
        )
        if self._boot_key == 0:
            entries.interrupt_sweeps(Entry(db, key, self._clock()))
        db.execute("COMMIT")
        return key

    def _salvage_next(self) -> None:
        with self._wake:
            self._damaged = True
            self._wake.notify_all()

    def _release(self) -> None:
        if self._check is not None:
            self._check.stop()
        self._file.close()
        self._file.unlock()

    def _tell_trouble(self, trouble: str | None) -> None:
        if trouble != self.trouble:
            self.trouble = trouble
            self._on_trouble(trouble)

    def _words(self, error: Exception) -> str:
        reason = f"NOT RECORDED: {why(error, self.path)} ({self.path})"
        return f"{reason}; readings go on and it is tried again"


def _commit_of(
    batch: list[QueuedWrite], upto: int, refused: list[tuple[int, str]]
) -> Commit:
    lost = {ticket for ticket, _ in refused}
    saved = [queued for queued in batch if queued.ticket not in lost]
    sweeps = tuple(queued.sweep for queued in saved if queued.sweep is not None)
    findings = tuple(queued.finding for queued in saved if queued.finding is not None)
    return Commit(upto, sweeps, findings, tuple(refused))

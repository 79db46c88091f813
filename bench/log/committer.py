"""The log's thread: acts from a bounded queue, committed in order and in groups, told
when they are safe. Whatever the disk does, nothing here raises into whoever gave an
act: the thread says what is wrong through `on_trouble`, keeps what waits, tries again,
and says None once all is well. Each commit also notes its last ticket, so that an act
whose commit failed half way (written, but not confirmed) is found done and not done
twice.
"""

from __future__ import annotations

import logging
import os
import sqlite3
import threading
import time
from collections import deque
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import NamedTuple, TypeVar

import msgspec

from bench.log import acknowledged, append, read, recover
from bench.log.faults import is_damage, why
from bench.log.place import Place, Replaced
from bench.log.rows import LogError, Saved, Stamp, Unfinished

GROUP_S = 0.25  # what need not hurry waits this long for company
FIRST_RETRY_S = 0.25
LAST_RETRY_S = 2.0
QUEUE_BYTES = 16 * 2**20  # at 8,000 readings a second over a minute of a stalled disk
# beyond the limit chunks are refused; this is left for ends and findings
QUEUE_RESERVE_BYTES = 4 * 2**20
BATCH_BYTES = 4 * 2**20
STALL_S = 2.0  # a disk that has not answered for so long is said to
CLOSE_S = 1.5
# an idle log is looked for at its path so often: it may have been removed or replaced
LOOK_S = 1.0
_CLOSING_RETRY_S = 0.1

NOT_QUEUED = -1  # the ticket of an act for which there was no room; it is never saved

_REFUSALS = (
    sqlite3.IntegrityError,
    sqlite3.ProgrammingError,
    sqlite3.InterfaceError,
    sqlite3.DataError,
)
_T = TypeVar("_T")

_log = logging.getLogger(__name__)

# connection in a transaction, boot key
Write = Callable[[sqlite3.Connection, int], object]


class Piece(NamedTuple):
    """Part of a running sweep; those of one commit are written as one."""

    sweep: str
    instrument: str
    raw: bytes
    arrival_us: list[int]


class _Act(NamedTuple):
    ticket: int
    since: float
    size: int
    urgent: bool
    write: Write | Piece
    sweep: str | None
    finding: str | None


class Committer:
    """trouble: why nothing is being recorded, or None. unfinished: what the last life
    left."""

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
        self._place = Place(path)
        self._boot_key = 0
        self._damaged = False  # found while running: salvage before anything else
        self._opened_at = clock()
        self._queue: deque[_Act] = deque()
        self._queued_bytes = 0
        self._urgent = 0  # how many in the queue need not wait for company
        self._hurry = False  # somebody waits for all of it
        self._ticket = 0
        self._saved = 0
        # ticket of the latest act that somebody may be told of, queued or not
        self.awaited = 0
        self._wake = threading.Condition()
        self._closing_at: float | None = None
        self._thread = threading.Thread(
            target=self._run, name="log-writer", daemon=True
        )
        self._check_db: sqlite3.Connection | None = None
        self._check_thread: threading.Thread | None = None

    def start(self) -> None:
        """Raises LogError where the user must act (held, newer, not ours); a failing
        medium is trouble."""
        try:
            self._connect()
        except (sqlite3.Error, OSError) as error:
            self._say(self._words(error))
            self.unfinished = recover.unfinished_read_only(self.path)
        except LogError:
            self._release()
            raise
        self._thread.start()

    def put(
        self,
        write: Write | Piece,
        *,
        urgent: bool = True,
        size: int = 500,
        spare: bool = True,
        sweep: str | None = None,
        finding: str | None = None,
    ) -> int:
        """Queue an act; returns its ticket, or NOT_QUEUED where there is no room (or
        all is closed).

        size: bytes it holds. spare: it may use what is kept free for the few acts that
        matter most. sweep, finding: what to name in Saved.
        """
        limit = QUEUE_BYTES + (QUEUE_RESERVE_BYTES if spare else 0)
        with self._wake:
            fits = self._queued_bytes + size <= limit
            if not fits:
                self._say(
                    f"NOT RECORDED: {self.path} takes nothing, and the memory for what"
                    " waits is full"
                )
                write, size, sweep, finding = _no_room, 0, None, None
            if fits or spare:
                # what does not fit has a ticket too, so that nobody is told it was
                # saved
                self._ticket += 1
                if urgent:
                    self.awaited = self._ticket
                if self._closing_at is None:
                    act = _Act(
                        self._ticket,
                        time.monotonic(),
                        size,
                        urgent,
                        write,
                        sweep,
                        finding,
                    )
                    self._queue.append(act)
                    self._queued_bytes += size
                    self._urgent += urgent
                    self._wake.notify_all()
            self.look()
            return self._ticket if fits and self._closing_at is None else NOT_QUEUED

    def look(self) -> None:
        """Say so if what was given waits for too long; to be called now and then."""
        with self._wake:
            late = self._queue and time.monotonic() - self._queue[0].since > STALL_S
            if late and self.trouble is None:
                self._say(
                    f"NOT RECORDED: the disk has not answered for {STALL_S:g} s"
                    f" ({self.path})"
                )

    def flush(self, timeout: float) -> bool:
        with self._wake:
            wanted = self._ticket
            self._hurry = True
            self._wake.notify_all()
            return self._wake.wait_for(lambda: self._saved >= wanted, timeout)

    def close(self) -> bool:
        with self._wake:
            if self._closing_at is None:
                self._closing_at = time.monotonic() + CLOSE_S
            self._wake.notify_all()
        if self._thread.is_alive():
            self._thread.join(CLOSE_S + 0.5)
        return self._saved >= self._ticket

    # From here on it is the thread that runs (but for `_connect` and `_say`, which
    # `start` uses before it).

    def _run(self) -> None:
        retry = FIRST_RETRY_S
        while True:
            batch = self._next_batch()
            if not batch and self._closing_at is not None and not self._damaged:
                break
            if not batch and not self._damaged and self._place.stands():
                continue
            try:
                saved = self._commit(batch)
            except Exception as error:
                self._fail(error)
                closing_at = self._closing_at
                if closing_at is not None:
                    if time.monotonic() > closing_at:
                        break
                    time.sleep(_CLOSING_RETRY_S)
                with self._wake:
                    self._wake.wait_for(lambda: self._closing_at is not None, retry)
                retry = min(2 * retry, LAST_RETRY_S)
                continue
            retry = FIRST_RETRY_S
            self._done(batch, saved)
            if saved.findings:
                self._merge()
        self._release()

    def _next_batch(self) -> list[_Act]:
        """Wait for an act, give those that need not hurry some company, take what fits.
        Empty after LOOK_S."""
        with self._wake:
            self._wake.wait_for(
                lambda: self._queue or self._closing_at is not None or self._damaged,
                LOOK_S,
            )
            until = time.monotonic() + GROUP_S
            while (
                self._queue
                and self._closing_at is None
                and not self._urgent
                and not self._hurry
            ):
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

    def _commit(self, batch: list[_Act]) -> Saved:
        if self._place.db is not None and not self._place.stands():
            with self._wake:
                self._say(self._words(Replaced()))
            self._place.follow()
        if self._place.db is None or self._damaged:
            self._place.let_go()
            self._connect()
        db = self._place.db
        assert db is not None
        done = append.last_ticket(db, self._boot_key)
        refused: list[tuple[int, str]] = []
        db.execute("BEGIN IMMEDIATE")
        for tickets, write in _gathered(
            batch, done
        ):  # up to `done` all happened, though it was not confirmed
            if (why_not := self._apply(db, write)) is not None:
                refused += [(ticket, why_not) for ticket in tickets]
        upto = batch[-1].ticket if batch else done
        append.note_ticket(db, self._boot_key, upto)
        db.execute("COMMIT")
        if not self._place.stands():
            raise Replaced
        if any(act.urgent for act in batch):
            acknowledged.note(self.path, db)
        bad = {ticket for ticket, _ in refused}
        good = [act for act in batch if act.ticket not in bad]
        return Saved(
            upto,
            tuple(act.sweep for act in good if act.sweep is not None),
            tuple(act.finding for act in good if act.finding is not None),
            tuple(refused),
        )

    def _merge(self) -> None:
        """After a finding the write-ahead file holds nothing that the log does not: a
        lost one costs one check."""
        assert self._place.db is not None
        try:
            self._place.db.execute("PRAGMA wal_checkpoint(PASSIVE)")
        except sqlite3.Error as error:
            self._fail(error)

    def _apply(self, db: sqlite3.Connection, write: Write) -> str | None:
        """One act on the open transaction; why the log cannot take it, or None."""
        refused: str | None
        db.execute("SAVEPOINT act")
        try:
            write(db, self._boot_key)
        except Exception as error:
            if isinstance(error, sqlite3.Error) and not isinstance(error, _REFUSALS):
                # the disk's fault or the file's, not the act's: it is tried again
                raise
            db.execute("ROLLBACK TO act")
            append.event(
                db,
                self._boot_key,
                self._clock(),
                None,
                "refused-by-log",
                {"why": str(error)},
            )
            _log.error("the log refused an act: %s", error, exc_info=error)
            refused = str(error)
        else:
            refused = None
        db.execute("RELEASE act")
        return refused

    def _done(self, batch: list[_Act], saved: Saved) -> None:
        with self._wake:
            for _ in batch:
                act = self._queue.popleft()
                self._queued_bytes -= act.size
                self._urgent -= act.urgent
            self._hurry = self._hurry and bool(self._queue)
            self._saved = max(self._saved, saved.upto)
            self._wake.notify_all()
            self._say(None)
        if batch:
            self._tell(self._on_saved, saved)

    def _fail(self, error: Exception) -> None:
        """Undo the half-made transaction, let go of the file, and say what is wrong."""
        if not isinstance(error, (sqlite3.Error, OSError, LogError, Replaced)):
            _log.error("the log's thread met a fault of its own", exc_info=error)
        self._damaged = self._damaged or is_damage(error)
        try:
            self._place.after_failure()
        except sqlite3.Error:
            _log.exception("letting go of the log after %s", error)
        with self._wake:
            self._say(self._words(error))

    def _connect(self) -> None:
        self._place.take()
        opened = recover.open_or_salvage(self.path, self._damaged)
        self._damaged = False
        db, salvaged, lacking = (
            opened.db,
            opened.unfinished.salvage,
            opened.unfinished.lacking,
        )
        try:
            key = self._boot_key
            # a first opening, or another file is there now
            if not append.knows_boot(db, key, self._boot_id):
                db.execute("BEGIN IMMEDIATE")
                key = append.boot(
                    db, self._boot_id, self._program, os.getpid(), self._opened_at
                )
                append.note_ticket(db, key, self._saved)
                if self._boot_key == 0:
                    append.interrupt_running(db, key, self._clock())
                db.execute("COMMIT")
            if salvaged is not None:
                data = msgspec.to_builtins(salvaged)
                append.event(db, key, self._clock(), None, "log-salvaged", data)
            if lacking:
                append.event(db, key, self._clock(), None, "log-lacks", lacking)
            (acknowledged.settle if lacking else acknowledged.note)(self.path, db)
        except BaseException:
            db.close()
            raise
        if self._boot_key == 0 or opened.unfinished.about_log:
            self.unfinished = opened.unfinished
        self._place.opened(db)
        self._boot_key = key
        if not opened.checked:
            self._check_thread = threading.Thread(
                target=self._check, name="log-check", daemon=True
            )
            self._check_thread.start()

    def _check(self) -> None:
        """A log too large to be checked while the start waits; found damaged, it is
        salvaged next."""
        try:
            with read.open_read(self.path) as db:
                self._check_db = db
                damaged = recover.sound(db, None) is False
                self._check_db = None
        except (sqlite3.Error, OSError, LogError, UnicodeDecodeError) as error:
            damaged = is_damage(error)
        if damaged:
            with self._wake:
                self._damaged = True
                self._wake.notify_all()

    def _release(self) -> None:
        if (checking := self._check_db) is not None:
            checking.interrupt()
        if self._check_thread is not None:
            self._check_thread.join(0.5)
        self._place.let_go()
        self._place.release()

    def _say(self, trouble: str | None) -> None:
        if trouble != self.trouble:
            self.trouble = trouble
            self._tell(self._on_trouble, trouble)

    def _tell(self, tell: Callable[[_T], None], what: _T) -> None:
        try:
            tell(what)
        except RuntimeError:  # the event loop that would have listened is closed
            _log.debug("nobody listens any more: %r", what)

    def _words(self, error: Exception) -> str:
        return (
            f"NOT RECORDED: {why(error)} ({self.path}); readings go on and it is tried"
            " again"
        )


def _no_room(db: sqlite3.Connection, boot_key: int) -> None:
    raise append.Refused("the memory for what waits was full")


def _gathered(batch: list[_Act], done: int) -> Iterator[tuple[list[int], Write]]:
    """The acts after `done` with their tickets, pieces of a sweep put together up to
    the next other act."""
    waiting: dict[tuple[str, str], list[tuple[int, Piece]]] = {}
    for act in batch:
        if act.ticket <= done:
            continue
        if isinstance(act.write, Piece):
            piece = act.write
            waiting.setdefault((piece.sweep, piece.instrument), []).append(
                (act.ticket, piece)
            )
            continue
        yield from map(_together, waiting.values())
        waiting.clear()
        yield [act.ticket], act.write
    yield from map(_together, waiting.values())


def _together(pieces: list[tuple[int, Piece]]) -> tuple[list[int], Write]:
    sweep, instrument, _, _ = pieces[0][1]
    raw = b"".join(piece.raw for _, piece in pieces)
    arrival_us = [arrival for _, piece in pieces for arrival in piece.arrival_us]
    return (
        [ticket for ticket, _ in pieces],
        lambda db, _: append.chunk(db, sweep, instrument, raw, arrival_us),
    )

"""Opens a log to read it, wherever it lies and whoever has it open, and reads it row by
row, so that a damaged row costs only itself.

No byte of it or beside it is changed for good. This works beside a daemon that has the
log open, on a read-only medium, and on a file that belongs to somebody else.
"""

from __future__ import annotations

import errno
import logging
import os
import sqlite3
import subprocess
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack, closing, contextmanager
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from typing import Literal, TypeVar

from bench.finding import UnreadableRecord
from bench.log import schema
from bench.log.faults import (
    READ_ONLY,
    UNREADABLE,
    closed_on_error,
    contained,
    is_damage,
    why,
)
from bench.log.rows import LogDamaged, LogError
from hw.timeouts import LOG_BUSY_S

T = TypeVar("T")

_log = logging.getLogger(__name__)
_reader = partial(sqlite3.connect, isolation_level=None, check_same_thread=False)


@contextmanager
def open_read(path: Path | str) -> Iterator[sqlite3.Connection]:
    """A connection that cannot write. Raises LogError: no file, newer, not ours,
    damaged (also inside)."""
    path = Path(path).absolute()
    if not path.is_file():
        raise LogError(f"there is no log at {path}")
    with ExitStack() as stack:
        try:
            if not path.with_name(path.name + "-shm").exists():
                schema.refuse_foreign(path)
            db = stack.enter_context(closing(_connect(path, stack)))
        except (*UNREADABLE, OSError) as error:
            raise _ours(error, path) from error
        try:
            yield db
        except UNREADABLE as error:
            raise _ours(error, path) from error


def _ours(error: Exception, path: Path) -> LogError:
    if is_damage(error):
        return LogDamaged(
            f"{path} is damaged: {error}; a daemon that opens it salvages what it can"
        )
    return LogError(f"{path} cannot be read: {why(error, path)}")


def _connect(path: Path, stack: ExitStack) -> sqlite3.Connection:
    """A connection in place where that leaves nothing behind that its owner could not
    write; else to a copy, as on a read-only medium."""
    if (db := _in_place(path)) is not None:
        return db
    scratch = tempfile.TemporaryDirectory(prefix="log-read-")
    copy = _copy(path, Path(stack.enter_context(scratch)))
    # may merge the copy's own -wal
    db = _reader(copy)
    with closed_on_error(db):
        db.execute("PRAGMA query_only = ON")
        schema.refuse_marks(path, *schema.marks(db))
        return db


def _in_place(path: Path) -> sqlite3.Connection | None:
    beside = [path.with_name(path.name + suffix) for suffix in ("-wal", "-shm")]
    ours = os.geteuid() == path.stat().st_uid
    if not ours and not all(file.exists() for file in beside):
        return None
    uri = f"{path.as_uri()}?mode=ro"
    db = _reader(uri, uri=True, timeout=LOG_BUSY_S)
    try:
        with closed_on_error(db):
            schema.refuse_marks(path, *schema.marks(db))
            db.execute("SELECT count(*) FROM migration").fetchone()
            return db
    except sqlite3.OperationalError as error:
        if "no such table" in str(error):
            raise LogError(f"{path} holds no log yet") from error
        if ours and why(error, path) != READ_ONLY:
            raise
        return None


def _copy(path: Path, scratch: Path) -> Path:
    """The log with its write-ahead file. Raises LogError where either was written to
    meanwhile, OSError.

    Byte by byte, as a log whose merging was cut short is whole only with that file. By
    another program, as a process that closes a file gives up the locks that SQLite
    holds for it there (fcntl(2), advisory record locking).
    """
    files = path, path.with_name(path.name + "-wal")
    before = _stats(*files)
    there = [file for file, stat in zip(files, before, strict=True) if stat is not None]
    cp: list[str | Path] = ["cp", "--", *there, scratch]
    done = subprocess.run(cp, check=False, capture_output=True, text=True)
    if _stats(*files) != before:
        raise LogError(f"{path} is being written to; ask the daemon, or try again")
    if done.returncode:
        raise OSError(errno.EIO, done.stderr.strip())
    return scratch / path.name


def _stats(*files: Path) -> list[tuple[int, int] | None]:
    stats = [file.stat() if file.exists() else None for file in files]
    return [stat and (stat.st_size, stat.st_mtime_ns) for stat in stats]


def each_row(
    db: sqlite3.Connection,
    what: Literal["result", "move"],
    numbers: Iterable[int],
    query: str,
    values: Sequence[str],
    convert: Callable[..., T],
    unread: list[UnreadableRecord] | None,
) -> Iterator[T]:
    """The objects that `convert` makes of each row that the query gives for its number
    and the values. A row that can no longer be read costs only itself, and goes into
    `unread`; without that list it is a warning in the journal. Between two rows the log
    is not held."""
    for number in numbers:
        try:
            with contained(f"{what} number {number} of the log"):
                row = db.execute(query, (number, *values)).fetchone()
                one = None if row is None else convert(*row)
        except LogDamaged as error:
            if unread is None:
                _log.warning("%s", error)
            else:
                unread.append(
                    UnreadableRecord(what, number, _recorded_at(db, what, number))
                )
        else:
            if one is not None:
                yield one


def last_number(db: sqlite3.Connection, table: str) -> int:
    """The number of the last row that there ever was: no number is given twice, so all
    rows are found by counting."""
    (number,) = db.execute(
        "SELECT max(seq) FROM sqlite_sequence WHERE name = ?", (table,)
    ).fetchone()
    return number or 0


def _recorded_at(db: sqlite3.Connection, what: str, number: int) -> str | None:
    """The time of recording, where so much can still be read."""
    query = "SELECT wall_s FROM finding WHERE finding_key = ?"
    if what == "move":
        query = (
            "SELECT wall_s FROM move JOIN event ON event_key = planned_event_key WHERE"
            " move_key = ?"
        )
    try:
        with contained(what):
            (wall,) = db.execute(query, (number,)).fetchone()
            return datetime.fromtimestamp(wall, UTC).isoformat(timespec="seconds")
    except (LogDamaged, OverflowError, OSError):
        return None

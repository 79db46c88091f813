"""Opens a log to read it, wherever it lies and whoever has it open.

No byte of it or beside it is changed for good. This works beside a daemon that has the
log open, on a read-only medium, and on a file that belongs to somebody else.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack, closing, contextmanager
from pathlib import Path

from bench.log import schema
from bench.log.faults import READ_ONLY, is_damage, why
from bench.log.rows import LogDamaged, LogError
from hw.patience import LOG_BUSY_S

_COPIES = 5  # tries to copy a log that is being written to


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
        except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
            raise _ours(error, path) from error
        try:
            yield db
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise _ours(error, path) from error


def _ours(error: Exception, path: Path) -> LogError:
    if is_damage(error):
        return LogDamaged(
            f"{path} is damaged: {error}; a daemon that opens it salvages what it can"
        )
    return LogError(f"{path} cannot be read: {why(error, path)}")


def _connect(path: Path, stack: ExitStack) -> sqlite3.Connection:
    """In place where that leaves nothing behind that its owner could not write; else a
    copy, as on a read-only medium."""
    beside = [path.with_name(path.name + suffix) for suffix in ("-wal", "-shm")]
    ours = os.geteuid() == path.stat().st_uid
    if ours or all(file.exists() for file in beside):
        db = sqlite3.connect(
            f"{path.as_uri()}?mode=ro",
            uri=True,
            isolation_level=None,
            timeout=LOG_BUSY_S,
            check_same_thread=False,
        )
        try:
            schema.refuse_foreign_open(path, db)
            db.execute("SELECT count(*) FROM migration").fetchone()
            return db
        except sqlite3.OperationalError as error:
            db.close()
            if "no such table" in str(error):
                raise LogError(f"{path} holds no log yet") from error
            if ours and not why(error, path) == READ_ONLY:
                raise
        except BaseException:
            db.close()
            raise
    scratch = tempfile.TemporaryDirectory(prefix="log-read-")
    copy = _copy(path, Path(stack.enter_context(scratch)))
    # may merge the copy's own -wal
    db = sqlite3.connect(copy, isolation_level=None, check_same_thread=False)
    db.execute("PRAGMA query_only = ON")
    try:
        schema.refuse_foreign_open(path, db)
    except BaseException:
        db.close()
        raise
    return db


def _copy(path: Path, scratch: Path) -> Path:
    """The log with its write-ahead file, copied while neither changed."""
    wal, copy = path.with_name(path.name + "-wal"), scratch / path.name
    for _ in range(_COPIES):
        before = _stats(path, wal)
        for file in scratch.iterdir():
            file.unlink()
        try:
            with (
                closing(schema.connect_as_it_lies(path)) as source,
                closing(sqlite3.connect(copy)) as target,
            ):
                source.backup(target)
            if before[1] is not None:
                shutil.copyfile(wal, scratch / wal.name)
        except (sqlite3.DatabaseError, FileNotFoundError):
            if _stats(path, wal) == before:
                raise  # not because it was changed meanwhile
        else:
            if _stats(path, wal) == before:
                return copy
    raise LogError(
        f"{path} is being written to all the time; ask the daemon, or try again"
    )


def _stats(*files: Path) -> list[tuple[int, int] | None]:
    stats = [file.stat() if file.exists() else None for file in files]
    return [stat and (stat.st_size, stat.st_mtime_ns) for stat in stats]

"""Tells what is wrong with a disk or a log file: damage or not, and in words."""

from __future__ import annotations

import errno
import os
import sqlite3
import zlib
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import msgspec

from bench.log.rows import LogDamaged

# what reading a damaged file raises: its letters may no longer be any
UNREADABLE = (sqlite3.Error, UnicodeDecodeError)
READ_ONLY = "the medium is read-only"
_DAMAGE = ("SQLITE_CORRUPT", "SQLITE_NOTADB")
# errors to which sqlite3 gives no name
_SAID = ("unsupported file format", "Could not decode to UTF-8")


def is_damage(error: BaseException) -> bool:
    """Whether the file itself is at fault. A list of tables with broken letters fails
    to decode."""
    name = getattr(error, "sqlite_errorname", "")
    return (
        isinstance(error, (LogDamaged, UnicodeDecodeError))
        or name.startswith(_DAMAGE)
        or (isinstance(error, sqlite3.Error) and any(w in str(error) for w in _SAID))
    )


@contextmanager
def closed_on_error(db: sqlite3.Connection) -> Iterator[None]:
    try:
        yield
    except BaseException:
        db.close()
        raise


@contextmanager
def contained(what: str) -> Iterator[None]:
    """Turns whatever damage to a row does to whoever reads it into LogDamaged; what:
    the row, for the message."""
    try:
        yield
    except (
        sqlite3.Error,
        ValueError,
        TypeError,
        zlib.error,
        msgspec.MsgspecError,
    ) as error:
        if isinstance(error, sqlite3.Error) and not is_damage(error):
            raise
        raise LogDamaged(f"{what} can no longer be read: {error}") from error


def why(error: Exception, path: Path) -> str:
    """The fault of the disk or the file at `path`, in words for the user."""
    name = getattr(error, "sqlite_errorname", "") or errno.errorcode.get(
        getattr(error, "errno", 0) or 0, ""
    )
    if name.startswith("SQLITE_CANTOPEN"):
        with suppress(OSError):
            if os.statvfs(path.parent).f_flag & os.ST_RDONLY:
                name = "EROFS"  # SQLite could not make its files beside the log
    told = (words for words, names in _WORDS.items() if name.startswith(names))
    return next(told, str(error))


# words for the user, and how the names of the errors begin that they tell of
_WORDS = {
    "the disk is full": ("SQLITE_FULL", "ENOSPC", "EDQUOT"),
    READ_ONLY: ("SQLITE_READONLY", "EROFS"),
    "this user may not write there": ("EACCES", "EPERM", "SQLITE_PERM"),
    "the log file cannot be opened": ("SQLITE_CANTOPEN",),
    "the disk reports an error": ("SQLITE_IOERR", "EIO"),
    "another program is writing to the log file": ("SQLITE_BUSY", "SQLITE_LOCKED"),
    "the log file is damaged": _DAMAGE,
}

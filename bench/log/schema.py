"""Opens a log file for writing, and refuses a file that is no log of this program."""

from __future__ import annotations

import os
import sqlite3
import struct
from contextlib import closing
from pathlib import Path

from bench.log.faults import closed_on_error, is_damage
from bench.log.rows import LogDamaged, LogError, LogNewer, LogUnknown
from bench.log.tables import APPLICATION_ID, VERSION, migrate
from hw.patience import LOG_CHECKPOINT_BUSY_S

HIGHEST_VERSION = 10_000  # no program makes so many changes: a higher number is damage
# Bytes; of a new log. Every commit writes each page that it touches whole, some 8 to 20
# of them: with SQLite's own 4,096 a check writes 3.3 times as much to the card.
PAGE_BYTES = 1024
CHECKPOINT_PAGES = 1000  # of the write-ahead file; SQLite's own default
WAL_LIMIT_BYTES = 16 * 2**20  # to which SQLite cuts the write-ahead file afterwards


def connect(path: Path, page_bytes: int = PAGE_BYTES) -> sqlite3.Connection:
    """A writing connection in WAL mode with full syncing, migrated; usable from one
    thread at a time.

    Raises LogNewer or LogUnknown with the file untouched, sqlite3.Error where the file
    or the medium fails.
    """
    refuse_foreign(path)
    db = sqlite3.connect(
        path,
        isolation_level=None,
        check_same_thread=False,
        timeout=LOG_CHECKPOINT_BUSY_S,
    )
    with closed_on_error(db):
        _set_up(path, db, page_bytes)
        migrate(db)
        return db


def _set_up(path: Path, db: sqlite3.Connection, page_bytes: int) -> None:
    version, application = _marks(db)
    if version > VERSION or (version and application != APPLICATION_ID):
        raise LogDamaged(
            f"{path} is damaged: its header says {version} of {application:#x}"
        )
    if not version and not path.stat().st_size:
        db.execute(f"PRAGMA page_size = {page_bytes}")
    if db.execute("PRAGMA journal_mode = WAL").fetchone() != ("wal",):
        raise LogError(
            f"{path}: write-ahead logging cannot be had on this medium; keep the log"
            " elsewhere"
        )
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
    db.execute(f"PRAGMA journal_size_limit = {WAL_LIMIT_BYTES}")


def refuse_foreign(path: Path) -> None:
    """Raise LogNewer or LogUnknown if the file is not for us, without changing a byte
    of it. Raises sqlite3.Error where it cannot be opened."""
    if not path.exists():
        return
    try:
        with closing(connect_as_it_lies(path)) as db:
            version, application = _marks(db)
    except sqlite3.DatabaseError as error:
        if is_damage(error):
            return  # not for this function to judge
        raise
    wal = path.with_name(path.name + "-wal")
    if wal.exists() and wal.stat().st_size:
        version, application = _marks_in_wal(wal) or (version, application)
    _judge(path, version, application)


def refuse_foreign_open(path: Path, db: sqlite3.Connection) -> None:
    """The same of a file that is open."""
    _judge(path, *_marks(db))


def connect_as_it_lies(path: Path) -> sqlite3.Connection:
    """The file without its write-ahead file; it takes no lock, and changes nothing.

    By SQLite, as a process that closes a descriptor of its own gives up all locks that
    SQLite holds for it on that file (fcntl(2), advisory record locking), and the next
    program that looks into the log and closes it would take its -wal away. SQLite keeps
    its descriptor open as long as another connection has such a lock.
    """
    return sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)


def _marks(db: sqlite3.Connection) -> tuple[int, int]:
    """Version and application."""
    version = db.execute("PRAGMA user_version").fetchone()[0]
    return version, db.execute("PRAGMA application_id").fetchone()[0]


def _marks_in_wal(wal: Path) -> tuple[int, int] | None:
    """Version and application as the newest committed page 1 in the write-ahead file
    has them; None where there is none.

    The format is SQLite's published one (file format, section 4): a header of 32 bytes
    (page size at 8, salt at 16), then for each page 24 bytes (its number, the size of
    the database where it ends a commit, salt at 8) and the page.
    """
    found = waiting = None
    with wal.open("rb") as file:
        header = file.read(32)
        while len(frame := file.read(124)) == 124 and frame[8:16] == header[16:24]:
            page, commits = struct.unpack_from(">II", frame)
            if page == 1:
                waiting = struct.unpack_from(">i4xi", frame, 24 + 60)
            if commits:
                found, waiting = waiting or found, None
            file.seek(int.from_bytes(header[8:12], "big") - 100, os.SEEK_CUR)
    return found


def _judge(path: Path, version: int, application: int) -> None:
    if application == APPLICATION_ID:
        if VERSION < version < HIGHEST_VERSION:
            raise LogNewer(
                f"the log {path} was written by a newer program (its tables are at"
                f" change {version}, this program knows {VERSION}); it was left"
                " as it is: update the program or name another log"
            )
    elif not _may_be_damaged_log(path):
        raise LogUnknown(
            f"{path} is a database of some other program; it was left as it is: name"
            " another log"
        )


def _may_be_damaged_log(path: Path) -> bool:
    """Whether a database without our mark could still be ours: empty, with our tables,
    or unreadable."""
    query = "SELECT name FROM sqlite_schema WHERE type = 'table'"
    try:
        with closing(connect_as_it_lies(path)) as db:
            tables = {name for (name,) in db.execute(query)}
    except (sqlite3.Error, UnicodeDecodeError):
        return True
    return not tables or "check_run" in tables

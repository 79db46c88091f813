"""Opens a log file for writing, and refuses a file that is no log of this program."""

from __future__ import annotations

import sqlite3
import struct
from pathlib import Path

from bench.log.rows import LogDamaged, LogError, LogNewer, LogUnknown
from bench.log.tables import APPLICATION_ID, VERSION, migrate
from bench.log.wal import frames
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
    try:
        version = db.execute("PRAGMA user_version").fetchone()[0]
        application = db.execute("PRAGMA application_id").fetchone()[0]
        if version > VERSION or (version and application != APPLICATION_ID):
            raise LogDamaged(
                f"{path} is damaged: its header says {version} of {application:#x}"
            )
        if not version and not path.stat().st_size:
            db.execute(f"PRAGMA page_size = {page_bytes}")
        mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != "wal":
            raise LogError(
                f"{path}: write-ahead logging cannot be had on this medium; keep the"
                " log elsewhere"
            )
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
        db.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
        db.execute(f"PRAGMA journal_size_limit = {WAL_LIMIT_BYTES}")
        migrate(db)
    except BaseException:
        db.close()
        raise
    return db


def refuse_foreign(path: Path) -> None:
    """Raise LogNewer or LogUnknown if the file is not for us, without changing a byte
    of it."""
    try:
        with path.open("rb") as file:
            header = file.read(100)
    except FileNotFoundError:
        return
    if len(header) < 100 or not header.startswith(b"SQLite format 3\0"):
        return  # empty, or damaged: not for this function to judge
    version, application = header[60:64], header[68:72]
    wal = path.with_name(path.name + "-wal")
    if wal.exists() and wal.stat().st_size:
        version, application = _header_in_wal(wal) or (version, application)
    _judge(path, struct.unpack(">I", version)[0], struct.unpack(">I", application)[0])


def refuse_foreign_open(path: Path, db: sqlite3.Connection) -> None:
    """The same of a file that is open.

    `refuse_foreign` closes the file. A process that has a log open would by that give
    up all locks that SQLite holds on it (fcntl(2), advisory record locking), and the
    next program that looks into the log and closes it would take its -wal away.
    """
    version = db.execute("PRAGMA user_version").fetchone()[0]
    application = db.execute("PRAGMA application_id").fetchone()[0]
    _judge(path, version, application)


def _header_in_wal(wal: Path) -> tuple[bytes, bytes] | None:
    """Version and application as the newest committed copy of page 1 in the write-ahead
    log has them."""
    found = waiting = None
    with wal.open("rb") as file:
        for frame in frames(wal):
            if frame.page == 1:
                file.seek(frame.at)
                page = file.read(100)
                waiting = (page[60:64], page[68:72])
            if frame.commits and waiting:
                found, waiting = waiting, None
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
    db = sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)
    try:
        tables = {
            name
            for (name,) in db.execute(
                "SELECT name FROM sqlite_schema WHERE type = 'table'"
            )
        }
    except (sqlite3.Error, UnicodeDecodeError):
        return True
    finally:
        db.close()
    return not tables or "check_run" in tables

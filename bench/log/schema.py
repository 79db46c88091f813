"""Opens a log file for writing, makes its tables or changes those of an older one, and
refuses a file that is no log of this program.

A new log takes its first tables from `tables.sql`, which are its first change. It and a
log of an earlier version take the changes that are due, in order, each in one
transaction with the record that it ran.
"""

from __future__ import annotations

import os
import re
import sqlite3
import struct
import time
from collections.abc import Callable, Sequence
from contextlib import closing
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from bench.log.faults import closed_on_error, is_damage
from bench.log.rows import LogDamaged, LogError, LogNewer, LogUnknown
from hw.timeouts import LOG_CHECKPOINT_BUSY_S

if TYPE_CHECKING:
    from sqlite_utils import Database

# its name, and what it does: statements, an empty line apart, or a function
Change = tuple[str, "str | Callable[[Database], None]"]

# "SWEG", so that `file` and this program can tell the log from other databases
APPLICATION_ID = 0x53574547

# kind of the event that says what happened to the gear
GEAR_EVENT: Literal["gear-event"] = "gear-event"

_CLIMATE = """\
CREATE TABLE climate ( -- the shop's air, every quarter of an hour while the daemon runs
  climate_key INTEGER PRIMARY KEY AUTOINCREMENT, -- number of the reading
  sensor TEXT NOT NULL, -- the kernel's name of the sensor
  temperature_c REAL, -- degrees Celsius; null where it measures none
  humidity_fraction REAL, -- relative humidity, 0 to 1; null where it measures none
  boot_key INTEGER NOT NULL REFERENCES boot, -- the opening of the log in which this was recorded
  monotonic_ns INTEGER NOT NULL, -- nanoseconds of the machine's monotonic clock
  wall_s REAL NOT NULL, -- wall clock, seconds since 1970-01-01 UTC; wrong unless synced
  clock_synced INTEGER NOT NULL -- 1 if the wall clock could be believed then
) STRICT;

CREATE INDEX event_of_kind ON event (kind) WHERE kind = 'gear-event';"""  # noqa: E501

# Never edit a change that has been released: add the next.
CHANGES: tuple[Change, ...] = (("climate of the shop", _CLIMATE),)
# of the tables that this program knows; SQLite's user_version
SCHEMA_VERSION = 1 + len(CHANGES)

_DESCRIBED = re.compile(r"^(?:CREATE TABLE|) *(\w+).* -- (.+)$", re.MULTILINE)

HIGHEST_VERSION = 10_000  # no program makes so many changes: a higher number is damage
# Bytes; of a new log. Every commit writes each page that it touches whole, some 8 to 20
# of them: with SQLite's own 4,096 a check writes 3.3 times as much to the card.
PAGE_BYTES = 1024
CHECKPOINT_PAGES = 1000  # of the write-ahead file; SQLite's own default
WAL_LIMIT_BYTES = 16 * 2**20  # to which SQLite cuts the write-ahead file afterwards
CACHE_KIB = 1000  # of pages in memory: half of SQLite's own default


def connect(path: Path) -> sqlite3.Connection:
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
        _set_up(path, db)
        migrate(db)
        return db


def _set_up(path: Path, db: sqlite3.Connection) -> None:
    version, application = marks(db)
    if version > SCHEMA_VERSION or (version and application != APPLICATION_ID):
        raise LogDamaged(
            f"{path} is damaged: its header says {version} of {application:#x}"
        )
    if not version and not path.stat().st_size:
        db.execute(f"PRAGMA page_size = {PAGE_BYTES}")
    if db.execute("PRAGMA journal_mode = WAL").fetchone() != ("wal",):
        raise LogError(
            f"{path}: write-ahead logging cannot be had on this medium; keep the log"
            " elsewhere"
        )
    db.execute("PRAGMA synchronous = FULL")
    db.execute("PRAGMA foreign_keys = ON")
    db.execute(f"PRAGMA cache_size = -{CACHE_KIB}")
    db.execute(f"PRAGMA wal_autocheckpoint = {CHECKPOINT_PAGES}")
    db.execute(f"PRAGMA journal_size_limit = {WAL_LIMIT_BYTES}")


def refuse_foreign(path: Path) -> None:
    """Raise LogNewer or LogUnknown if the file is not for us, without changing a byte
    of it. Raises sqlite3.Error where it cannot be opened."""
    if not path.exists():
        return
    try:
        with closing(connect_as_it_lies(path)) as db:
            found = marks(db)
    except sqlite3.DatabaseError as error:
        if is_damage(error):
            return  # not for this function to judge
        raise
    wal = path.with_name(path.name + "-wal")
    if wal.exists():
        found = _marks_in_wal(wal) or found
    refuse_marks(path, *found)


def connect_as_it_lies(path: Path) -> sqlite3.Connection:
    """The file without its write-ahead file; it takes no lock, and changes nothing.

    By SQLite, as a process that closes a descriptor of its own gives up all locks that
    SQLite holds for it on that file (fcntl(2), advisory record locking), and the next
    program that looks into the log and closes it would take its -wal away. SQLite keeps
    its descriptor open as long as another connection has such a lock.
    """
    return sqlite3.connect(f"{path.as_uri()}?mode=ro&immutable=1", uri=True)


def marks(db: sqlite3.Connection) -> tuple[int, int]:
    """The version and the application that the file's header names."""
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


def refuse_marks(path: Path, version: int, application: int) -> None:
    """The same by what the file says, where it is open."""
    if application == APPLICATION_ID:
        if SCHEMA_VERSION < version < HIGHEST_VERSION:
            raise LogNewer(
                f"the log {path} was written by a newer program; its tables are at"
                f" change {version}, this program knows {SCHEMA_VERSION}; it was left"
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


def migrate(db: sqlite3.Connection, changes: Sequence[Change] = CHANGES) -> list[str]:
    """Make the tables of an empty log and run the changes that are due; returns the
    names of what was done."""
    version: int = db.execute("PRAGMA user_version").fetchone()[0]
    first = Path(__file__).with_name("tables.sql").read_text(encoding="utf-8")
    due = [("first tables", first), *changes][version:]
    for number, change in enumerate(due, version + 1):
        _change(db, number, *change)
    return [name for name, _ in due]


def _change(
    db: sqlite3.Connection,
    number: int,
    name: str,
    change: str | Callable[[Database], None],
) -> None:
    if isinstance(change, str):
        with db:
            db.execute("BEGIN IMMEDIATE")
            _run(db, change)
            _ran(db, name, number)
        return
    # Its import costs 0.15 s and 15 MiB: a daemon pays them only for an older log.
    from sqlite_utils import Database

    log = Database(db, recursive_triggers=False, execute_plugins=False)
    with log.atomic():
        change(log)
        _ran(db, name, number)


def has_climate(db: sqlite3.Connection) -> bool:
    """Whether a log that is only read has the table yet: an older one has not."""
    query = "SELECT 1 FROM sqlite_schema WHERE type = 'table' AND name = 'climate'"
    return db.execute(query).fetchone() is not None


def _run(db: sqlite3.Connection, script: str) -> None:
    """Statements, an empty line apart. A table is described before the next is made,
    which gives each table of the first version the same page in every log."""
    for statement in script.split("\n\n"):
        db.execute(statement)
        described = _DESCRIBED.findall(statement)
        # the table and then its columns, each with its words
        for number, (name, words) in enumerate(described):
            row = described[0][0], name if number else "", words
            db.execute("INSERT INTO description VALUES (?, ?, ?)", row)


def _ran(db: sqlite3.Connection, name: str, number: int) -> None:
    db.execute(
        "INSERT INTO migration (name, applied_wall_s) VALUES (?, ?)",
        (name, time.time()),
    )
    db.execute(f"PRAGMA user_version = {number}")
    db.execute(f"PRAGMA application_id = {APPLICATION_ID}")

"""The tables of the log, how they came to be, and how a file is opened.

May import: sqlite3 and bench.log.rows. Each migration is a named function; it runs in one transaction with
the record that it ran, in order, once. Never edit one that has been released: add the next. Every table and
column is described, as a comment in its own definition and as rows of the table `description`.
"""

from __future__ import annotations

import sqlite3
import struct
import time
from collections.abc import Callable, Sequence
from pathlib import Path

from bench.log.rows import LogError, LogNewer, LogUnknown

APPLICATION_ID = 0x53574547  # "SWEG", so that `file` and we can tell the log from other databases
_WAL_PAGES = 1000
_WAL_KEPT_BYTES = 16 * 2**20

Column = tuple[str, str]  # declaration, words


def _create(db: sqlite3.Connection, table: str, words: str, columns: Sequence[Column], *more: str) -> None:
    """A STRICT table whose definition carries its own description."""
    lines = [
        f"  {declaration}{',' if more or n < len(columns) - 1 else ''} -- {text}"
        for n, (declaration, text) in enumerate(columns)
    ]
    lines += [f"  {constraint}{',' if n < len(more) - 1 else ''}" for n, constraint in enumerate(more)]
    db.execute(f"CREATE TABLE {table} ( -- {words}\n" + "\n".join(lines) + "\n) STRICT")
    describe = "INSERT INTO description (table_name, column_name, words) VALUES (?, ?, ?)"
    db.execute(describe, (table, "", words))
    db.executemany(describe, [(table, declaration.split()[0], text) for declaration, text in columns])


_BOOT = ("boot_key INTEGER NOT NULL REFERENCES boot", "the opening of the log in which this was recorded")


def _moment(prefix: str = "") -> list[Column]:
    return [
        (f"{prefix}monotonic_ns INTEGER NOT NULL", "nanoseconds of the machine's monotonic clock"),
        (f"{prefix}wall_s REAL NOT NULL", "wall clock, seconds since 1970-01-01 UTC; wrong unless synced"),
        (f"{prefix}clock_synced INTEGER NOT NULL", "1 if the wall clock could be believed then"),
    ]


def _first_tables(db: sqlite3.Connection) -> None:
    db.execute(
        "CREATE TABLE description (table_name TEXT NOT NULL, column_name TEXT NOT NULL, words TEXT NOT NULL,"
        " PRIMARY KEY (table_name, column_name)) STRICT, WITHOUT ROWID"
    )
    db.executemany(
        "INSERT INTO description (table_name, column_name, words) VALUES (?, ?, ?)",
        [
            ("description", "", "what every table and column of this log means"),
            ("description", "table_name", "the table"),
            ("description", "column_name", "the column; empty for the table itself"),
            ("description", "words", "what it means"),
            ("migration", "", "how the tables came to be, in order"),
            ("migration", "migration_key", "order in which it ran"),
            ("migration", "name", "name of the change"),
            ("migration", "applied_wall_s", "wall clock when it ran, seconds since 1970-01-01 UTC"),
        ],
    )
    _create(
        db,
        "boot",
        "one row for each time a program opened the log to write",
        [
            ("boot_key INTEGER PRIMARY KEY", "number of the opening"),
            ("boot_id TEXT NOT NULL", "the machine's boot identity: monotonic times compare only within one"),
            ("program TEXT NOT NULL", "name and version of the program that wrote"),
            ("process_id INTEGER NOT NULL", "its process number"),
            *_moment(),
        ],
    )
    _create(
        db,
        "gear",
        "copies of the user's gear as checks used it, each kept once",
        [
            ("gear_key INTEGER PRIMARY KEY", "number of the copy"),
            ("sha256 TEXT NOT NULL UNIQUE", "hash of gear_json"),
            ("gear_json TEXT NOT NULL", "indicator, travel, caliper, saw, jig, square, leaves; mm and rad"),
        ],
    )
    _create(
        db,
        "check_run",
        "a check that was begun: one question asked of the saw or a jig",
        [
            ("run_key INTEGER PRIMARY KEY", "number of the run, in the order they were begun"),
            ("run TEXT NOT NULL UNIQUE", "its name outside the log"),
            ("check_kind TEXT NOT NULL", "kind of check"),
            ("jig TEXT", "name of the jig"),
            ("saw TEXT", "name of the saw"),
            ("options_json TEXT NOT NULL", "options as chosen; lengths mm, angles rad"),
            ("gear_key INTEGER NOT NULL REFERENCES gear", "the gear it used"),
            ("instrument TEXT", "which indicator read, by its own lasting name"),
            ("hold TEXT", "how the jig was held against the slot walls"),
            ("state TEXT NOT NULL CHECK (state IN ('open', 'finished', 'abandoned'))", "where it stands"),
            _BOOT,
            *_moment("begun_"),
        ],
    )
    _create(
        db,
        "event",
        "everything that happened, in the order in which it was recorded",
        [
            ("event_key INTEGER PRIMARY KEY", "order of recording; holds even when the wall clock jumps"),
            ("run_key INTEGER REFERENCES check_run", "the check it belongs to, if any"),
            ("kind TEXT NOT NULL", "what happened"),
            ("data_json TEXT NOT NULL", "its particulars; mm, rad, s"),
            _BOOT,
            *_moment(),
        ],
    )
    _create(
        db,
        "trace",
        "paired travel and reading of one sweep, spot or width, in the order they came",
        [
            ("trace_key INTEGER PRIMARY KEY", "number of the trace"),
            ("sha256 BLOB NOT NULL UNIQUE", "hash of all that follows, so that each is kept once"),
            ("placement TEXT NOT NULL", "how the reference and the indicator stood"),
            ("push INTEGER NOT NULL", "1 if the travel grew, 0 for a pull-back"),
            ("sweep TEXT NOT NULL", "the sweep's own name in the evidence"),
            ("seat TEXT", "which seating of the reference; null where every sweep is freshly seated"),
            ("hold TEXT", "how the jig was held"),
            ("readings INTEGER NOT NULL", "number of pairs"),
            ("travel_mm_packed BLOB NOT NULL", "travel in mm, growing away from the operator, packed"),
            ("reading_mm_packed BLOB NOT NULL", "reading in mm, growing as the plunger goes in, packed"),
            ("at_s_packed BLOB", "arrival in s, packed; null where unknown"),
        ],
    )
    _create(
        db,
        "sweep",
        "the sled taken once through its travel, or one spot or width",
        [
            ("sweep_key INTEGER PRIMARY KEY", "order of beginning"),
            ("sweep TEXT NOT NULL UNIQUE", "its name outside the log"),
            ("run_key INTEGER NOT NULL REFERENCES check_run", "the check it belongs to"),
            ("placement TEXT NOT NULL", "how the reference and the indicator stood"),
            ("gather TEXT NOT NULL", "sweep, spot or width"),
            ("push INTEGER", "1 for a push, 0 for a pull-back, null while unknown"),
            ("seat TEXT", "which seating; null where freshly seated"),
            ("hold TEXT", "how the jig was held"),
            (
                "state TEXT NOT NULL CHECK"
                " (state IN ('running', 'whole', 'interrupted', 'refused', 'undone'))",
                "how it ended; only whole ones conclude",
            ),
            ("reason TEXT", "why it was interrupted, refused or undone"),
            ("trace_key INTEGER REFERENCES trace", "what was paired from it, once ended"),
            ("wires_json TEXT NOT NULL", "by instrument: the format and options its raw bytes are read with"),
            _BOOT,
            *_moment("started_"),
            (
                "ended_monotonic_ns INTEGER",
                "end by the monotonic clock of the same boot; null if never ended",
            ),
            ("ended_wall_s REAL", "end by the wall clock, seconds since 1970-01-01 UTC"),
        ],
    )
    _create(
        db,
        "chunk",
        "bytes of a running sweep as they came; merged into reading by the transaction that ends it",
        [
            ("chunk_key INTEGER PRIMARY KEY", "order of arrival"),
            ("sweep_key INTEGER NOT NULL REFERENCES sweep", "the sweep that was running"),
            ("instrument TEXT NOT NULL", "which instrument"),
            ("raw BLOB NOT NULL", "the bytes of the wire"),
            ("readings INTEGER NOT NULL", "records in them"),
            ("arrival_us_packed BLOB NOT NULL", "arrival of each record, monotonic microseconds, packed"),
        ],
    )
    _create(
        db,
        "reading",
        "all that one instrument sent during one sweep",
        [
            ("reading_key INTEGER PRIMARY KEY", "number of the row"),
            ("sweep_key INTEGER NOT NULL REFERENCES sweep", "the sweep"),
            ("instrument TEXT NOT NULL", "which instrument"),
            ("readings INTEGER NOT NULL", "records in it"),
            ("raw_bytes INTEGER NOT NULL", "length of the raw bytes"),
            ("raw_zlib BLOB NOT NULL", "the bytes of the wire, zlib"),
            ("arrival_us_packed BLOB NOT NULL", "arrival of each record, monotonic microseconds, packed"),
        ],
        "UNIQUE (sweep_key, instrument)",
    )
    _create(
        db,
        "finding",
        "what a check concluded, with all that it was worked out from",
        [
            ("finding_key INTEGER PRIMARY KEY", "order of concluding"),
            ("finding TEXT NOT NULL UNIQUE", "its name outside the log"),
            ("run_key INTEGER NOT NULL REFERENCES check_run", "the check that concluded it"),
            ("check_kind TEXT NOT NULL", "kind of check"),
            ("jig TEXT", "name of the jig"),
            ("saw TEXT", "name of the saw"),
            ("verdict TEXT", "inside, outside, cannot-tell; null without a tolerance"),
            ("at TEXT NOT NULL", "time written in the finding, ISO 8601"),
            ("finding_json TEXT NOT NULL", "the finding as scripts see it; mm and rad"),
            (
                "evidence_json TEXT NOT NULL",
                "options, leans and what was known; the gear and the traces apart",
            ),
            ("gear_key INTEGER NOT NULL REFERENCES gear", "the gear it was worked out with"),
            ("crc32 INTEGER NOT NULL", "checksum of finding_json followed by evidence_json"),
            ("superseded_by INTEGER REFERENCES finding", "the later finding that replaces this one"),
            _BOOT,
            *_moment(),
        ],
    )
    _create(
        db,
        "finding_trace",
        "which traces a finding was worked out from, in order",
        [
            ("finding_key INTEGER NOT NULL REFERENCES finding", "the finding"),
            ("position INTEGER NOT NULL", "place in the evidence, from 0"),
            ("trace_key INTEGER NOT NULL REFERENCES trace", "the trace"),
        ],
        "PRIMARY KEY (finding_key, position)",
    )
    _create(
        db,
        "quantity",
        "each quantity of each finding, for charts",
        [
            ("finding_key INTEGER NOT NULL REFERENCES finding", "the finding"),
            ("position INTEGER NOT NULL", "place in the finding, from 0"),
            ("name TEXT NOT NULL", "name of the quantity"),
            ("unit TEXT NOT NULL CHECK (unit IN ('rad', 'mm'))", "unit of value, uncertainty and tolerance"),
            ("value_in_unit REAL NOT NULL", "the value"),
            ("uncertainty_in_unit REAL NOT NULL", "expanded uncertainty at the finding's confidence"),
            ("degrees_of_freedom REAL", "null for infinite"),
            ("tolerance_in_unit REAL", "null where none is set"),
            ("verdict TEXT", "inside, outside, cannot-tell; null without a tolerance"),
        ],
        "PRIMARY KEY (finding_key, position)",
    )
    _create(
        db,
        "move",
        "a move that was advised: planned, made, and verified by a later finding",
        [
            ("move_key INTEGER PRIMARY KEY", "order of planning"),
            ("move TEXT NOT NULL UNIQUE", "its name outside the log"),
            ("finding_key INTEGER NOT NULL REFERENCES finding", "the finding that advised it"),
            ("jig_end TEXT NOT NULL", "which end to move: left or right"),
            ("way TEXT NOT NULL", "away from or toward the operator"),
            ("distance_mm REAL NOT NULL", "how far, positive"),
            ("uncertainty_mm REAL NOT NULL", "expanded"),
            ("move_json TEXT NOT NULL", "the whole move as advised"),
            ("planned_event_key INTEGER NOT NULL REFERENCES event", "when it was advised"),
            ("made_event_key INTEGER REFERENCES event", "when it was made, and how; null while not"),
            ("made_json TEXT", "what was done: leaves used, shift while tightening; mm"),
            ("verified_by INTEGER REFERENCES finding", "the finding that looked afterwards"),
        ],
    )
    for index in (
        "event_of_run ON event (run_key)",
        "sweep_of_run ON sweep (run_key)",
        "sweep_running ON sweep (sweep_key) WHERE state = 'running'",
        "chunk_of_sweep ON chunk (sweep_key)",
        "run_open ON check_run (run_key) WHERE state = 'open'",
        "finding_of_run ON finding (run_key)",
        "finding_of_jig ON finding (jig, saw, check_kind)",
        "move_of_finding ON move (finding_key)",
        "event_clock ON event (event_key) WHERE kind = 'clock'",
    ):
        db.execute(f"CREATE INDEX {index}")


MIGRATIONS: tuple[tuple[str, Callable[[sqlite3.Connection], None]], ...] = (("first tables", _first_tables),)


def connect(path: Path) -> sqlite3.Connection:
    """A writing connection in WAL mode with full syncing, migrated; usable from one thread at a time.

    Raises LogNewer or LogUnknown with the file untouched, sqlite3.Error where the file or the medium fails.
    """
    refuse_foreign(path)
    db = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=1.0)
    try:
        mode = db.execute("PRAGMA journal_mode = WAL").fetchone()[0]
        if mode != "wal":
            raise LogError(
                f"{path}: write-ahead logging cannot be had on this medium; keep the log elsewhere"
            )
        db.execute("PRAGMA synchronous = FULL")
        db.execute("PRAGMA foreign_keys = ON")
        db.execute(f"PRAGMA wal_autocheckpoint = {_WAL_PAGES}")
        db.execute(f"PRAGMA journal_size_limit = {_WAL_KEPT_BYTES}")
        migrate(db)
    except BaseException:
        db.close()
        raise
    return db


def migrate(
    db: sqlite3.Connection, migrations: Sequence[tuple[str, Callable[[sqlite3.Connection], None]]] = ()
) -> list[str]:
    """Run what has not run yet, each change atomic with its record; returns the names of what ran."""
    migrations = migrations or MIGRATIONS
    ran = []
    for number, (name, change) in enumerate(migrations, 1):
        if db.execute("PRAGMA user_version").fetchone()[0] >= number:
            continue
        db.execute("BEGIN IMMEDIATE")
        try:
            db.execute(
                "CREATE TABLE IF NOT EXISTS migration (migration_key INTEGER PRIMARY KEY,"
                " name TEXT NOT NULL UNIQUE, applied_wall_s REAL NOT NULL) STRICT"
            )
            change(db)
            db.execute("INSERT INTO migration (name, applied_wall_s) VALUES (?, ?)", (name, time.time()))
            db.execute(f"PRAGMA user_version = {number}")
            db.execute(f"PRAGMA application_id = {APPLICATION_ID}")
            db.execute("COMMIT")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise
        ran.append(name)
    return ran


def refuse_foreign(path: Path) -> None:
    """Raise LogNewer or LogUnknown if the file is not for us, without changing a byte of it."""
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


def _header_in_wal(wal: Path) -> tuple[bytes, bytes] | None:
    """Version and application as the newest committed copy of page 1 in the write-ahead log has them.

    The format is SQLite's published one: a header of 32 bytes (page size at 8, salt at 16), then frames of
    a 24-byte header (page number at 0, database size at 4 if it ends a commit, salt at 8) and a page.
    """
    found = waiting = None
    with wal.open("rb") as file:
        head = file.read(32)
        if len(head) < 32:
            return None
        size, salt = struct.unpack(">I", head[8:12])[0], head[16:24]
        while len(frame := file.read(24)) == 24 and frame[8:16] == salt:
            page = file.read(size) if frame[:4] == b"\0\0\0\1" else file.seek(size, 1) and b""
            if page:
                waiting = (page[60:64], page[68:72])
            if frame[4:8] != b"\0\0\0\0" and waiting:
                found, waiting = waiting, None
    return found


def _judge(path: Path, version: int, application: int) -> None:
    if application == APPLICATION_ID and version > len(MIGRATIONS):
        raise LogNewer(
            f"the log {path} was written by a newer program (its tables are at change {version}, this program"
            f" knows {len(MIGRATIONS)}); it was left as it is: update the program or name another log"
        )
    if application not in (APPLICATION_ID, 0) or (application == 0 and version):
        raise LogUnknown(
            f"{path} is a database of some other program; it was left as it is: name another log"
        )

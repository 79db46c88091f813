"""Makes the tables of a new log, and changes those of an older one.

A new log takes its first tables from `tables.sql`. It and a log of an earlier version
take the changes that are due, in order, each in one transaction with the record that it
ran.
"""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Literal

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
VERSION = 1 + len(
    CHANGES
)  # of the tables that this program knows; SQLite's user_version

_DESCRIBED = re.compile(r"^(?:CREATE TABLE|) *(\w+).* -- (.+)$", re.MULTILINE)


def migrate(db: sqlite3.Connection, changes: Sequence[Change] = CHANGES) -> list[str]:
    """Make the tables of an empty log or run the changes that are due; returns the
    names of these changes."""
    version: int = db.execute("PRAGMA user_version").fetchone()[0]
    if version == 0:
        create_first(db)
        version = 1
    due = changes[version - 1 :]
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
    """Statements, an empty line apart; each table is described before the next is
    made."""
    for statement in script.split("\n\n"):
        db.execute(statement)
        if statement.startswith("CREATE TABLE"):
            _describe(db, _DESCRIBED.findall(statement))


def _ran(db: sqlite3.Connection, name: str, number: int) -> None:
    db.execute(
        "INSERT INTO migration (name, applied_wall_s) VALUES (?, ?)",
        (name, time.time()),
    )
    db.execute(f"PRAGMA user_version = {number}")


def create_first(db: sqlite3.Connection) -> None:
    """The tables of the first version in one transaction. A table is described before
    the next is made, which gives each table the same page in every log."""
    script = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")
    with db:
        db.execute("BEGIN IMMEDIATE")
        _run(db, script)
        _ran(db, "first tables", 1)
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")


def _describe(db: sqlite3.Connection, described: list[tuple[str, str]]) -> None:
    """described: the table and then its columns, each with its words."""
    for number, (name, words) in enumerate(described):
        table, column = described[0][0], name if number else ""
        db.execute("INSERT INTO description VALUES (?, ?, ?)", (table, column, words))

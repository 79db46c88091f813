"""Makes the tables of a new log, and changes those of an older one.

A new log takes its tables from `tables.sql`. A log of an earlier version takes the
changes that are due, in order, each in one transaction with the record that it ran.
"""

from __future__ import annotations

import re
import sqlite3
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from sqlite_utils import Database

Change = tuple[str, "Callable[[Database], None]"]  # its name, what it does

# "SWEG", so that `file` and this program can tell the log from other databases
APPLICATION_ID = 0x53574547

# Never edit a change that has been released: add the next.
CHANGES: tuple[Change, ...] = ()
VERSION = 1 + len(
    CHANGES
)  # of the tables that this program knows; SQLite's user_version

_DESCRIBED = re.compile(r"^(?:CREATE TABLE|) *(\w+).* -- (.+)$", re.MULTILINE)


def migrate(db: sqlite3.Connection, changes: Sequence[Change] = CHANGES) -> list[str]:
    """Make the tables of an empty log or run the changes that are due; returns the
    names of these changes."""
    version: int = db.execute("PRAGMA user_version").fetchone()[0]
    if version == 0:
        _create(db)
        version = 1
    due = changes[version - 1 :]
    if not due:
        return []
    # Its import costs 0.15 s and 15 MiB: a daemon pays them only for an older log.
    from sqlite_utils import Database

    log = Database(db, recursive_triggers=False, execute_plugins=False)
    for number, (name, change) in enumerate(due, version + 1):
        with log.atomic():
            change(log)
            log.table("migration").insert({"name": name, "applied_wall_s": time.time()})
            log.execute(f"PRAGMA user_version = {number}")
    return [name for name, _ in due]


def _create(db: sqlite3.Connection) -> None:
    """All tables in one transaction. A table is described before the next is made,
    which gives each table the same page in every log."""
    script = Path(__file__).with_suffix(".sql").read_text(encoding="utf-8")
    with db:
        db.execute("BEGIN IMMEDIATE")
        for statement in script.split("\n\n"):
            db.execute(statement)
            if statement.startswith("CREATE TABLE"):
                _describe(db, _DESCRIBED.findall(statement))
        db.execute(
            "INSERT INTO migration (name, applied_wall_s) VALUES ('first tables', ?)",
            (time.time(),),
        )
        db.execute("PRAGMA user_version = 1")
        db.execute(f"PRAGMA application_id = {APPLICATION_ID}")


def _describe(db: sqlite3.Connection, described: list[tuple[str, str]]) -> None:
    """described: the table and then its columns, each with its words."""
    for number, (name, words) in enumerate(described):
        table, column = described[0][0], name if number else ""
        db.execute("INSERT INTO description VALUES (?, ?, ?)", (table, column, words))

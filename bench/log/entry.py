"""Writes a row with the moment and the opening of the log that it belongs to."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

from bench.log.rows import Stamp
from bench.log.store import Column, insert

Json = Mapping[str, object]

_REFUSALS = (  # what SQLite raises where the entry itself is wrong
    sqlite3.IntegrityError,
    sqlite3.ProgrammingError,
    sqlite3.InterfaceError,
    sqlite3.DataError,
)


class EntryRefused(Exception):
    """The log cannot take this entry; says why."""


class Entry(NamedTuple):
    """The context in which an entry is written: the transaction, the opening of the
    log, the moment."""

    db: sqlite3.Connection
    boot_key: int
    at: Stamp

    def insert(self, table: str, prefix: str = "", **columns: Column) -> int:
        """A row with its moment in columns that begin with `prefix`; returns its
        number."""
        moment = stamp_columns(self.at, prefix)
        return insert(self.db, table, **columns, boot_key=self.boot_key, **moment)

    def event(self, run: str | None, kind: str, data: Json) -> int:
        return self.insert(
            "event",
            run_key=None if run is None else run_key(self.db, run),
            kind=kind,
            data_json=as_json(data),
        )


def refusal(db: sqlite3.Connection, write: Callable[[], object]) -> Exception | None:
    """Write on the open transaction; the error for which the log cannot take it.

    Raises sqlite3.Error where the disk or the file is at fault, and not what is
    written: that can be tried again.
    """
    error: Exception | None = None
    db.execute("SAVEPOINT entry")
    try:
        write()
    except Exception as raised:
        if isinstance(raised, sqlite3.Error) and not isinstance(raised, _REFUSALS):
            raise
        error = raised
        db.execute("ROLLBACK TO entry")
    db.execute("RELEASE entry")
    return error


def stamp_columns(at: Stamp, prefix: str = "") -> dict[str, int | float]:
    return {
        f"{prefix}monotonic_ns": at.monotonic_ns,
        f"{prefix}wall_s": at.wall_s,
        f"{prefix}clock_synced": int(at.synced),
    }


# number, run and what else an entry needs to know of what it names
_KEY_QUERIES = {
    "check": "SELECT run_key FROM check_run WHERE run = ?",
    "sweep": (
        "SELECT sweep_key, run, sweep.state FROM sweep JOIN check_run USING (run_key)"
        " WHERE sweep = ?"
    ),
    "finding": (
        "SELECT finding_key, run FROM finding JOIN check_run USING (run_key) WHERE"
        " finding = ?"
    ),
    # with the run of the finding that advised it
    "move": (
        "SELECT move_key, run FROM move JOIN finding USING (finding_key) JOIN check_run"
        " USING (run_key) WHERE move = ?"
    ),
}


def named(db: sqlite3.Connection, noun: str, name: str) -> tuple[Any, ...]:
    row: tuple[Any, ...] | None = db.execute(_KEY_QUERIES[noun], (name,)).fetchone()
    if row is None:
        raise EntryRefused(f"the log knows no {noun} {name!r}")
    return row


def run_key(db: sqlite3.Connection, run: str) -> int:
    return int(named(db, "check", run)[0])


def as_json(data: object) -> str:
    """JSON that keeps infinities and nan (as Infinity, NaN), which the evidence may
    hold."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))

"""Reads the log row by row, so that a damaged row costs only itself."""

from __future__ import annotations

import logging
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from datetime import UTC, datetime
from typing import Literal, TypeVar

from bench.finding import Unread
from bench.log.faults import contained
from bench.log.rows import LogDamaged

T = TypeVar("T")

_log = logging.getLogger(__name__)


def each_row(
    db: sqlite3.Connection,
    what: Literal["result", "move"],
    numbers: Iterable[int],
    query: str,
    values: Sequence[str],
    convert: Callable[..., T],
    unread: list[Unread] | None,
) -> Iterator[T]:
    """What `convert` makes of each row that the query gives for its number and the
    values. A row that can no longer be read costs only itself, and goes into `unread`;
    without that list it is a warning in the journal. Between two rows the log is not
    held."""
    for number in numbers:
        try:
            with contained(f"{what} number {number} of the log"):
                row = db.execute(query, (number, *values)).fetchone()
                one = None if row is None else convert(*row)
        except LogDamaged as error:
            if unread is None:
                _log.warning("%s", error)
            else:
                unread.append(Unread(what, number, _recorded_at(db, what, number)))
        else:
            if one is not None:
                yield one


def last_number(db: sqlite3.Connection, table: str) -> int:
    """Of a row that there ever was: no number is given twice, so all rows are found by
    counting."""
    (number,) = db.execute(
        "SELECT max(seq) FROM sqlite_sequence WHERE name = ?", (table,)
    ).fetchone()
    return number or 0


def _recorded_at(db: sqlite3.Connection, what: str, number: int) -> str | None:
    """When, where so much can still be read."""
    query = {
        "result": "SELECT wall_s FROM finding WHERE finding_key = ?",
        "move": (
            "SELECT wall_s FROM move JOIN event ON event_key = planned_event_key WHERE"
            " move_key = ?"
        ),
    }[what]
    try:
        with contained(what):
            (wall,) = db.execute(query, (number,)).fetchone()
            return datetime.fromtimestamp(wall, UTC).isoformat(timespec="seconds")
    except (LogDamaged, OverflowError, OSError):
        return None

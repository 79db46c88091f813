"""Puts the dates of rows right whose clock was set later in the same boot."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

# how the boot of rows begins that came out of another log
IMPORTED = "import-"
# share of an import's results dated before the one before it, above which its lines are
# in no order; fewer are of a clock that was wrong
DISORDER = 0.1


class BootClocks:
    """The dates of rows, put right where the wall clock was set later in their boot."""

    def __init__(self, db: sqlite3.Connection) -> None:
        # by boot: the wall clock at its monotonic zero, as it was last found synced
        self._at_zero: dict[str, float] = dict(
            db.execute(
                "SELECT boot_id, event.wall_s - event.monotonic_ns / 1e9 FROM event"
                " JOIN boot USING (boot_key) WHERE kind = 'clock' AND"
                " event.clock_synced = 1 ORDER BY event_key"
            ).fetchall()
        )

    def date(
        self, wall_s: float, synced: int, monotonic_ns: int, boot_id: str
    ) -> tuple[float, bool]:
        """Wall s, and whether that is known, of a row with these columns."""
        zero = self._at_zero.get(boot_id)
        if synced or zero is None:
            return wall_s, bool(synced)
        return zero + monotonic_ns / 1e9, True


class _Dated(NamedTuple):
    """A result's number, the date of its check where that is known, and its own."""

    number: int
    date: float | None
    at: str


def in_time(db: sqlite3.Connection, numbers: Sequence[int]) -> Sequence[int]:
    """Numbers of results, given in the order of recording, with those that came out of
    other logs put between this log's own by their dates. The results of one log keep
    their order, since a clock may have been wrong; lines that were in no order stand by
    their dates."""
    query = "SELECT 1 FROM boot WHERE boot_id GLOB ? LIMIT 1"
    if db.execute(query, (IMPORTED + "*",)).fetchone() is None:
        return numbers
    logs: dict[str, list[_Dated]] = {"": []}  # this log's own, and those imported
    for boot_id, one in _dated(db, numbers):
        log = boot_id if boot_id.startswith(IMPORTED) else ""
        logs.setdefault(log, []).append(one)
    places = _places(logs.pop(""))
    for results in logs.values():
        if _backward(results) > DISORDER * len(results):
            results.sort(key=lambda one: (one.date or 0.0, one.at, one.number))
        places += _places(results)
    return [number for _, number in sorted(places, key=lambda place: place[0])]


_LOST = ["", 0.0, 0, 0, ""]  # stands for a result whose check is missing


def _dated(
    db: sqlite3.Connection, numbers: Sequence[int]
) -> Iterator[tuple[str, _Dated]]:
    clocks = BootClocks(db)
    rows = db.execute(
        "SELECT finding_key, at, begun_wall_s, begun_clock_synced, begun_monotonic_ns,"
        " boot.boot_id FROM finding JOIN check_run USING (run_key) JOIN boot ON"
        " boot.boot_key = check_run.boot_key WHERE finding_key IN (SELECT value FROM"
        " json_each(?))",
        (json.dumps([*numbers]),),
    )
    there = {number: columns for number, *columns in rows}
    for number in numbers:
        at, wall, synced, monotonic, boot_id = there.get(number, _LOST)
        date, known = clocks.date(wall, synced, monotonic, boot_id)
        yield boot_id, _Dated(number, date if known else None, at)


def _backward(results: Sequence[_Dated]) -> int:
    """How often the date goes back from one to the next."""
    dates = [(one.date, one.at) for one in results if one.date is not None]
    return sum(after < before for before, after in pairwise(dates))


def _places(results: Sequence[_Dated]) -> list[tuple[float, int]]:
    """(date, number), the dates never going back: one that is not known, lies before
    that of the result before it or after that of the next one counts for nothing."""
    places = []
    latest = 0.0
    for one, following in zip(results, [*results[1:], None], strict=False):
        after = following and following.date
        if one.date is not None and (after is None or one.date <= after):
            latest = max(latest, one.date)
        places.append((latest, one.number))
    return places

"""Reads what drift and due dates are worked out from: results in the order of time,
moves, events of the gear, climate.

Blocking; called off the event loop. What cannot be charted is left out and named:
nothing is taken from the log.
"""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import msgspec

from bench.checks import checks
from bench.checks.model import EvidenceGear, SquareHistory
from bench.finding import Climate, UnreadableRecord
from bench.log.events import list_gear_events
from bench.log.findings import FindingRow, each_finding, list_moves
from bench.log.read_only import open_read
from bench.log.schema import has_climate
from bench.log.store import gear_names
from bench.procedure.invalid_request import InvalidRequest
from bench.upkeep.dates import DAY_S, FIRST_DAY, date_of, day_of
from bench.upkeep.drift import (
    drift_document,
    left_out_rows,
)
from bench.upkeep.due_dates import BeforeLastResult, due_document
from bench.upkeep.history import (
    EVENTS,
    FenceMove,
    GearEvent,
    History,
    Measurement,
    Omission,
    results_of,
    sound_climate,
)
from bench.upkeep.quick_check import (
    WholeCheckReason,
    inherited_square_error,
    whole_check_reason,
)

# a result dated so far outside of those recorded before and after it has a date of a
# clock that was wrong, where no more than SELDOM of them are so
ASTRAY_DAYS = 60.0
FAR_DAYS = 400.0  # the same at the ends, where only one neighbour tells
SELDOM = 0.1


def drift_of_log(
    path: Path, jig: str | None = None, check: str | None = None
) -> dict[str, Any]:
    """Raises LogError. `unread`: what is there and can no longer be read."""
    history, unread = load_history(path)
    document = drift_document(history, jig=jig, check=check)
    return {**document, "unread": msgspec.to_builtins(unread)}


def due_of_log(
    path: Path, at: str | None = None, jigs: Iterable[str] = ()
) -> dict[str, Any]:
    """at: an ISO date; today where None. jigs: sleds of the settings. Raises LogError;
    InvalidRequest for what is no date, or lies before the last result."""
    history, unread = load_history(path, jigs)
    day = today(history) if at is None else _end_of(at)
    try:
        document = due_document(history, at=day)
    except BeforeLastResult as error:
        raise InvalidRequest(str(error)) from error
    return {
        **document,
        "left_out": left_out_rows(history),
        "unread": msgspec.to_builtins(unread),
    }


def _end_of(at: str) -> float:
    """The day; a date is asked about at its end."""
    try:
        return day_of(at) + (1 - 1 / DAY_S if len(at) == len("2026-01-01") else 0.0)
    except ValueError as error:
        raise InvalidRequest(f"{at!r} is no date; 2026-03-01 would do") from error


def today(history: History) -> float:
    """The day; that of the last result where the clock stands behind it."""
    return max([time.time() / DAY_S, *(one.day for one in history.results)])


def why_whole_check(
    path: Path, gear: EvidenceGear, instrument: str | None
) -> tuple[WholeCheckReason | None, str | None]:
    """Why a quick check of this sled will not do, or None; and the wall that the last
    whole one held it to."""
    history, _ = load_history(path)
    jig, saw = gear_names(gear)
    why = whole_check_reason(
        history, jig=jig, saw=saw, day=time.time() / DAY_S, instrument=instrument
    )
    found = inherited_square_error(history, jig=jig, saw=saw)
    return why or (None if found else "never-whole"), found.hold if found else None


def inherited_square(path: Path, gear: EvidenceGear) -> SquareHistory | None:
    """The square's error that a quick check of this sled takes over."""
    history, _ = load_history(path)
    jig, saw = gear_names(gear)
    found = inherited_square_error(history, jig=jig, saw=saw)
    if found is None:
        return None
    return SquareHistory(
        error=found.error,
        standard_uncertainty=found.standard,
        degrees_of_freedom=found.freedom,
        count=found.count,
        whole=date_of(found.day),
    )


def load_history(
    path: Path, jigs: Iterable[str] = ()
) -> tuple[History, list[UnreadableRecord]]:
    """The history that the charts are made from, and what of it can no longer be read.
    jigs: sleds of the settings, beside those that the log knows."""
    unread: list[UnreadableRecord] = []
    with open_read(path) as db:
        rows = [row for row in each_finding(db, unread) if row.superseded_by is None]
        placed, left_out = _placed(rows)
        squares = _squares(db)
        kinds = [one for one in checks().values() if "fence" in one.measures]
        results: list[Measurement] = []
        for row, day in placed:
            results += _results(row, day, squares, left_out)
        history = History(
            results=tuple(sorted(results, key=lambda one: (one.day, one.order))),
            moves=tuple(_moves(db, placed, unread)),
            events=tuple(gear_events(db)),
            left_out=tuple(left_out),
            climate=_climate(db),
            jigs=tuple(dict.fromkeys([*jigs, *_jigs(db)])),
            # the one that measures the sled fence itself, the first in a list
            first_check=min(kinds, key=lambda one: one.rank).kind if kinds else "",
        )
        return history, unread


def _moves(
    db: sqlite3.Connection,
    placed: Sequence[tuple[FindingRow, float]],
    unread: list[UnreadableRecord],
) -> Iterator[FenceMove]:
    """The moves that were made, each on the day of its result."""
    days = {row.finding.id: (row, day) for row, day in placed}
    for move in list_moves(db, unread=unread):
        if move.made is not None and move.finding in days:
            row, day = days[move.finding]
            found = row.finding
            yield FenceMove(found.id, found.jig, found.saw, day, row.order)


def _results(
    row: FindingRow,
    day: float,
    squares: dict[str, str | None],
    left_out: list[Omission],
) -> list[Measurement]:
    finding = row.finding
    if finding.doubts:
        left_out.append(Omission(finding.id, finding.at, "doubt"))
        return []
    if finding.climate is not None and sound_climate(finding.climate) is None:
        left_out.append(Omission(finding.id, finding.at, "climate"))
    check = checks().get(finding.check)  # a later version's log may have others
    gear = {
        "square": squares.get(row.run),
        "instrument": row.instrument,
        "hold": row.hold,
    }
    try:
        return results_of(
            finding,
            day=day,
            order=row.order,
            gear=gear,
            turns_fence=check is not None and check.turns_fence,
        )
    except ValueError:
        left_out.append(Omission(finding.id, finding.at, "value"))
        return []


def _placed(
    rows: Sequence[FindingRow],
) -> tuple[list[tuple[FindingRow, float]], list[Omission]]:
    """Each result with its day, and those whose date cannot be: it may have been
    recorded while the clock was wrong. rows: in the order of recording."""
    now = time.time() / DAY_S
    days = [day_of_row(row) for row in rows]
    wrong = {n for n, day in enumerate(days) if not day >= FIRST_DAY}
    sound = [n for n in range(len(rows)) if n not in wrong]
    astray = _astray([days[n] for n in sound], now)
    if len(astray) <= max(1.0, SELDOM * len(sound)):
        wrong |= {sound[n] for n in astray}
    placed = [(row, days[n]) for n, row in enumerate(rows) if n not in wrong]
    left_out = [
        Omission(rows[n].finding.id, rows[n].finding.at, "date") for n in sorted(wrong)
    ]
    return placed, left_out


def _astray(days: Sequence[float], now: float) -> list[int]:
    """Places of days that lie far outside of those of both neighbours in the order of
    recording; at the ends, far from all others."""
    astray = []
    for n, day in enumerate(days):
        before, after = days[max(n - 1, 0) : n], days[n + 1 : n + 2]
        if before and after:
            between = before[0] - ASTRAY_DAYS <= day <= after[0] + ASTRAY_DAYS
            is_astray = before[0] <= after[0] and not between
        elif before:
            # the last one may be years later, but not later than today
            is_astray = day - before[0] > FAR_DAYS and day > now + 1
        else:
            is_astray = bool(after) and day - max(days[1:]) > FAR_DAYS
        if is_astray:
            astray.append(n)
    return astray


def day_of_row(row: FindingRow) -> float:
    """The day by the finding; else that of recording. Not a number where neither can
    be."""
    try:
        return day_of(row.finding.at)
    except ValueError:
        return row.wall_s / DAY_S


def _squares(db: sqlite3.Connection) -> dict[str, str | None]:
    """The name of the square by run."""
    return dict(
        db.execute(
            "SELECT run, json_extract(gear_json, '$.square.name') FROM check_run JOIN"
            " gear USING (gear_key) WHERE json_valid(gear_json)"
        ).fetchall()
    )


def jigs_of_log(path: Path) -> list[str]:
    """Names of the sleds that any check was begun with. Raises LogError."""
    with open_read(path) as db:
        return _jigs(db)


def _jigs(db: sqlite3.Connection) -> list[str]:
    rows = db.execute("SELECT DISTINCT jig FROM check_run WHERE jig IS NOT NULL")
    return [jig for (jig,) in rows]


def gear_events(db: sqlite3.Connection) -> Iterable[GearEvent]:
    """The events of the gear in the order of time; one that cannot be read costs only
    itself."""
    found = []
    for event in list_gear_events(db):
        told = {key: text or "" for key, text in event.data.items()}
        with suppress(ValueError, KeyError):
            at = told.get("at")
            day = day_of(at) if at else (event.wall_s or 0.0) / DAY_S
            if told["what"] in EVENTS:
                note = told.get("note", "")
                found.append(GearEvent(told["jig"], told["what"], day, note))
    return sorted(found, key=lambda event: event.day)


def _climate(db: sqlite3.Connection) -> tuple[float, Climate] | None:
    """The latest reading of the air that can be; a log of the first version has
    none."""
    if not has_climate(db):
        return None
    row = db.execute(
        "SELECT wall_s, temperature_c, humidity_fraction FROM climate ORDER BY"
        " climate_key DESC LIMIT 1"
    ).fetchone()
    climate = sound_climate(Climate(*row[1:])) if row else None
    return None if climate is None else (row[0] / DAY_S, climate)

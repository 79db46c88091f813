"""Reading a log without disturbing it: findings and their evidence, events, moves, what
is known from before. All functions take what `open_read` yields."""

from __future__ import annotations

import itertools
import json
import logging
import sqlite3
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import closing, suppress
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Literal, TypeVar

import msgspec

from bench.checks.model import Evidence
from bench.finding import Finding, Move, Unread
from bench.log import load, opening
from bench.log.faults import contained
from bench.log.rows import (
    EventRow,
    Happened,
    LogDamaged,
    LogError,
    OpenRun,
    SweepRecord,
)

KNOWN_FINDINGS = 20  # older ones no longer speak for the jig as it is

# the log was damaged; rows that were told as saved are missing
LOG_EVENTS = ("log-salvaged", "log-lacks")

# events of instruments, of the clock and of the log itself
_OF_ITSELF = (
    *("instrument", "held", "spoiled", "unit", "learned", "leaf"),
    *("clock", "clock-jumped", *LOG_EVENTS, "refused-by-log", "not-recorded"),
)

T = TypeVar("T")

open_read = opening.open_read

_log = logging.getLogger(__name__)


class FindingRow(msgspec.Struct, frozen=True):
    """A finding in a list. wall_s: when, put right if the clock was synced later in the
    same boot."""

    order: int
    run: str
    finding: Finding
    superseded_by: str | None
    instrument: str | None
    hold: str | None
    wall_s: float
    synced: bool


class MoveRow(msgspec.Struct, frozen=True):
    """made: what was done; verified_by: the finding that looked afterwards; each None
    while not."""

    move: str
    finding: str
    plan: Move
    made: dict[str, object] | None
    verified_by: str | None


def list_findings(
    db: sqlite3.Connection,
    *,
    jig: str | None = None,
    check: str | None = None,
    since: float | None = None,
    last: int | None = None,
    before: str | None = None,
    unread: list[Unread] | None = None,
) -> list[FindingRow]:
    """Oldest first. since: seconds since 1970 UTC; last: only so many, the newest;
    before: older than this one.

    unread: takes what is there and can no longer be read; it is a warning in the
    journal where none is given.
    """
    wanted = [
        (c, v)
        for c, v in (("f.jig = ?", jig), ("f.check_kind = ?", check))
        if v is not None
    ]
    end = _last_number(db, "finding") + 1
    if before is not None:
        row = db.execute(
            "SELECT finding_key FROM finding WHERE finding = ?", (before,)
        ).fetchone()
        end = row[0] if row else 0
    rows = _findings(db, _numbers(db, end, wanted), unread, wanted)
    found = (row for row in rows if since is None or row.wall_s >= since)
    return list(itertools.islice(found, last))[::-1]


def _numbers(
    db: sqlite3.Connection, end: int, wanted: list[tuple[str, str]]
) -> Iterable[int]:
    """Those below `end`, downwards; only of what is wanted, where damage lets SQLite
    look for it."""
    if wanted:
        where = " AND ".join(["f.finding_key < ?", *(clause for clause, _ in wanted)])
        query = (
            f"SELECT finding_key FROM finding AS f WHERE {where} ORDER BY finding_key"
            " DESC"
        )
        with suppress(LogDamaged), contained("the list of results"):
            return [
                key
                for (key,) in db.execute(query, (end, *(value for _, value in wanted)))
            ]
    return range(end - 1, 0, -1)


def each_finding(db: sqlite3.Connection, unread: list[Unread]) -> Iterator[FindingRow]:
    """All of them, oldest first, of which none is kept and between which the log is not
    held."""
    return _findings(db, range(1, _last_number(db, "finding") + 1), unread, [])


def show_finding(db: sqlite3.Connection, finding: str) -> tuple[Finding, Evidence]:
    """By its id, or the beginning of one. Raises LogError if none or several begin so,
    LogDamaged."""
    pattern = (
        finding.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
    )
    names = [
        name
        for (name,) in db.execute(
            "SELECT finding FROM finding WHERE finding LIKE ? ESCAPE '\\' LIMIT 3",
            (pattern,),
        )
    ]
    if finding in names:
        names = [finding]
    if len(names) > 1:
        raise LogError(
            f"several findings begin with {finding!r}: {', '.join(names)}; give more"
            " of it"
        )
    return load.finding(db, names[0] if names else finding)


def open_evidence(db: sqlite3.Connection, run: str) -> Evidence:
    """What an open check has gathered so far, as `evaluate` takes it."""
    return load.evidence_of_run(db, run)


def open_runs(db: sqlite3.Connection) -> list[OpenRun]:
    return load.open_runs(db)


def sweeps_of(db: sqlite3.Connection, run: str) -> list[SweepRecord]:
    return load.sweeps(db, run)


def events(db: sqlite3.Connection, run: str | None = None) -> list[EventRow]:
    return load.events(db, run)


def instrument_events(
    db: sqlite3.Connection, since: float
) -> list[tuple[float, str, dict[str, object]]]:
    """(wall s, kind, data) of what instruments and the log did outside and inside
    checks, in the order of recording."""
    rows = db.execute(
        "SELECT wall_s, kind, data_json FROM event WHERE wall_s >= ? AND"
        " json_valid(data_json) AND kind IN ('instrument', 'held', 'spoiled', 'unit',"
        " ?, ?) ORDER BY event_key",
        (since, *LOG_EVENTS),
    )
    return [(wall, kind, json.loads(data)) for wall, kind, data in rows]


def happened(db: sqlite3.Connection, most: int = -1) -> list[Happened]:
    """What instruments, clock and log did, and the passes that were not used: newest
    first, at most so many.

    An opening of the log stands before all that was recorded in it. A pass is told
    where its reason was told: where it is a sentence, and no mere handling of the sled.
    Dates are put right as those of findings are.
    """
    marks = ", ".join("?" * len(_OF_ITSELF))
    rows = db.execute(
        f"""
        SELECT e.kind, CAST(e.data_json AS BLOB), e.wall_s, e.clock_synced, e.monotonic_ns, boot.boot_id,
               r.check_kind, s.placement, s.reason, e.boot_key AS opening, e.event_key AS place
          FROM event AS e JOIN boot ON boot.boot_key = e.boot_key
          LEFT JOIN check_run AS r ON r.run_key = e.run_key
          LEFT JOIN sweep AS s
            ON e.kind IN ('sweep-ended', 'sweep-undone') AND s.sweep = {_said("sweep")}
         WHERE e.kind IN ({marks}) OR NOT json_valid(e.data_json)
            OR (e.kind = 'sweep-ended' AND {_said("state")} = 'interrupted')
            OR (e.kind = 'sweep-ended' AND {_said("reason")} GLOB '*[.?!]')
            OR (e.kind = 'sweep-undone' AND s.reason GLOB '*[.?!]')
         UNION ALL
        SELECT 'opened', json_object('program', program), wall_s, clock_synced, monotonic_ns, boot_id,
               NULL, NULL, NULL, boot_key, 0
          FROM boot
         ORDER BY opening DESC, place DESC LIMIT ?
        """,
        (*_OF_ITSELF, most),
    )
    dates = _dates(db)
    found = []
    for (
        kind,
        data,
        wall,
        synced,
        monotonic,
        boot_id,
        check,
        placement,
        reason,
        _,
        _,
    ) in rows:
        when, known = _when(wall, bool(synced), monotonic, dates.get(boot_id))
        try:
            found.append(
                Happened(kind, json.loads(data), when, known, check, placement, reason)
            )
        except ValueError:
            found.append(Happened("unread", {}, when, known))
    return found


def _said(key: str) -> str:
    """SQL for a value in an event's data; null where that is no JSON any more."""
    return (
        "CASE WHEN json_valid(e.data_json) THEN json_extract(e.data_json,"
        f" '$.{key}') END"
    )


def raw_readings(
    db: sqlite3.Connection, sweep: str
) -> dict[str, tuple[bytes, list[int]]]:
    """By instrument: the bytes of the wire during a sweep, and each record's arrival in
    monotonic us."""
    return load.raw(db, sweep)


def moves(
    db: sqlite3.Connection,
    *,
    finding: str | None = None,
    unread: list[Unread] | None = None,
) -> Iterator[MoveRow]:
    """In the order in which they were planned; finding: only those that it advised.
    unread: see `list_findings`."""
    numbers: Iterable[int] = range(1, _last_number(db, "move") + 1)
    if finding is not None:
        query = (
            "SELECT move_key FROM move JOIN finding USING (finding_key) WHERE"
            " finding = ?"
        )
        numbers = [key for (key,) in db.execute(query, (finding,))]

    def made(
        move: str, finding: str, plan: bytes, became: bytes | None, verified: str | None
    ) -> MoveRow:
        done = None if became is None else json.loads(became)
        return MoveRow(
            move, finding, msgspec.json.decode(plan, type=Move), done, verified
        )

    query = (
        "SELECT m.move, f.finding, CAST(m.move_json AS BLOB), CAST(m.made_json AS"
        " BLOB), v.finding FROM move AS m JOIN finding AS f ON f.finding_key ="
        " m.finding_key LEFT JOIN finding AS v ON v.finding_key = m.verified_by WHERE"
        " m.move_key = ?"
    )
    return _each(db, "move", numbers, query, (), made, unread)


def describe(db: sqlite3.Connection) -> dict[str, dict[str, str]]:
    """What every table and column means; the table itself under the empty name."""
    tables: dict[str, dict[str, str]] = {}
    for table, column, words in db.execute(
        "SELECT table_name, column_name, words FROM description"
    ):
        tables.setdefault(table, {})[column] = words
    return tables


def back_up(path: Path | str, target: Path | str) -> None:
    """A whole copy of the log as it is at one moment, while it is written to;
    overwrites nothing."""
    target = Path(target).absolute()
    if target.exists():
        raise LogError(f"{target} exists already; a back-up overwrites nothing")
    with open_read(path) as db, closing(sqlite3.connect(target)) as copy:
        db.backup(copy)


_FINDING = f"""
    SELECT f.finding_key, r.run, {load.FOUND}, later.finding, r.instrument, r.hold,
           f.wall_s, f.clock_synced, f.monotonic_ns, boot_id
      FROM finding AS f
      LEFT JOIN check_run AS r ON r.run_key = f.run_key LEFT JOIN boot ON boot.boot_key = f.boot_key
      LEFT JOIN finding AS later ON later.finding_key = f.superseded_by
     WHERE f.finding_key = ?"""


def _findings(
    db: sqlite3.Connection,
    numbers: Iterable[int],
    unread: list[Unread] | None,
    wanted: list[tuple[str, str]],
) -> Iterator[FindingRow]:
    dates = _dates(db)

    def made(key: int, run: str | None, *columns: Any) -> FindingRow:
        *found, later, instrument, hold, wall, synced, monotonic, boot_id = columns
        finding, _ = load.sound_finding(*found)
        if run is None:
            raise LogDamaged("its check is missing from the log")
        when, known = _when(wall, bool(synced), monotonic, dates.get(boot_id))
        return FindingRow(key, run, finding, later, instrument, hold, when, known)

    query = _FINDING + "".join(f" AND {clause}" for clause, _ in wanted)
    return _each(
        db, "result", numbers, query, [value for _, value in wanted], made, unread
    )


def _each(
    db: sqlite3.Connection,
    what: Literal["result", "move"],
    numbers: Iterable[int],
    query: str,
    values: Sequence[str],
    made: Callable[..., T],
    unread: list[Unread] | None,
) -> Iterator[T]:
    """Row by row, so that one that can no longer be read costs only itself, and no
    other waits for the reader."""
    for number in numbers:
        try:
            with contained(f"{what} number {number} of the log"):
                row = db.execute(query, (number, *values)).fetchone()
                one = None if row is None else made(*row)
        except LogDamaged as error:
            if unread is None:
                _log.warning("%s", error)
            else:
                unread.append(Unread(what, number, _recorded(db, what, number)))
        else:
            if one is not None:
                yield one


def _recorded(db: sqlite3.Connection, what: str, number: int) -> str | None:
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


def _last_number(db: sqlite3.Connection, table: str) -> int:
    """Of a row that there ever was: no number is given twice, so all rows are found by
    counting."""
    (number,) = db.execute(
        "SELECT max(seq) FROM sqlite_sequence WHERE name = ?", (table,)
    ).fetchone()
    return number or 0


def _dates(db: sqlite3.Connection) -> dict[str, float]:
    """By boot: the wall clock at its monotonic zero, from the last time it was found
    synced."""
    return dict(
        db.execute(
            "SELECT boot_id, event.wall_s - event.monotonic_ns / 1e9 FROM event JOIN"
            " boot USING (boot_key) WHERE kind = 'clock' AND event.clock_synced = 1"
            " ORDER BY event_key"
        ).fetchall()
    )


def _when(
    wall: float, synced: bool, monotonic_ns: int, zero: float | None
) -> tuple[float, bool]:
    """Wall s, and whether that is known; zero: the wall clock at the boot's monotonic
    zero, once it was known."""
    if synced or zero is None:
        return wall, synced
    return zero + monotonic_ns / 1e9, True

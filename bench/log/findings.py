"""Reads the findings of the log, in lists and one by one with their evidence, and its
moves: what was advised, what was done, what verified it.
"""

from __future__ import annotations

import itertools
import json
import re
import sqlite3
import zlib
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from datetime import datetime, timedelta
from typing import Any

import msgspec

from bench.checks.model import Evidence
from bench.finding import Finding, Move, Remark, UnreadableRecord
from bench.log.dates import BootClocks, in_time
from bench.log.faults import contained
from bench.log.read_only import each_row, last_number
from bench.log.rows import LogDamaged, LogError
from bench.log.store import all_digests, load_gear, load_trace, trace_digest

# as bytes, which SQLite gives also where damage leaves no text
_FINDING_JSON = "CAST(f.finding_json AS BLOB), CAST(f.evidence_json AS BLOB), f.crc32"
_FINDING = f"""
    SELECT f.finding_key, r.run, {_FINDING_JSON}, later.finding, r.instrument, r.hold,
           f.wall_s, f.clock_synced, f.monotonic_ns, boot_id
      FROM finding AS f
      LEFT JOIN check_run AS r ON r.run_key = f.run_key
      LEFT JOIN boot ON boot.boot_key = f.boot_key
      LEFT JOIN finding AS later ON later.finding_key = f.superseded_by
     WHERE f.finding_key = ?"""


_WHOLE_FINDING = f"""
    SELECT {_FINDING_JSON}, f.finding_key, gear_key, traces_sha256
      FROM finding AS f WHERE finding = ?"""
_TRACES_OF_FINDING = (
    "SELECT trace_key FROM finding_trace WHERE finding_key = ? ORDER BY position"
)


class FindingRow(msgspec.Struct, frozen=True):
    """A finding in a list. wall_s, and the finding's own date: when, put right if the
    clock was synced later in the same boot. synced: whether that is known."""

    order: int
    run: str
    finding: Finding
    superseded_by: str | None
    instrument: str | None
    hold: str | None
    wall_s: float
    synced: bool

    @property
    def stands(self) -> bool:
        """Whether no later look took its place, and nothing of it is in doubt."""
        return self.superseded_by is None and not self.finding.doubts


def list_findings(
    db: sqlite3.Connection,
    *,
    finding: str | None = None,
    jig: str | None = None,
    check: str | None = None,
    last: int | None = None,
    before: str | None = None,
    unread: list[UnreadableRecord] | None = None,
) -> list[FindingRow]:
    """Oldest first. finding: only that of this id; last: only so many, the newest;
    before: only those before this one.

    unread: takes what is there and can no longer be read; it is a warning in the
    journal where none is given.
    """
    filters = {"finding": finding, "jig": jig, "check_kind": check}
    wanted = [(f"f.{c} = ?", v) for c, v in filters.items() if v is not None]
    numbers = _numbers(db, wanted)
    if before is not None:
        query = "SELECT finding_key FROM finding WHERE finding = ?"
        row = db.execute(query, (before,)).fetchone()
        there = row is not None and row[0] in numbers
        numbers = numbers[: numbers.index(row[0])] if there else []
    newest_first = _findings(db, reversed(numbers), unread, wanted)
    return list(itertools.islice(newest_first, last))[::-1]


def _numbers(
    db: sqlite3.Connection, wanted: Sequence[tuple[str, str]] = ()
) -> Sequence[int]:
    """The numbers of results, oldest first; only of what is wanted, where damage lets
    SQLite look for it."""
    numbers: Sequence[int] = range(1, last_number(db, "finding") + 1)
    with suppress(LogDamaged), contained("the list of results"):
        if wanted:
            where = " AND ".join(clause for clause, _ in wanted)
            query = (
                f"SELECT finding_key FROM finding AS f WHERE {where} ORDER BY"
                " finding_key"
            )
            found = db.execute(query, [value for _, value in wanted])
            numbers = [key for (key,) in found]
        return in_time(db, numbers)
    return numbers


def last_of_each(db: sqlite3.Connection) -> Iterator[FindingRow]:
    """The newest of each check on each saw, newest first."""
    query = "SELECT max(finding_key) FROM finding GROUP BY check_kind, saw ORDER BY 1"
    numbers = [number for (number,) in db.execute(f"{query} DESC")]
    return _findings(db, numbers, None, [])


def each_finding(
    db: sqlite3.Connection, unread: list[UnreadableRecord]
) -> Iterator[FindingRow]:
    """All findings, oldest first, one at a time: between two the log is not held."""
    return _findings(db, _numbers(db), unread, [])


def _findings(
    db: sqlite3.Connection,
    numbers: Iterable[int],
    unread: list[UnreadableRecord] | None,
    wanted: list[tuple[str, str]],
) -> Iterator[FindingRow]:
    clocks = BootClocks(db)

    def convert(key: int, run: str | None, *columns: Any) -> FindingRow:
        *found, later, instrument, hold, wall, synced, monotonic, boot_id = columns
        finding, _ = _sound_finding(*found)
        if run is None:
            raise LogDamaged("its check is missing from the log")
        when, known = clocks.date(wall, synced, monotonic, boot_id)
        finding = _put_right(finding, when - wall)
        return FindingRow(key, run, finding, later, instrument, hold, when, known)

    query = _FINDING + "".join(f" AND {clause}" for clause, _ in wanted)
    values = [value for _, value in wanted]
    return each_row(db, "result", numbers, query, values, convert, unread)


def _put_right(finding: Finding, seconds: float) -> Finding:
    """The finding with its date later by so much; one that is no date stays."""
    with suppress(ValueError, OverflowError):
        if seconds:
            at = datetime.fromisoformat(finding.at) + timedelta(seconds=seconds)
            at_text = at.isoformat(timespec="seconds")
            return msgspec.structs.replace(finding, at=at_text)
    return finding


def find_finding(db: sqlite3.Connection, finding: str) -> tuple[Finding, Evidence]:
    """The finding of this id, or of the only one that begins so. Raises LogError if
    none or several begin so, LogDamaged."""
    pattern = re.sub(r"([\\%_])", r"\\\1", finding) + "%"
    query = "SELECT finding FROM finding WHERE finding LIKE ? ESCAPE '\\' LIMIT 3"
    names = [name for (name,) in db.execute(query, (pattern,))]
    if finding in names:
        names = [finding]
    if len(names) > 1:
        listed = ", ".join(names)
        raise LogError(f"several findings begin with {finding!r}: {listed}; give more")
    return load_finding(db, names[0] if names else finding)


def load_finding(db: sqlite3.Connection, name: str) -> tuple[Finding, Evidence]:
    """A finding with all that it was worked out from. LogError if unknown, LogDamaged
    if unreadable."""
    with contained(f"the finding {name!r} is damaged in the log and"):
        row = db.execute(_WHOLE_FINDING, (name,)).fetchone()
        if row is None:
            raise LogError(f"the log has no finding {name!r}")
        found, rest = _sound_finding(*row[:3])
        key, gear_key, digests = row[3:]
        keys = db.execute(_TRACES_OF_FINDING, (key,)).fetchall()
        traces = [load_trace(db, trace_key) for (trace_key,) in keys]
        if all_digests([trace_digest(kept) for kept in traces]) != digests:
            raise ValueError("passes of its evidence are missing")
        evidence = msgspec.structs.replace(
            msgspec.convert(json.loads(rest), Evidence),
            traces=traces,
            gear=load_gear(db, gear_key),
        )
        return found, evidence


def _sound_finding(found: bytes, rest: bytes, crc: int) -> tuple[Finding, bytes]:
    """The finding and the JSON of its evidence. Raises LogDamaged, MsgspecError."""
    if zlib.crc32(found + rest) != crc:
        raise LogDamaged("a finding is damaged in the log: its checksum does not agree")
    return with_remarks(msgspec.json.decode(found, type=Finding)), rest


# what every sentence about a square that did not fit its history held, before remarks
# had codes; the square's history must pass such a finding over
_SQUARE_DOUBTED = "was it turned over"


def with_remarks(finding: Finding) -> Finding:
    """The sentences of an earlier version as remarks that are shown as they stand.

    Its doubts, which had codes already, stood first among its sentences.
    """
    if finding.remarks or not finding.notes:
        return finding
    remarks = [_noted(note) for note in finding.notes[len(finding.doubts) :]]
    return msgspec.structs.replace(finding, remarks=remarks)


def _noted(note: str) -> Remark:
    doubted = _SQUARE_DOUBTED in note
    return Remark("noted-square-doubted" if doubted else "noted", values={"text": note})


_EVENT = (
    "SELECT event_key, e.wall_s, e.clock_synced, e.monotonic_ns, boot_id FROM event AS"
    " e LEFT JOIN boot ON boot.boot_key = e.boot_key"
)


_MOVE = f"""
    SELECT m.move, f.finding, CAST(m.move_json AS BLOB), CAST(m.made_json AS BLOB),
           v.finding, p.wall_s, p.clock_synced, p.monotonic_ns, p.boot_id,
           d.wall_s, d.clock_synced, d.monotonic_ns, d.boot_id
      FROM move AS m
      JOIN finding AS f ON f.finding_key = m.finding_key
      LEFT JOIN finding AS v ON v.finding_key = m.verified_by
      LEFT JOIN ({_EVENT}) AS p ON p.event_key = m.planned_event_key
      LEFT JOIN ({_EVENT}) AS d ON d.event_key = m.made_event_key
     WHERE m.move_key = ?"""


class MoveRow(msgspec.Struct, frozen=True):
    """made: what was done; verified_by: the finding that looked afterwards; each None
    while not. planned_wall_s, made_wall_s: when, put right as dates of results are."""

    move: str
    finding: str
    plan: Move
    made: dict[str, object] | None = None
    verified_by: str | None = None
    planned_wall_s: float | None = None
    made_wall_s: float | None = None

    @property
    def became(self) -> str:
        if self.verified_by:
            return "verified"
        return "planned" if self.made is None else "made"

    @property
    def distance(self) -> float | None:
        """mm that it was made by, where that was noted."""
        far = (self.made or {}).get("distance_mm")
        return float(far) if isinstance(far, int | float) else None


def list_moves(
    db: sqlite3.Connection,
    *,
    finding: str | None = None,
    unread: list[UnreadableRecord] | None = None,
) -> Iterator[MoveRow]:
    """The moves in the order in which they were planned; finding: only those that it
    advised. unread: see `list_findings`."""
    numbers: Iterable[int] = range(1, last_number(db, "move") + 1)
    if finding is not None:
        query = (
            "SELECT move_key FROM move JOIN finding USING (finding_key) WHERE"
            " finding = ?"
        )
        numbers = [key for (key,) in db.execute(query, (finding,))]
    clocks = BootClocks(db)

    def when(event: Sequence[Any]) -> float | None:
        return None if event[0] is None else clocks.date(*event)[0]

    def convert(*columns: Any) -> MoveRow:
        move, finding, plan, became, verified, *events = columns
        done = None if became is None else json.loads(became)
        advised = msgspec.json.decode(plan, type=Move)
        planned, made = when(events[:4]), when(events[4:])
        return MoveRow(move, finding, advised, done, verified, planned, made)

    return each_row(db, "move", numbers, _MOVE, (), convert, unread)

"""Reads the moves of the log: what was advised, what was done, what verified it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator, Mapping
from typing import Any

import msgspec

from bench.finding import Move, Unread
from bench.log.dates import corrected_time, wall_times_at_zero
from bench.log.read_only import each_row, last_number

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
    unread: list[Unread] | None = None,
) -> Iterator[MoveRow]:
    """In the order in which they were planned; finding: only those that it advised.
    unread: see `list_findings`."""
    numbers: Iterable[int] = range(1, last_number(db, "move") + 1)
    if finding is not None:
        query = (
            "SELECT move_key FROM move JOIN finding USING (finding_key) WHERE"
            " finding = ?"
        )
        numbers = [key for (key,) in db.execute(query, (finding,))]

    zeros = wall_times_at_zero(db)

    def convert(
        move: str,
        finding: str,
        plan: bytes,
        became: bytes | None,
        verified: str | None,
        *events: Any,
    ) -> MoveRow:
        done = None if became is None else json.loads(became)
        advised = msgspec.json.decode(plan, type=Move)
        planned, made = (_moment(zeros, *events[at : at + 4]) for at in (0, 4))
        return MoveRow(move, finding, advised, done, verified, planned, made)

    return each_row(db, "move", numbers, _MOVE, (), convert, unread)


def _moment(
    zeros: Mapping[str, float],
    wall: float | None,
    synced: int,
    monotonic_ns: int,
    boot_id: str,
) -> float | None:
    if wall is None:
        return None
    return corrected_time(wall, bool(synced), monotonic_ns, zeros.get(boot_id))[0]

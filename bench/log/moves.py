"""Reads the moves of the log: what was advised, what was done, what verified it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Iterable, Iterator

import msgspec

from bench.finding import Move, Unread
from bench.log.row_by_row import each_row, last_number


class MoveRow(msgspec.Struct, frozen=True):
    """made: what was done; verified_by: the finding that looked afterwards; each None
    while not."""

    move: str
    finding: str
    plan: Move
    made: dict[str, object] | None
    verified_by: str | None


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

    def convert(
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
    return each_row(db, "move", numbers, query, (), convert, unread)

"""Reads what a daemon takes over at its start from its runs before: which cautions were
acknowledged lately, and how moves that were made live came out."""

from __future__ import annotations

from pathlib import Path
from typing import NamedTuple

import msgspec

from bench.log.dates import BootClocks
from bench.log.findings import list_moves
from bench.log.read_only import open_read
from bench.log.rows import Stamp

LATEST_RUNS = 100  # checks that are looked at, from the latest back; more than a day's


class CautionAcknowledgement(NamedTuple):
    """The time, wall s, at which all cautions of a check of this kind were
    acknowledged."""

    check: str
    saw: str | None
    wall_s: float


def caution_acknowledgements(
    path: Path, boot_id: str, now: Stamp
) -> list[CautionAcknowledgement]:
    """The acknowledgements in the order of recording. Of another boot only those whose
    day is known, and only where today is known too."""
    with open_read(path) as db:
        clocks = BootClocks(db)
        rows = db.execute(
            "SELECT check_kind, saw, boot_id, e.monotonic_ns, e.wall_s, e.clock_synced"
            " FROM event AS e JOIN check_run USING (run_key)"
            " JOIN boot ON boot.boot_key = e.boot_key"
            " WHERE run_key IN (SELECT run_key FROM check_run ORDER BY run_key DESC"
            " LIMIT ?) AND (kind = 'acknowledged' OR (kind = 'cautions-known'"
            " AND json_valid(data_json)"
            " AND json_array_length(data_json, '$.asked') = 0)) ORDER BY event_key",
            (LATEST_RUNS,),
        ).fetchall()
    found = []
    for check, saw, boot, monotonic, wall, synced in rows:
        if boot == boot_id:  # whatever the wall clock said then
            at, known = now.wall_s - (now.monotonic_ns - monotonic) / 1e9, True
        else:
            at, known = clocks.date(wall, synced, monotonic, boot)
            known = known and now.synced
        if known:
            found.append(CautionAcknowledgement(check, saw, at))
    return found


class LiveMoveHistory(msgspec.Struct):
    """drew: by jig and way of the move, mm that tightening drew the free end when it
    was last made live, positive away. made: findings whose move was made live."""

    drew: dict[tuple[str, str], float] = {}
    made: set[str] = set()


def live_move_history(path: Path) -> LiveMoveHistory:
    past = LiveMoveHistory()
    with open_read(path) as db:
        for move in list_moves(db):  # in the order in which they were planned
            if move.made is None or move.made.get("how") != "live":
                continue  # leaves that fall short are followed by a live move
            past.made.add(move.finding)
            jig, drew = move.made.get("jig"), move.made.get("drew_mm")
            if isinstance(jig, str) and isinstance(drew, int | float):
                past.drew[jig, move.plan.way] = float(drew)
    return past

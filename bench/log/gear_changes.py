"""Tells which earlier findings no longer speak, because the gear was changed since.

A blade that is new, or a drift that was accepted, leaves sled, slots and square as they
were: neither cuts a history.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable, Sequence

from bench.checks.model import EvidenceGear
from bench.gear import Square
from bench.log.findings import FindingRow
from bench.log.store import gear_names

SLED_AND_SAW = ("dropped", "moved", "runners", "saw")


def changed_since(
    db: sqlite3.Connection,
    gear: EvidenceGear,
    events: Sequence[str] = (*SLED_AND_SAW, "square"),
) -> Callable[[FindingRow], bool]:
    """Whether this sled, its saw or its square was changed after a finding; a square on
    whatever sled that was told."""
    # what the charts need is read only when a check is concluded
    from bench.log.upkeep_history import day_of_row, gear_events

    jig, _ = gear_names(gear)
    days = [
        event.day
        for event in gear_events(db)
        if event.what in events
        and (
            event.jig == jig
            or (event.what == "square" and _used_on(db, event.jig, gear.square))
        )
    ]
    return lambda row: bool(days) and day_of_row(row) < max(days)


def _used_on(db: sqlite3.Connection, jig: str, square: Square | None) -> bool:
    """Whether a sled was ever measured with this square."""
    rows = db.execute(
        "SELECT DISTINCT json_extract(gear_json, '$.square.name') FROM check_run JOIN"
        " gear USING (gear_key) WHERE jig = ? AND json_valid(gear_json)",
        (jig,),
    )
    return square is not None and (square.name,) in rows.fetchall()

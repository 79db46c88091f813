"""Puts the dates of rows right whose clock was set later in the same boot."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence

# how the boot of rows begins that came out of another log
IMPORTED = "import-"


def wall_times_at_zero(db: sqlite3.Connection) -> dict[str, float]:
    """By boot: the wall clock at its monotonic zero, from the last time it was found
    synced."""
    return dict(
        db.execute(
            "SELECT boot_id, event.wall_s - event.monotonic_ns / 1e9 FROM event JOIN"
            " boot USING (boot_key) WHERE kind = 'clock' AND event.clock_synced = 1"
            " ORDER BY event_key"
        ).fetchall()
    )


def corrected_time(
    wall: float, synced: bool, monotonic_ns: int, zero: float | None
) -> tuple[float, bool]:
    """Wall s, and whether that is known; zero: the wall clock at the boot's monotonic
    zero, once it was known."""
    if synced or zero is None:
        return wall, synced
    return zero + monotonic_ns / 1e9, True


def in_time(db: sqlite3.Connection, numbers: Sequence[int]) -> Sequence[int]:
    """Numbers of results, given oldest first, in the order of their checks' dates where
    some came out of another log; as they are where none did, since a clock may have
    been wrong. One without a known date stays behind the one before it."""
    query = "SELECT 1 FROM boot WHERE boot_id GLOB ? LIMIT 1"
    if db.execute(query, (IMPORTED + "*",)).fetchone() is None:
        return numbers
    zeros = wall_times_at_zero(db)
    begun = {
        key: corrected_time(wall, bool(synced), monotonic, zeros.get(boot_id))
        for key, wall, synced, monotonic, boot_id in db.execute(
            "SELECT finding_key, begun_wall_s, begun_clock_synced, begun_monotonic_ns,"
            " boot.boot_id FROM finding JOIN check_run USING (run_key) JOIN boot ON"
            " boot.boot_key = check_run.boot_key"
        )
    }
    dates: dict[int, float] = {}
    latest = 0.0
    for number in numbers:
        wall, assured = begun.get(number, (latest, False))
        latest = wall if assured or latest == 0.0 else latest
        dates[number] = latest
    return sorted(numbers, key=lambda number: dates[number])

"""Puts the dates of rows right whose clock was set later in the same boot."""

from __future__ import annotations

import sqlite3


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

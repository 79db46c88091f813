"""Reads the sweeps of the log with their traces and the bytes of the wire."""

from __future__ import annotations

import sqlite3
import zlib
from typing import Any

import msgspec

from bench.checks.model import Trace
from bench.log import packing
from bench.log.row_by_row import as_dicts
from bench.log.rows import LogDamaged, LogError, SweepRecord
from bench.log.store import load_trace


def list_sweeps(db: sqlite3.Connection, run: str) -> list[SweepRecord]:
    """All sweeps of a check in order, whatever became of them. A damaged trace is left
    out, and the reason says so."""
    cursor = db.execute(
        "SELECT sweep_key AS 'order', sweep, run, placement, push, seat, sweep.hold,"
        " gather, sweep.state, reason, boot_id, started_monotonic_ns, started_wall_s,"
        " started_clock_synced AS synced, ended_monotonic_ns, trace_key FROM sweep JOIN"
        " check_run USING (run_key) JOIN boot ON boot.boot_key = sweep.boot_key WHERE"
        " run = ? ORDER BY sweep_key",
        (run,),
    )
    return [_sweep(db, columns) for columns in as_dicts(cursor)]


def _sweep(db: sqlite3.Connection, columns: dict[str, Any]) -> SweepRecord:
    trace: Trace | None = None
    trace_key = columns.pop("trace_key")
    if trace_key is None:
        readings = count_readings(db, columns["order"])
    else:
        query = "SELECT readings FROM trace WHERE trace_key = ?"
        (readings,) = db.execute(query, (trace_key,)).fetchone() or (0,)
        try:
            trace = load_trace(db, trace_key)
        except LogDamaged as error:
            columns["reason"] = str(error)
    return msgspec.convert(
        columns | {"readings": readings, "trace": trace},
        SweepRecord,
        strict=False,  # SQLite has no truth values: 0 and 1 are read as such
        from_attributes=True,
    )


def count_readings(db: sqlite3.Connection, sweep_key: int) -> int:
    """Records of the instrument that sent the most, merged or still in blocks."""
    counts: dict[str, int] = {}
    for table in ("reading", "chunk"):
        query = (
            f"SELECT instrument, sum(readings) FROM {table} WHERE sweep_key = ? GROUP"
            " BY instrument"
        )
        for instrument, count in db.execute(query, (sweep_key,)):
            counts[instrument] = counts.get(instrument, 0) + count
    return max(counts.values(), default=0)


def load_raw_readings(
    db: sqlite3.Connection, sweep: str
) -> dict[str, tuple[bytes, list[int]]]:
    """By instrument: bytes of the wire and arrivals (monotonic us) of an ended sweep;
    LogError if unknown."""
    rows = db.execute(
        "SELECT instrument, raw_zlib, arrival_us_packed FROM sweep LEFT JOIN reading"
        " USING (sweep_key) WHERE sweep = ? ORDER BY instrument",
        (sweep,),
    ).fetchall()
    if not rows:
        raise LogError(f"the log has no sweep {sweep!r}")
    try:
        return {
            instrument: (zlib.decompress(packed), packing.unpack_integers(times))
            for instrument, packed, times in rows
            if instrument is not None
        }
    except (zlib.error, packing.PackingError) as error:
        raise LogDamaged(
            f"the raw readings of sweep {sweep!r} are damaged in the log: {error}"
        ) from error

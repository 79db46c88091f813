"""Reads the checks that are open in the log, and what each has gathered."""

from __future__ import annotations

import sqlite3

from bench.checks.model import Trace
from bench.log.events import list_events
from bench.log.rows import LogDamaged, OpenCheck, SweepRecord
from bench.log.store import load_trace


def list_open_checks(db: sqlite3.Connection) -> list[OpenCheck]:
    rows = db.execute(
        "SELECT run_key, run, check_kind, jig FROM check_run WHERE state = 'open' ORDER"
        " BY run_key"
    )
    return [_open_check(db, *row) for row in rows.fetchall()]


def _open_check(
    db: sqlite3.Connection, key: int, run: str, check: str, jig: str | None
) -> OpenCheck:
    query = "SELECT finding FROM finding WHERE run_key = ? ORDER BY finding_key"
    findings = [finding for (finding,) in db.execute(query, (key,))]
    events, sweeps = list_events(db, run), list_sweeps(db, run)
    return OpenCheck(run, check, jig, events, sweeps, findings)


def list_sweeps(db: sqlite3.Connection, run: str) -> list[SweepRecord]:
    """All sweeps of a check in order, whatever became of them. A damaged trace is left
    out, and the reason says so."""
    rows = db.execute(
        "SELECT sweep, placement, sweep.state, reason, trace_key FROM sweep JOIN"
        " check_run USING (run_key) WHERE run = ? ORDER BY sweep_key",
        (run,),
    )
    return [_sweep(db, *row) for row in rows.fetchall()]


def _sweep(
    db: sqlite3.Connection,
    sweep: str,
    placement: str,
    state: str,
    reason: str | None,
    trace_key: int | None,
) -> SweepRecord:
    trace: Trace | None = None
    if trace_key is not None:
        try:
            trace = load_trace(db, trace_key)
        except LogDamaged as error:
            reason = str(error)
    return SweepRecord(sweep, placement, state, reason, trace)


def count_readings(db: sqlite3.Connection, sweep_key: int) -> int:
    """Records of the instrument that sent the most, merged or still in blocks."""
    (most,) = db.execute(
        "SELECT max(count) FROM (SELECT sum(readings) AS count FROM (SELECT instrument,"
        " readings FROM reading WHERE sweep_key = ?1 UNION ALL SELECT instrument,"
        " readings FROM chunk WHERE sweep_key = ?1) GROUP BY instrument)",
        (sweep_key,),
    ).fetchone()
    return most or 0

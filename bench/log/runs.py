"""Reads the checks of the log: which are open, and what each has gathered."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

import msgspec

from bench.checks.model import Evidence, Lean, Tap
from bench.log.events import list_events
from bench.log.row_by_row import as_dicts
from bench.log.rows import LogError, OpenRun
from bench.log.store import load_gear
from bench.log.sweeps import list_sweeps


def list_open_runs(db: sqlite3.Connection) -> list[OpenRun]:
    cursor = db.execute(
        'SELECT run_key, run, check_kind AS "check", jig, saw, options_json, gear_key,'
        " instrument, hold, begun_wall_s, boot_id FROM check_run JOIN boot USING"
        " (boot_key) WHERE state = 'open' ORDER BY run_key"
    )
    return [_open_run(db, columns) for columns in as_dicts(cursor)]


def _open_run(db: sqlite3.Connection, columns: dict[str, Any]) -> OpenRun:
    run, key = columns["run"], columns.pop("run_key")
    findings = db.execute(
        "SELECT finding FROM finding WHERE run_key = ? ORDER BY finding_key", (key,)
    )
    columns |= {
        "options": json.loads(columns.pop("options_json")),
        "gear": load_gear(db, columns.pop("gear_key")),
        "events": list_events(db, run),
        "sweeps": list_sweeps(db, run),
        "findings": [finding for (finding,) in findings],
    }
    return msgspec.convert(columns, OpenRun, from_attributes=True)


def load_evidence(db: sqlite3.Connection, run: str) -> Evidence:
    """What a check has gathered so far: its whole sweeps, leans and taps. Raises
    LogError if unknown."""
    row = db.execute(
        "SELECT check_kind, options_json, gear_key FROM check_run WHERE run = ?", (run,)
    ).fetchone()
    if row is None:
        raise LogError(f"the log has no check {run!r}")
    kind, options, gear_key = row
    events = list_events(db, run)
    leans = {
        str(event.data["placement"]): msgspec.convert(event.data, Lean)
        for event in events
        if event.kind == "lean"
    }
    alive = [str(event.data["placement"]) for event in events if event.kind == "alive"]
    return Evidence(
        check=kind,
        traces=[
            sweep.trace
            for sweep in list_sweeps(db, run)
            if sweep.state == "whole" and sweep.trace is not None
        ],
        options=json.loads(options),
        gear=load_gear(db, gear_key),
        leans=list(leans.values()),
        taps=[msgspec.convert(e.data, Tap) for e in events if e.kind == "tap"],
        alive=alive or None,
    )

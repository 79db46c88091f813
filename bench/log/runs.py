"""Reads the checks of the log: which are open, and what each has gathered."""

from __future__ import annotations

import json
import sqlite3
from typing import Any

import msgspec

from bench.log.events import list_events
from bench.log.row_by_row import as_dicts
from bench.log.rows import OpenRun
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

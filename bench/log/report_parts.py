"""Gathers what a report shows beside its results: drift, due dates, forecasts of the
cut, and the gear; the log is gone through once for all of them.

Blocking; called off the event loop.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from bench.gear import Jig
from bench.log.cut_forecast import sled_forecasts
from bench.log.dates import in_time
from bench.log.read_only import open_read
from bench.log.store import load_gear
from bench.log.upkeep_history import load_history, today
from bench.units import System
from bench.upkeep.drift import charted_series, drift_document
from bench.upkeep.due import due_document


def report_parts(
    path: Path, *, now: float, jigs: Mapping[str, Jig], units: System
) -> dict[str, Any]:
    """`drift`, `due`: their documents; `cuts`: by sled that of `cut`; `gear`: by sled
    or saw as its latest result used it. now: s since the epoch. jigs: the sleds of the
    settings. Raises LogError."""
    history, _ = load_history(path, jigs)
    judged = charted_series(history)
    with open_read(path) as db:
        gear = _latest_gear(db)
        cuts = sled_forecasts(db, now=now, jigs=jigs, units=units)
    return {
        "drift": drift_document(history, judged=judged),
        "due": due_document(history, at=today(history), judged=judged),
        "cuts": cuts,
        "gear": msgspec.to_builtins(gear),
    }


def _latest_gear(db: sqlite3.Connection) -> dict[str, Any]:
    """By the name of the sled, or of the saw where a result has none."""
    rows = db.execute(
        "SELECT finding_key, coalesce(jig, saw), gear_key FROM finding WHERE"
        " superseded_by IS NULL AND coalesce(jig, saw) IS NOT NULL"
    )
    used = {number: (subject, key) for number, subject, key in rows}
    latest = dict(used[number] for number in in_time(db, sorted(used)))
    return {subject: load_gear(db, key) for subject, key in latest.items()}

"""Forecasts of a sled's cut from what the log knows of it, and the parts of a report
beside its results.

Reads beside the writer. Every function blocks: call it off the event loop.
"""

from __future__ import annotations

import json
import sqlite3
import statistics
import time
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

from bench.cut.conditions import read_conditions
from bench.cut.document import cut_document, shop_document
from bench.cut.terms import (
    FENCE,
    LATEST_FINDINGS,
    OF_SAW,
    OF_SLED,
    OUTDATES,
    LoggedFinding,
)
from bench.gear import Jig
from bench.log.dates import in_time
from bench.log.findings import FindingRow, list_findings, list_moves, load_finding
from bench.log.read_only import open_read
from bench.log.rows import LogDamaged, LogError
from bench.log.store import load_gear
from bench.log.upkeep_history import due_of_log, gear_events, load_history, today
from bench.render.cut import with_words
from bench.units import System
from bench.upkeep.dates import DAY_S
from bench.upkeep.drift import charted_series, drift_document
from bench.upkeep.due_dates import due_document

Document = dict[str, Any]


def cut_forecast(
    path: Path,
    jig: str | None,
    options: Mapping[str, object],
    jigs: Mapping[str, Jig],
    units: System,
) -> Document:
    """The forecast of one sled, with its sentence; without a name that of the only
    sled, or shortly of all. jigs: of the settings. Raises LogError, OptionError."""
    with open_read(path) as db:
        sleds = _sleds(db, jigs)
        if jig is None and len(sleds) > 1:
            return shop_forecast(path, jigs)
        if jig is not None and jig not in sleds:
            there = ", ".join(sleds) or "none yet"
            raise LogError(f"no sled is called {jig!r}; there are: {there}")
        sled = sleds[jig] if jig is not None else next(iter(sleds.values()), None)
        return _forecast(db, sled, options, units)


def _forecast(
    db: sqlite3.Connection,
    sled: Jig | None,
    options: Mapping[str, object],
    units: System,
) -> Document:
    conditions = read_conditions(options, sled)
    return with_words(cut_document(_results(db, sled), sled, conditions), units)


def shop_forecast(path: Path, jigs: Mapping[str, Jig]) -> Document:
    """The forecast of all sleds of the shop, shortly, with the dates of their next
    checks."""
    dates: dict[str, str | None] = {}
    due = due_of_log(path, jigs=jigs)["due"]
    for row in sorted(due, key=lambda row: str(row["by"])):
        dates.setdefault(row["jig"], row["by"])
    with open_read(path) as db:
        sleds = _sleds(db, jigs).values()
        return shop_document([(sled, _results(db, sled)) for sled in sleds], dates)


def _sleds(db: sqlite3.Connection, jigs: Mapping[str, Jig]) -> dict[str, Jig]:
    """The sleds by name: those of the settings, and those of the log as it last kept
    them."""
    rows = db.execute(
        "SELECT jig, max(run_key), gear_key FROM check_run WHERE jig IS NOT NULL GROUP"
        " BY jig ORDER BY jig"
    )
    kept = {name: load_gear(db, key).jig or Jig(name) for name, _, key in [*rows]}
    return {**kept, **jigs}


def _results(db: sqlite3.Connection, sled: Jig | None) -> list[LoggedFinding]:
    """The results of the sled on the saw of its latest result, and of that saw; newest
    first."""
    if sled is None:
        return []
    rows = _sound(db, OF_SLED, sled.name)
    saw = rows[0].finding.saw if rows else sled.saw
    rows = [row for row in rows + _sound(db, OF_SAW, None) if row.finding.saw == saw]
    rows.sort(key=lambda row: row.order, reverse=True)
    swept, moved = _swept(db, rows), _last_moved(db, sled.name)
    events = [event for event in gear_events(db) if event.jig == sled.name]

    def result(row: FindingRow) -> LoggedFinding:
        check, day = row.finding.check, row.wall_s / DAY_S
        later = [event.what for event in events if event.day > day]
        outdated = any(check in OUTDATES.get(what, ()) for what in later)
        return LoggedFinding(
            finding=row.finding,
            age_days=max(0, int(time.time() / DAY_S - day)),
            hold=row.hold,
            outdated=outdated or (check == FENCE and row.order <= moved),
            swept=swept,
        )

    return [result(row) for row in rows]


def _sound(
    db: sqlite3.Connection, kinds: Iterable[str], jig: str | None
) -> list[FindingRow]:
    """The results of these checks that stand, newest first."""
    lists = [
        list_findings(db, check=kind, jig=jig, last=LATEST_FINDINGS) for kind in kinds
    ]
    rows = [row for rows in lists for row in rows if row.stands]
    return sorted(rows, key=lambda row: row.order, reverse=True)


def _last_moved(db: sqlite3.Connection, jig: str) -> int:
    """Place in the log of the latest result, of whatever check and on whatever saw, by
    which the sled fence was moved; 0 where it never was."""
    made = [move.finding for move in list_moves(db) if move.made is not None]
    query = (
        "SELECT max(finding_key) FROM finding WHERE jig = ? AND finding IN (SELECT"
        " value FROM json_each(?))"
    )
    (last,) = db.execute(query, (jig, json.dumps(made))).fetchone()
    return last or 0


def _swept(db: sqlite3.Connection, rows: Sequence[FindingRow]) -> float | None:
    """mm of a pass of the latest check of the sled fence; None where not known."""
    latest = next((r for r in rows if r.finding.check == FENCE), None)
    if latest is None:
        return None
    try:
        _, evidence = load_finding(db, latest.finding.id)
    except LogDamaged:
        return None
    lengths = [
        max(t.travel) - min(t.travel) for t in evidence.traces if t.push and t.travel
    ]
    return statistics.median(lengths) if lengths else None


def report_parts(path: Path, jigs: Mapping[str, Jig], units: System) -> dict[str, Any]:
    """`drift`, `due`: their documents; `cuts`: by sled that of `cut`; `gear`: by sled
    or saw as its latest result used it. jigs: the sleds of the
    settings. Raises LogError."""
    history, _ = load_history(path, jigs)
    judged = charted_series(history)
    with open_read(path) as db:
        gear = _latest_gear(db)
        cuts = {
            name: _forecast(db, jigs.get(name, sled), {}, units)
            for name, sled in _sleds(db, {}).items()
        }
    return {
        "drift": drift_document(history, judged=judged),
        "due": due_document(history, at=today(history), judged=judged),
        "cuts": cuts,
        "gear": msgspec.to_builtins(gear),
    }


def _latest_gear(db: sqlite3.Connection) -> dict[str, Any]:
    """The gear by the name of the sled, or of the saw where a result has none."""
    rows = db.execute(
        "SELECT finding_key, coalesce(jig, saw), gear_key FROM finding WHERE"
        " superseded_by IS NULL AND coalesce(jig, saw) IS NOT NULL"
    )
    used = {number: (subject, key) for number, subject, key in rows}
    latest = dict(used[number] for number in in_time(db, sorted(used)))
    return {subject: load_gear(db, key) for subject, key in latest.items()}

"""Writes findings and sweeps for other programs, as JSON lines and as CSV.

The CSV has the shape of recorded sweeps. Numbers are written so that they read back
exactly.
"""

from __future__ import annotations

import csv
import io
import sqlite3
from collections.abc import Generator, Sequence
from pathlib import Path
from typing import TextIO

import msgspec

from bench.checks import find
from bench.checks.model import Evidence, Trace
from bench.checks.options import understood
from bench.finding import Unread
from bench.log.events import list_gear_events
from bench.log.export_line import EventLine, ExportLine
from bench.log.findings import FindingRow, each_finding, find_finding, load_finding
from bench.log.moves import list_moves
from bench.log.read_only import open_read
from bench.log.rows import LogDamaged

SWEEP_COLUMNS = ("sweep", "placement", "travel", "reading", "t", "seat", "hold")

_PLACEMENT, _TRAVEL, _READING = (
    ("placement", "what", "end"),
    ("travel", "station"),
    ("reading", "width"),
)
_UNITS = {**dict.fromkeys((*_TRAVEL, *_READING), "_mm"), "t": "_s"}


def exported(
    path: Path, finding: str | None, unread: list[Unread]
) -> Generator[str, None, None]:
    """One finding's sweeps as CSV in the recorded shape, or every finding with its
    evidence and then what happened to the gear, a JSON line each.

    In pieces, and the log is not held between them: it may take as long as it takes.
    unread: takes what could not be read.
    """
    with open_read(path) as db:
        if finding is None:
            for row in each_finding(db, unread):
                yield json_line(db, row, unread)
            for event in list_gear_events(db):
                yield msgspec.json.encode(EventLine(event)).decode() + "\n"
            return
        evidence = find_finding(db, finding)[1]
    yield _csv(evidence)


def _csv(evidence: Evidence) -> str:
    columns = find(evidence.check).columns
    swept = columns == ("sweep", "placement", "travel", "reading")
    extra = ("t", "seat", "hold") if swept else ()
    out = io.StringIO()
    sweeps_csv(as_shown(evidence), out, (*columns, *extra))
    return out.getvalue()


def json_line(db: sqlite3.Connection, row: FindingRow, unread: list[Unread]) -> str:
    """The finding with its run, what replaced it, its whole evidence and what became of
    its move; one object.

    Evidence that can no longer be read is null, with the reason under `damaged`, and is
    put into `unread`.
    """
    evidence, damaged = None, None
    try:
        _, evidence = load_finding(db, row.finding.id)
    except LogDamaged as error:
        damaged = str(error)
        unread.append(Unread("evidence", row.order, row.finding.at))
    line = ExportLine(
        run=row.run,
        wall_s=row.wall_s,
        clock_synced=row.synced,
        instrument=row.instrument,
        hold=row.hold,
        superseded_by=row.superseded_by,
        finding=row.finding,
        evidence=evidence,
        damaged=damaged,
        moves=list(list_moves(db, finding=row.finding.id, unread=unread)),
    )
    return msgspec.json.encode(line).decode() + "\n"


def as_shown(evidence: Evidence) -> Evidence:
    """Travel and readings as the instruments showed them, which is what recorded files
    hold: what grows the other way is turned back, so that the same settings turn it
    again."""
    check, gear = find(evidence.check), evidence.gear
    options, _ = understood(check, evidence.options)
    steps = {
        step.placement: step
        for step in check.plan({**options, "placements": "both"}, gear)
    }
    turned = "reading" in check.columns and gear.indicator.grows == "pulled-out"
    turn = -1.0 if turned else 1.0
    traces = []
    for trace in evidence.traces:
        step = steps.get(trace.placement)
        if step is None and check.accepts is not None:
            step = check.accepts(trace.placement, options, gear)
        swept = step is not None and step.gather == "sweep" and step.mount is not None
        away = -1.0 if swept and gear.travel.grows == "toward" else 1.0
        travel = [away * s for s in trace.travel]
        reading = [turn * r for r in trace.reading]
        shown = msgspec.structs.replace(trace, travel=travel, reading=reading)
        traces.append(shown)
    return msgspec.structs.replace(evidence, traces=traces)


def sweeps_csv(
    evidence: Evidence, out: TextIO, columns: Sequence[str] = SWEEP_COLUMNS
) -> None:
    """The readings behind a finding, one a row; columns as the check names those of its
    recorded file.

    Lengths in mm, times in s, with the unit in the header.
    """
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([column + _UNITS.get(column, "") for column in columns])
    for number, trace in enumerate(evidence.traces, 1):
        cells = _cells(trace, number)
        writer.writerows(zip(*(cells[column] for column in columns), strict=True))


def _cells(trace: Trace, number: int) -> dict[str, Sequence[object]]:
    """By column; the csv module writes a float so that it reads back exactly."""
    length = len(trace.reading)
    same = {
        "sweep": trace.sweep or str(number),
        "seat": trace.seat or "",
        "hold": trace.hold or "",
        **dict.fromkeys(_PLACEMENT, trace.placement),
    }
    return {
        **{column: [text] * length for column, text in same.items()},
        **dict.fromkeys(_TRAVEL, trace.travel),
        **dict.fromkeys(_READING, trace.reading),
        "t": trace.at if trace.at is not None else [""] * length,
    }

"""Writes findings and sweeps for other programs, as JSON lines and as CSV, and reads
such a line.

The CSV has the shape of recorded sweeps. Numbers are written so that they read back
exactly. Of a result only the finding must be in a line; the rest is filled in.
"""

from __future__ import annotations

import csv
import io
import sqlite3
from collections.abc import Generator, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, NamedTuple, TextIO

import msgspec

from bench.checks import find
from bench.checks.model import Evidence, Trace
from bench.checks.options import understood
from bench.finding import Finding, UnreadableRecord
from bench.gear import LONGEST_NAME, MOST_LENGTHS
from bench.log.events import list_gear_events
from bench.log.findings import (
    FindingRow,
    MoveRow,
    each_finding,
    find_finding,
    list_moves,
    load_finding,
)
from bench.log.read_only import open_read
from bench.log.rows import ExportedEvent, LogDamaged
from bench.protocol import texts_in
from bench.upkeep.history import EVENTS

LONGEST_PORT = 400  # characters of an instrument's lasting name, which may be a path
SWEEP_COLUMNS = ("sweep", "placement", "travel", "reading", "t", "seat", "hold")

_PLACEMENT, _TRAVEL, _READING = (
    ("placement", "what", "end"),
    ("travel", "station"),
    ("reading", "width"),
)
_UNITS = {**dict.fromkeys((*_TRAVEL, *_READING), "_mm"), "t": "_s"}


class ExportLine(msgspec.Struct, frozen=True, kw_only=True):
    """wall_s: when it was recorded, s since 1970 UTC; None: as the finding says.
    damaged: why the evidence could not be read where it was exported."""

    run: str | None = None
    wall_s: float | None = None
    clock_synced: bool = True
    instrument: str | None = None
    hold: str | None = None
    superseded_by: str | None = None
    finding: Finding
    evidence: Evidence | None = None
    damaged: str | None = None
    moves: list[MoveRow] = []


class EventLine(msgspec.Struct, frozen=True):
    event: ExportedEvent


class UnusableLine(ValueError):
    """A line that holds no result; says why."""


class ReadLine(NamedTuple):
    """A line as it is taken. unknown: fields that this version does not know, left
    out."""

    line: ExportLine | EventLine
    unknown: list[str]


def exported(
    path: Path, finding: str | None, unread: list[UnreadableRecord]
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


def json_line(
    db: sqlite3.Connection, row: FindingRow, unread: list[UnreadableRecord]
) -> str:
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
        unread.append(UnreadableRecord("evidence", row.order, row.finding.at))
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
    """The evidence with travel and readings as the instruments showed them, which is
    what recorded files hold: what grows the other way is turned back, so that the same
    settings turn it again."""
    check, gear = find(evidence.check), evidence.gear
    options, _ = understood(check, evidence.options)
    options["placements"] = "both"
    steps = check.steps_at(evidence.placements, options, gear)
    turned = "reading" in check.columns and gear.indicator.grows == "pulled-out"
    turn = -1.0 if turned else 1.0
    traces = []
    for trace in evidence.traces:
        step = steps.get(trace.placement)
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
    """The cells by column; the csv module writes a float so that it reads back
    exactly."""
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


def read_line(text: bytes) -> ReadLine:
    """Raises UnusableLine."""
    try:
        given = msgspec.json.decode(text, type=dict[str, Any])
    except (msgspec.MsgspecError, UnicodeDecodeError) as error:
        raise UnusableLine(f"it is no JSON ({error})") from error
    except RecursionError as error:
        raise UnusableLine("it is nested too deep") from error
    try:
        if "event" in given:
            line = _sound_event(msgspec.convert(given, EventLine))
            return ReadLine(line, [*_unknown(given, msgspec.to_builtins(line))])
        result = _sound_result(msgspec.convert(given, ExportLine))
    except msgspec.ValidationError as error:
        raise UnusableLine(str(error)) from error
    if (evidence := result.evidence) is not None:
        _check_evidence(evidence)
        evidence = msgspec.structs.replace(evidence, traces=[])  # they may be long
    taken = msgspec.to_builtins(msgspec.structs.replace(result, evidence=evidence))
    return ReadLine(result, [*_unknown(given, taken)])


def _sound_event(line: EventLine) -> EventLine:
    data = line.event.data
    if data.get("what") not in EVENTS:
        raise UnusableLine(f"its event is none of {', '.join(EVENTS)}")
    _check_names({"jig": data.get("jig") or "", "note": data.get("note") or None})
    said, wall = _date(data.get("at") or ""), line.event.wall_s
    if wall is None:
        wall = (said if said.tzinfo else said.replace(tzinfo=UTC)).timestamp()
    return EventLine(msgspec.structs.replace(line.event, wall_s=wall))


def _sound_result(line: ExportLine) -> ExportLine:
    """The line with its moment and a run. Names are short lines, as everywhere where a
    name enters."""
    finding = line.finding
    run = line.run or f"of-{finding.id}"
    names = {
        "id": finding.id,
        "check": finding.check,
        "jig": finding.jig,
        "saw": finding.saw,
        "run": run,
        "hold": line.hold,
        "superseded_by": line.superseded_by,
        **{f"quantity {n}": q.name for n, q in enumerate(finding.quantities, 1)},
        **{f"move {n}": move.move for n, move in enumerate(line.moves, 1)},
    }
    _check_names(names)
    _check_names({"instrument": line.instrument}, LONGEST_PORT)
    _check_quantities(finding)
    wall = line.wall_s
    said = _date(finding.at)
    if said.tzinfo is None:
        raise UnusableLine(f"{finding.at!r} is a date without an offset")
    if wall is None:
        wall = said.timestamp()
    return msgspec.structs.replace(line, wall_s=wall, run=run)


def _check_evidence(evidence: Evidence) -> None:
    for number, trace in enumerate(evidence.traces, 1):
        columns = [trace.travel, trace.reading, trace.at or trace.travel]
        if len({len(column) for column in columns}) > 1:
            raise UnusableLine(f"pass {number} has not as many readings as travels")
    if (leaves := len(evidence.gear.leaves)) > MOST_LENGTHS:
        raise UnusableLine(
            f"{leaves} leaves are no set; at most {MOST_LENGTHS} would do"
        )
    rest = msgspec.to_builtins(msgspec.structs.replace(evidence, traces=[]))
    if (longest := max(map(len, texts_in(rest)))) > LONGEST_PORT:
        raise UnusableLine(f"a text in it has {longest} characters")


def _date(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
        at.timestamp()
    except (ValueError, OverflowError, OSError) as error:
        raise UnusableLine(f"{text[:LONGEST_NAME]!r} is no date") from error
    return at


def _check_names(names: Mapping[str, str | None], most: int = LONGEST_NAME) -> None:
    for name, text in names.items():
        if text is not None and not (0 < len(text) <= most and text.isprintable()):
            raise UnusableLine(
                f"its {name} is {text[:most]!a}; a name of at most {most}"
                " printable characters would do"
            )


def _check_quantities(finding: Finding) -> None:
    """Refuse quantities that cannot be. All numbers are finite: JSON has no others."""
    if not finding.quantities:
        raise UnusableLine("its finding has no quantity")
    for q in finding.quantities:
        if q.uncertainty < 0 or (q.tolerance is not None and q.tolerance <= 0):
            raise UnusableLine(
                f"the uncertainty or the tolerance of its {q.name} is negative"
            )


def _unknown(given: Any, taken: Any, place: str = "") -> Iterator[str]:
    """The fields of what was given that are not in what was taken."""
    if isinstance(given, dict) and isinstance(taken, dict):
        for key, value in given.items():
            if key not in taken:
                yield f"{place}{key}"
            else:
                yield from _unknown(value, taken[key], f"{place}{key}.")
    elif isinstance(given, list) and isinstance(taken, list):
        for one, other in zip(given, taken, strict=False):
            yield from _unknown(one, other, place)

"""One line of an export: a result with its evidence and moves, and how such a line is
read.

Of a result only the finding must be there; the rest is filled in here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import UTC, datetime
from typing import Any, Literal, NamedTuple

import msgspec

from bench.checks.model import Evidence
from bench.finding import Finding
from bench.gear import LONGEST_NAME, MOST_LENGTHS
from bench.log.moves import MoveRow
from bench.protocol import texts_in
from bench.upkeep.history import EVENTS

LONGEST_PORT = 400  # characters of an instrument's lasting name, which may be a path


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


class ExportedEvent(msgspec.Struct, frozen=True, kw_only=True):
    """What somebody said happened to a sled, its saw or its square. data: `jig`,
    `what`, `at` (ISO 8601) and perhaps a `note`. wall_s: when it was said; None: at
    that moment."""

    kind: Literal["gear-event"]
    data: dict[str, str | None]
    wall_s: float | None = None
    clock_synced: bool = True


class EventLine(msgspec.Struct, frozen=True):
    event: ExportedEvent


class UnusableLine(ValueError):
    """A line that holds no result; says why."""


class ReadLine(NamedTuple):
    """A line as it is taken. unknown: fields that this version does not know, left
    out."""

    line: ExportLine | EventLine
    unknown: list[str]


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
    """With its moment and a run. Names are short lines, as everywhere where a name
    enters."""
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
        if not all(math.isfinite(value) for column in columns for value in column):
            raise UnusableLine(f"pass {number} holds a number that is not finite")
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
    if not finding.quantities:
        raise UnusableLine("its finding has no quantity")
    for q in finding.quantities:
        numbers = (q.value, q.uncertainty, q.tolerance or 0.0)
        if not all(math.isfinite(number) for number in numbers):
            raise UnusableLine(f"its {q.name} is not finite")
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

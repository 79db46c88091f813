"""One line of an export: a result with its evidence and moves, and how such a line is
read.

What comes from other hands may hold the finding alone; the rest is filled in here.
"""

from __future__ import annotations

import hashlib
import math
from collections.abc import Iterator, Mapping, Sequence
from datetime import UTC, datetime
from typing import Any, Literal, NamedTuple

import msgspec

from bench.checks.model import Evidence, Trace
from bench.finding import Finding
from bench.gear import LONGEST_NAME, MOST_LENGTHS
from bench.log.moves import MoveRow
from bench.protocol import texts_in
from bench.upkeep.history import EVENTS

_TRACE = frozenset(Trace.__struct_fields__)
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
    """A line as it is taken. unknown: fields that this version does not know, left out.
    without: why its evidence is left out, or None."""

    line: ExportLine | EventLine
    unknown: list[str]
    without: str | None = None


def read_line(text: bytes) -> ReadLine:
    """Raises UnusableLine. A line may be a finding only."""
    try:
        given = msgspec.json.decode(text)
    except (msgspec.DecodeError, UnicodeDecodeError) as error:
        raise UnusableLine(f"it is no JSON ({error})") from error
    except RecursionError as error:
        raise UnusableLine("it is nested too deep") from error
    if isinstance(given, dict) and "quantities" in given:
        given = {"finding": given}
    if isinstance(given, dict) and isinstance(given.get("event"), dict):
        return _read_event(given)
    if not isinstance(given, dict) or not isinstance(given.get("finding"), dict):
        raise UnusableLine("it holds no finding")
    evidence, fields, without = _evidence(given.pop("evidence", None))
    try:
        line = msgspec.convert(given, ExportLine)
    except msgspec.ValidationError as error:
        raise UnusableLine(str(error)) from error
    line = _filled_in(msgspec.structs.replace(line, evidence=evidence))
    _check_texts(line)
    _check_quantities(line.finding)
    taken = msgspec.to_builtins(msgspec.structs.replace(line, evidence=None))
    unknown = [*_unknown(given, taken, ""), *fields]
    return ReadLine(line, unknown, without or line.damaged)


def _read_event(given: Any) -> ReadLine:
    try:
        event = msgspec.convert(given, EventLine).event
    except msgspec.ValidationError as error:
        raise UnusableLine(str(error)) from error
    data = event.data
    if data.get("what") not in EVENTS:
        raise UnusableLine(f"its event is none of {', '.join(EVENTS)}")
    _check_names({"jig": data.get("jig") or "", "note": data.get("note") or None})
    at = _date(data.get("at") or "", event.wall_s)
    if event.wall_s is None:
        event = msgspec.structs.replace(event, wall_s=at.timestamp())
    line = EventLine(event)
    return ReadLine(line, [*_unknown(given, msgspec.to_builtins(line), "")])


def _evidence(given: Any) -> tuple[Evidence | None, list[str], str | None]:
    """The evidence, its unknown fields, and why it cannot be taken: that costs no
    result."""
    if given is None:
        return None, [], None
    try:
        evidence = msgspec.convert(given, Evidence)
    except msgspec.ValidationError as error:
        return None, [], str(error)
    if (why := _unusable(evidence.traces)) is not None:
        return None, [], why
    fields = {name for trace in given.get("traces", ()) for name in trace}
    unknown = [f"evidence.traces.{name}" for name in sorted(fields - _TRACE)]
    rest = msgspec.to_builtins(msgspec.structs.replace(evidence, traces=[]))
    if (leaves := len(evidence.gear.leaves)) > MOST_LENGTHS:
        return None, [], f"{leaves} leaves are no set; at most {MOST_LENGTHS} would do"
    if (longest := max(map(len, texts_in(rest)))) > LONGEST_PORT:
        return None, [], f"a text in it has {longest} characters"
    return evidence, [*unknown, *_unknown(given, rest, "evidence.")], None


def _unusable(traces: Sequence[Trace]) -> str | None:
    for number, trace in enumerate(traces, 1):
        columns = [trace.travel, trace.reading, trace.at or trace.travel]
        if len({len(column) for column in columns}) > 1:
            return f"pass {number} has not as many readings as travels"
        if not all(math.isfinite(value) for column in columns for value in column):
            return f"pass {number} holds a number that is not finite"
    return None


def _filled_in(line: ExportLine) -> ExportLine:
    """With a date with its offset, a moment, an id by its content and a run."""
    finding, wall = line.finding, line.wall_s
    at = _date(finding.at, wall)
    if not finding.at or datetime.fromisoformat(finding.at).tzinfo is None:
        finding = msgspec.structs.replace(finding, at=at.isoformat())
    if wall is None:
        wall = at.timestamp()
    if not finding.id:
        digest = hashlib.sha256(msgspec.json.encode(finding)).hexdigest()
        finding = msgspec.structs.replace(finding, id=digest[:12])
    run = line.run or f"of-{finding.id}"
    return msgspec.structs.replace(line, finding=finding, wall_s=wall, run=run)


def _date(text: str, wall: float | None) -> datetime:
    """Of the finding, or else by `wall`; a date without an offset is in UTC."""
    if not text and wall is None:
        raise UnusableLine("its finding has no date (`at`)")
    try:
        if text:
            at = datetime.fromisoformat(text)
        else:
            at = datetime.fromtimestamp(wall or 0.0, UTC)
        at = at if at.tzinfo is not None else at.replace(tzinfo=UTC)
        at.timestamp()
    except (ValueError, OverflowError, OSError) as error:
        raise UnusableLine(f"{text[:LONGEST_NAME]!r} is no date") from error
    return at


def _check_texts(line: ExportLine) -> None:
    """Names are short lines, as everywhere where a name enters."""
    finding = line.finding
    names = {
        "id": finding.id,
        "check": finding.check,
        "jig": finding.jig,
        "saw": finding.saw,
        "run": line.run,
        "hold": line.hold,
        "superseded_by": line.superseded_by,
        **{f"quantity {n}": q.name for n, q in enumerate(finding.quantities, 1)},
        **{f"move {n}": move.move for n, move in enumerate(line.moves, 1)},
    }
    _check_names(names)
    port = line.instrument
    if port is not None and not (len(port) <= LONGEST_PORT and port.isprintable()):
        raise UnusableLine("its instrument has no printable name")


def _check_names(names: Mapping[str, str | None]) -> None:
    most = LONGEST_NAME
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


def _unknown(given: Any, taken: Any, place: str) -> Iterator[str]:
    """The fields of what was given that are not in what was taken."""
    if isinstance(given, dict) and isinstance(taken, dict):
        for key, value in given.items():
            if key not in taken:
                yield f"{place}{key}"
            else:
                yield from _unknown(value, taken[key], f"{place}{key}.")
    elif isinstance(given, list) and isinstance(taken, list):
        for one, other in zip(given, taken, strict=False):
            if isinstance(one, dict):
                yield from _unknown(one, other, place)

"""Recorded sweeps: a CSV file to evidence. The only reader of those files.

Columns sweep, placement, travel_mm, reading_mm (or _in); optional seat, hold, t_s. Without `seat` every sweep
counts as freshly seated. A sweep whose travel falls is a pull-back. Values are as the instruments showed
them; which way they grow is declared in the settings. May import: bench.checks.model, bench.gear.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TextIO

from bench.checks.model import Check, EvidenceGear, OptionValue, Step, Trace

INCH = 25.4
FEWEST = 8  # readings that make a sweep
STANDS_STILL = 1.0  # mm of travel that at least a sweep must cover


class RecordedError(ValueError):
    """A file or row that cannot be read; the message names file and line."""


def read_sweeps(
    path: Path, check: Check, options: Mapping[str, OptionValue], gear: EvidenceGear
) -> list[Trace]:
    """All sweeps of one file in their order. Raises RecordedError with file and line."""
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            return _read(file, path, check, options, gear)
    except OSError as error:
        raise RecordedError(f"{path}: cannot be read ({error.strerror or error})") from error
    except UnicodeDecodeError as error:
        raise RecordedError(f"{path}: is not text in UTF-8 ({error.reason} at byte {error.start})") from error
    except csv.Error as error:
        raise RecordedError(f"{path}: is not CSV ({error})") from error


def _read(
    file: TextIO, path: Path, check: Check, options: Mapping[str, OptionValue], gear: EvidenceGear
) -> list[Trace]:
    rows = csv.reader(file)
    header = [name.strip() for name in next(rows, [])]
    travel_at, travel_factor = _column(path, header, "travel")
    reading_at, reading_factor = _column(path, header, "reading")
    for name in ("sweep", "placement"):
        if name not in header:
            raise RecordedError(
                f"{path}:1: no column {name!r}; it takes sweep, placement, travel_mm, reading_mm"
            )
    where = {name: header.index(name) for name in header}
    steps = {s.placement: s for s in check.plan({**options, "placements": "both"}, gear)}
    turn = 1.0 if gear.indicator.grows == "pushed-in" else -1.0
    away = 1.0 if gear.travel.grows == "away" else -1.0
    groups: dict[tuple[str, str], _Group] = {}
    for row in rows:
        line = rows.line_num
        if not row or all(not cell.strip() for cell in row):
            continue
        if len(row) != len(header):
            raise RecordedError(f"{path}:{line}: {len(row)} fields, the header has {len(header)}")
        cell = {name: row[index].strip() for name, index in where.items()}
        if not cell["sweep"]:
            raise RecordedError(f"{path}:{line}: the column sweep is empty; number the sweeps")
        placement = cell["placement"]
        if placement not in steps:
            raise RecordedError(
                f"{path}:{line}: unknown placement {placement!r}; {check.kind} takes {', '.join(map(repr, steps))}"
            )
        key = (cell["sweep"], placement)
        group = groups.setdefault(key, _Group(line, cell.get("seat") or None, cell.get("hold") or None))
        group.travel.append(away * travel_factor * _number(path, line, header[travel_at], row[travel_at]))
        group.reading.append(turn * reading_factor * _number(path, line, header[reading_at], row[reading_at]))
        if cell.get("t_s"):
            group.at.append(_number(path, line, "t_s", cell["t_s"]))
    if not groups:
        raise RecordedError(f"{path}: holds no readings")
    return [_trace(path, key, group, steps[key[1]]) for key, group in groups.items()]


class _Group:
    def __init__(self, line: int, seat: str | None, hold: str | None) -> None:
        self.line, self.seat, self.hold = line, seat, hold
        self.travel: list[float] = []
        self.reading: list[float] = []
        self.at: list[float] = []


def _column(path: Path, header: Sequence[str], stem: str) -> tuple[int, float]:
    for name, factor in ((f"{stem}_mm", 1.0), (f"{stem}_in", INCH)):
        if name in header:
            return list(header).index(name), factor
    raise RecordedError(
        f"{path}:1: no column {stem}_mm (or {stem}_in); found {', '.join(header) or 'nothing'}"
    )


def _number(path: Path, line: int, column: str, text: str) -> float:
    text = text.strip()
    if not text:
        raise RecordedError(f"{path}:{line}: {column} is empty")
    try:
        value = float(text)
    except ValueError:
        raise RecordedError(f"{path}:{line}: {column} is not a number: {text!r}") from None
    if not math.isfinite(value):
        raise RecordedError(f"{path}:{line}: {column} is not finite: {text!r}")
    return value


def _trace(path: Path, key: tuple[str, str], group: _Group, step: Step) -> Trace:
    sweep, placement = key
    if step.gather == "sweep":
        if len(group.travel) < FEWEST:
            raise RecordedError(
                f"{path}:{group.line}: sweep {sweep} at {placement} has {len(group.travel)} readings, "
                f"{FEWEST} at least are wanted"
            )
        if max(group.travel) - min(group.travel) < STANDS_STILL:
            raise RecordedError(
                f"{path}:{group.line}: the travel of sweep {sweep} at {placement} does not move"
            )
    return Trace(
        placement=placement,
        travel=group.travel,
        reading=group.reading,
        push=_rises(group.travel),
        sweep=sweep,
        seat=group.seat,
        hold=group.hold,
        at=group.at if len(group.at) == len(group.travel) else None,
    )


def _rises(travel: Sequence[float]) -> bool:
    """Whether it was pushed away: by the halves' means, so that one odd reading cannot turn it."""
    half = max(1, len(travel) // 2)
    return sum(travel[-half:]) >= sum(travel[:half])

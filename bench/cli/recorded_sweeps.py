"""Recorded sweeps, spots and widths: a CSV file to evidence. The only reader of those
files.

A check declares the columns of its file: sweep, placement, travel_mm, reading_mm (or
_in) unless it says otherwise; optional beside `sweep`: seat, hold, t_s. A sweep is the
rows with one sweep and one placement, in their order; without `seat` every sweep counts
as freshly seated; one whose travel falls is a pull-back. Values are as the instruments
showed them; which way they grow is declared in the settings.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path

import msgspec

from bench.checks.model import Check, EvidenceGear, Step, Trace
from bench.checks.options import OptionValue
from bench.cli.csv_rows import CsvRow, CsvTable, read_table, short
from bench.units import INCH

FEWEST_IN_SWEEP = 8  # readings that make a sweep
STANDS_STILL = 1.0  # mm of travel that at least a sweep must cover
MOST_MM = 1e6  # mm: a kilometre is no length at a saw, and larger numbers only overflow
# way over reach of a sweep that was pushed and drawn back under one number
TURNS_BACK = 1.6
# columns that hold a name; all others hold a length
NAME_COLUMNS = ("sweep", "placement", "what", "end")
HOLD_WALLS, NO_HOLD = ("left", "right"), ("", "free", "none", "no", "-")
PLACE_COLUMNS = ("placement", "what", "end")
_CSV_NUMBER = re.compile(
    r"[+-]?(nan|inf|infinity|([0-9]+\.?[0-9]*|\.[0-9]+)(e[+-]?[0-9]{1,3})?)",
    re.IGNORECASE,
)


class _Length(msgspec.Struct, frozen=True):
    """A column of lengths: its name in the file, and mm for one of its units."""

    column: str
    factor: float

    def of(self, row: CsvRow) -> float:
        """mm"""
        value = self.factor * _number(row, self.column)
        if abs(value) > MOST_MM:
            what = self.column.rpartition("_")[0]
            raise row.wrong(f"the {what} of {value:g} mm is no length at a saw")
        return value


class _Group(msgspec.Struct):
    """The rows of one sweep and placement."""

    step: Step
    sweep: str
    placement: str
    travel: list[float] = []
    reading: list[float] = []
    at: list[float | None] = []
    rows: list[CsvRow] = []
    seat: str | None = None
    hold: str | None = None


def read_sweeps(
    path: Path, check: Check, options: Mapping[str, OptionValue], gear: EvidenceGear
) -> list[Trace]:
    """All sweeps of one file in order. Raises RecordedError with file and line."""
    return traces_of(read_table(path), check, options, gear)


def traces_of(
    table: CsvTable,
    check: Check,
    options: Mapping[str, OptionValue],
    gear: EvidenceGear,
) -> list[Trace]:
    columns = _Columns(table, check)
    steps = _Steps(check, options, gear)
    groups: dict[tuple[str, str, int], _Group] = {}
    visit, before = 0, ""
    for row in table.rows:
        placement = row.filled(columns.place)
        step = steps.of(placement, row)
        sweep = row.filled("sweep", "; number the passes") if columns.swept else ""
        # a spot or a strip that is come back to is read anew, whatever its number
        visit += step.gather != "sweep" and placement != before
        before, key = placement, (sweep, placement, visit)
        group = groups.setdefault(key, _Group(step, sweep, placement))
        _take(group, row, columns, gear)
    return [_trace(group) for group in groups.values()]


class _Columns:
    """Where what stands, by what the check declares. Raises RecordedError naming what
    is missing or twofold."""

    def __init__(self, table: CsvTable, check: Check) -> None:
        wanted = ", ".join(c if c in NAME_COLUMNS else f"{c}_mm" for c in check.columns)
        self.swept = "sweep" in check.columns
        self.place = next(c for c in check.columns if c in PLACE_COLUMNS)
        lengths = [c for c in check.columns if c not in NAME_COLUMNS]
        for column in check.columns:
            if column in NAME_COLUMNS and column not in table.names:
                raise table.header.wrong(
                    f"no column {column!r}; it takes {wanted}; found"
                    f" {_some(table.names)}"
                )
        found = [_length(table, stem, wanted) for stem in lengths]
        self.reading = found[-1]
        self.travel = found[0] if len(found) > 1 else None


def _length(table: CsvTable, stem: str, wanted: str) -> _Length:
    units = {f"{stem}_mm": 1.0, f"{stem}_in": INCH}
    there = [n for n in table.names if n == stem or n.startswith(f"{stem}_")]
    match there:
        case [column] if column in units:
            return _Length(column, units[column])
        case [column]:
            problem = (
                f"the column {short(column)} has no unit this reads; call it {stem}_mm"
                f" or {stem}_in"
            )
        case []:
            problem = (
                f"no column {stem}_mm (or {stem}_in); it takes {wanted}; found"
                f" {_some(table.names)}"
            )
        case _:
            problem = f"{_some(there)} name one quantity twice; keep one of them"
    raise table.header.wrong(problem)


class _Steps:
    """The set-ups by the name of their placement."""

    def __init__(
        self, check: Check, options: Mapping[str, OptionValue], gear: EvidenceGear
    ) -> None:
        # a file says itself which set-ups were taken, whatever was asked for
        all_of_them = {
            o.name: o.default for o in check.options if o.name == "placements"
        }
        self._check, self._options, self._gear = check, options, gear
        self._steps: dict[str, Step | None] = {}
        for step in check.plan({**options, **all_of_them}, gear):
            self._steps.setdefault(step.placement, step)
        self._listed = ", ".join(map(repr, [*self._steps][:12]))

    def of(self, placement: str, row: CsvRow) -> Step:
        accepts = self._check.accepts
        if placement not in self._steps and accepts is not None:
            found = accepts(placement, self._options, self._gear)
            self._steps[placement] = found
        if (step := self._steps.get(placement)) is None:
            raise row.wrong(
                f"unknown placement {short(placement)};"
                f" {self._check.kind} takes {self._listed}"
            )
        return step


def _take(group: _Group, row: CsvRow, columns: _Columns, gear: EvidenceGear) -> None:
    step, of_width = group.step, columns.reading.column.startswith("width")
    travel = 0.0 if columns.travel is None else columns.travel.of(row)
    swept_surface = step.gather == "sweep" and step.mount is not None
    # such travel is the travel instrument's; a place is written down as a place
    if swept_surface and gear.travel.grows == "toward":
        travel = -travel
    reading, column = columns.reading.of(row), columns.reading.column
    if of_width and not reading > 0.0:
        raise row.wrong(f"{column} is {row.cells[column]}: a width is above zero")
    if not of_width and gear.indicator.grows == "pulled-out":
        reading = -reading
    group.travel.append(travel)
    group.reading.append(reading)
    group.rows.append(row)
    timed = columns.swept and row.cells.get("t_s")
    group.at.append(_number(row, "t_s") if timed else None)
    if columns.swept:
        group.seat = _same(row, "seat", group.seat, row.cells.get("seat"))
        group.hold = _same(row, "hold", group.hold, _hold(row))


def _same(row: CsvRow, column: str, before: str | None, said: str | None) -> str | None:
    """One sweep runs on one seat and under one hold; rows that leave it out go with the
    others."""
    if said and before is not None and said != before:
        raise row.wrong(
            f"{column} {short(said)} in a pass that had"
            f" {short(before)}; number the passes apart"
        )
    return said or before


def _hold(row: CsvRow) -> str | None:
    """Against which wall of the slots the sled was held, in the words of whoever held
    it; None where it was not.

    A hold that is declared takes the play between the walls out of the budget.
    """
    said = row.cells.get("hold") or ""
    hold = said.lower()
    return None if hold in NO_HOLD else hold if hold in HOLD_WALLS else said


def _number(row: CsvRow, column: str) -> float:
    if not (text := row.cells[column]):
        raise row.wrong(f"{column} is empty")
    if not _CSV_NUMBER.fullmatch(text):
        comma = re.fullmatch(r"[+-]?[0-9]*,[0-9]+", text)
        hint = "; write a point, not a comma" if comma else ""
        raise row.wrong(f"{column} is not a number: {short(text)}{hint}")
    if not math.isfinite(value := float(text)):
        raise row.wrong(f"{column} is not finite: {short(text)}")
    return value


def _trace(group: _Group) -> Trace:
    if group.step.gather == "sweep":
        _judge_sweep(group)
    return Trace(
        placement=group.placement,
        travel=group.travel,
        reading=group.reading,
        push=_rises(group.travel) if group.step.gather == "sweep" else True,
        sweep=group.sweep,
        seat=group.seat,
        hold=group.hold,
        at=_times(group),
    )


def _judge_sweep(group: _Group) -> None:
    row, which = group.rows[0], f"sweep {short(group.sweep)} at {group.placement}"
    if len(group.travel) < FEWEST_IN_SWEEP:
        problem = (
            f"has {len(group.travel)} readings; it takes {FEWEST_IN_SWEEP} at least"
        )
        raise row.wrong(f"{which} {problem}")
    reach = max(group.travel) - min(group.travel)
    if reach < STANDS_STILL:
        raise row.wrong(f"{which}: its travel does not move")
    if _way(group.travel) > TURNS_BACK * reach:
        raise row.wrong(
            f"{which}: its travel turns back; give every pass a number of its own"
        )


def _way(travel: Sequence[float]) -> float:
    """How far the sled went in all, mm, seen in a couple of dozen looks so that jitter
    is no way."""
    looks = min(24, len(travel))
    cuts = [round(k * len(travel) / looks) for k in range(looks + 1)]
    means = [sum(travel[a:b]) / (b - a) for a, b in pairwise(cuts)]
    return sum(abs(b - a) for a, b in pairwise(means))


def _times(group: _Group) -> list[float] | None:
    known = [t for t in group.at if t is not None]
    if not known:
        return None
    for row, t in zip(group.rows, group.at, strict=True):
        if t is None:
            raise row.wrong("t_s is empty, in a pass that has times")
    for row, (a, b) in zip(group.rows[1:], pairwise(known), strict=True):
        if b < a and group.step.gather == "sweep":
            raise row.wrong(f"t_s goes back from {a:g} to {b:g} s within a pass")
    return known


def _rises(travel: Sequence[float]) -> bool:
    """Whether it was pushed away: by the halves' means, so that one odd reading cannot
    turn it."""
    half = max(1, len(travel) // 2)
    return sum(travel[-half:]) >= sum(travel[:half])


def _some(names: Sequence[str]) -> str:
    shown = ", ".join(short(n) for n in names[:8] if n)
    return (shown or "nothing") + (", ..." if len(names) > 8 else "")

"""Tells what earlier findings say of a new one, and answers what is asked of the log.

Reads beside the writer. Every function blocks: call it off the event loop.
"""

from __future__ import annotations

import itertools
import math
import sqlite3
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import msgspec

from bench.checks import checks, find
from bench.checks.model import (
    EvidenceGear,
    PriorKnowledge,
    SharedResult,
    SquareHistory,
    SweepHistory,
)
from bench.checks.options import given_text
from bench.checks.shared.pooling import pool_of, seat_scatter, set_up_scatter
from bench.checks.shared.results import SQUARE_DOUBTED
from bench.finding import Finding, Quantity, UnreadableRecord
from bench.gear import Square
from bench.log.dates import in_time
from bench.log.findings import (
    FindingRow,
    each_finding,
    find_finding,
    last_of_each,
    list_findings,
    list_moves,
)
from bench.log.read_only import open_read
from bench.log.store import gear_names, load_gear
from bench.protocol import LogOne, LogRows
from bench.uncertainty.sweeps import Pool

# findings gone through, at most, for the twenty that fit; ten years of them take too
# long
MOST_LOOKED_AT = 200
# after which events of the gear findings of a sled no longer speak
SLED_AND_SAW = ("dropped", "moved", "runners", "saw")
KNOWN_FINDINGS = 20  # older ones no longer speak for the jig as it is


def latest(path: Path, most: int) -> list[Finding]:
    """The latest findings, newest first; behind them the last of each check on each saw
    where that is older."""
    with open_read(path) as db:
        newest = [row.finding for row in reversed(list_findings(db, last=most))]
        ids = {one.id for one in newest}
        each = (row.finding for row in last_of_each(db))
        return [*newest, *(one for one in each if one.id not in ids)]


def unread(path: Path) -> list[UnreadableRecord]:
    """Results that are there and can no longer be read."""
    found: list[UnreadableRecord] = []
    with open_read(path) as db:
        for _ in each_finding(db, found):
            pass
    return found


def listed(
    path: Path,
    *,
    jig: str | None = None,
    check: str | None = None,
    most: int = 50,
    before: str | None = None,
) -> LogRows:
    """Findings, newest first; what became of the move of each."""
    unread: list[UnreadableRecord] = []
    with open_read(path) as db:
        rows = list_findings(
            db, jig=jig, check=check, last=most, before=before, unread=unread
        )
        ids = [row.finding.id for row in rows]
        moves = [one for id in ids for one in list_moves(db, finding=id, unread=unread)]
    superseded = [row.finding.id for row in rows if row.superseded_by is not None]
    return LogRows(
        [row.finding for row in reversed(rows)],
        {move.finding: move.became for move in moves},
        superseded,
        unread=unread,
        distances={move.finding: far for move in moves if (far := move.distance)},
        undated=[row.finding.id for row in rows if not row.synced],
    )


def show(path: Path, finding: str) -> LogOne:
    """Raises LogError when there is no such finding."""
    with open_read(path) as db:
        found, evidence = find_finding(db, finding)
        (row,) = list_findings(db, finding=found.id)
        moves = [_raw(move) for move in list_moves(db, finding=found.id)]
    return LogOne(row.finding, _raw(evidence), moves, undated=not row.synced)


def _raw(part: msgspec.Struct) -> msgspec.Raw:
    return msgspec.Raw(msgspec.json.encode(part))


def known(
    path: Path,
    kind: str,
    gear: EvidenceGear,
    options: Mapping[str, Any],
    *,
    instrument: str | None = None,
) -> PriorKnowledge:
    """The knowledge that earlier findings give to a new one: scatter between pushes, of
    seating, the yaw play, the square's error.

    Scatter is that of the same jig, saw, check, instrument and hold within the last 20
    findings (GUM 4.2.4, pooled standard deviation). instrument: its lasting name; that
    of the check in progress unless given. A check that is open, or gone on with, does
    not speak for itself.
    """
    with open_read(path) as db:
        hold = given_text(options, "hold")
        for (now,) in db.execute(_INSTRUMENT_NOW, (kind,)):
            instrument = instrument or now
        speaking = _speaking(db, kind, gear, hold, instrument)
        rows = [*itertools.islice(speaking, KNOWN_FINDINGS)]
        findings = [found for found, _ in rows]
        reseated = pool_of(findings, on_one_seat=False)
        one_seat = pool_of(findings, on_one_seat=True)
        takes, square = find(kind).takes, None
        if "square" in takes and options.get("quick"):
            from bench.log.upkeep_history import inherited_square

            square = inherited_square(path, gear)
        elif "square" in takes:
            square = _square(db, gear)
        return PriorKnowledge(
            pool=reseated,
            set_ups=set_up_scatter(
                [f for f, used in rows if used.square == gear.square]
            ),
            seat_scatter=seat_scatter(reseated, one_seat),
            passes=_passes(db, gear, hold) if "fence" in takes else None,
            yaw_play=_yaw_play(db, gear),
            square=square,
            sweep=_sweep(db, gear) if "fence" in takes else None,
        )


_INSTRUMENT_NOW = (
    "SELECT instrument FROM check_run WHERE state = 'open' AND check_kind = ? ORDER BY"
    " run_key DESC LIMIT 1"
)


def _speaking(
    db: sqlite3.Connection,
    kind: str,
    gear: EvidenceGear,
    hold: str | None,
    instrument: str | None,
) -> Iterator[tuple[Finding, EvidenceGear]]:
    """Findings that may speak for a new one, newest first, each with the gear that it
    used."""
    ours = (*gear_names(gear), hold)
    changed = _changed_since(db, gear)
    rows = list_findings(db, check=kind, jig=ours[0], last=MOST_LOOKED_AT)
    for row in reversed(rows):
        same = (row.finding.jig, row.finding.saw, row.hold) == ours
        other = instrument is not None and row.instrument != instrument
        if same and row.stands and not other and not changed(row):
            state, used = _run(db, row.run)
            if state != "open" and used.indicator == gear.indicator:
                yield row.finding, used


def _run(db: sqlite3.Connection, run: str) -> tuple[str, EvidenceGear]:
    state, key = db.execute(
        "SELECT state, gear_key FROM check_run WHERE run = ?", (run,)
    ).fetchone()
    return state, load_gear(db, key)


def _measured(
    db: sqlite3.Connection,
    what: SharedResult,
    changed: Callable[[FindingRow], bool],
    *,
    jig: str | None = None,
    last: int,
) -> Iterator[tuple[FindingRow, Quantity]]:
    """Findings that stand and the quantity in them, newest first, as far back as
    nothing was changed; last: so many of each check that measures it."""
    kinds = [check.kind for check in checks().values() if what in check.measures]
    rows = {
        row.order: row
        for kind in kinds
        for row in list_findings(db, check=kind, jig=jig, last=last)
    }
    for number in reversed(in_time(db, sorted(rows))):
        row = rows[number]
        if changed(row):
            return
        found = [q for q in row.finding.quantities if q.name == what and row.stands]
        yield from ((row, quantity) for quantity in found[:1])


def _yaw_play(db: sqlite3.Connection, gear: EvidenceGear) -> float | None:
    """The yaw play by the latest side-play of this sled on this saw, rad, full
    swing."""
    if gear.jig is None:
        return None
    jig, saw = gear_names(gear)
    changed = _changed_since(db, gear, SLED_AND_SAW)
    for row, play in _measured(db, "yaw-play", changed, jig=jig, last=MOST_LOOKED_AT):
        if row.finding.saw == saw:
            return abs(play.value)
    return None


def _sweep(db: sqlite3.Connection, gear: EvidenceGear) -> SweepHistory | None:
    """The latest sweep result of this sled on this saw; None where the fence was moved
    since: then it tells of the fence as it was."""
    if gear.jig is None:
        return None
    jig, saw = gear_names(gear)
    moved = {move.finding for move in list_moves(db) if move.made is not None}
    for row in reversed(list_findings(db, jig=jig, last=MOST_LOOKED_AT)):
        found = row.finding
        check = checks().get(found.check)  # a later version's log may have others
        if check is None or not check.turns_fence or found.saw != saw:
            continue
        if not row.stands or ("fence" not in check.measures and found.id not in moved):
            continue
        if found.id in moved or not found.quantities:
            return None  # by a board's answer, too
        fence = found.quantities[0]
        return SweepHistory(fence.value, fence.uncertainty, found.at)
    return None


def _passes(
    db: sqlite3.Connection, gear: EvidenceGear, hold: str | None
) -> Pool | None:
    """Scatter between the passes by which this sled fence was measured on this saw,
    with this indicator, under that hold."""
    kinds = [check.kind for check in checks().values() if "fence" in check.measures]
    found = []
    for kind in kinds:
        speaking = _speaking(db, kind, gear, hold, None)
        found += [one for one, _ in itertools.islice(speaking, KNOWN_FINDINGS)]
    return pool_of(found, on_one_seat=False) if gear.jig is not None else None


def _square(db: sqlite3.Connection, gear: EvidenceGear) -> SquareHistory | None:
    """From the latest finding that measured it with this square, on whatever sled.

    One that did not fit what was known of the square (perhaps it was not turned over)
    is believed only when the one before it says the same.
    """
    name = gear.square.name if gear.square else None
    changed = _changed_since(db, EvidenceGear(square=gear.square))
    passed_over: tuple[Finding, Quantity] | None = None
    for row, measured in _measured(db, "square", changed, last=KNOWN_FINDINGS):
        state, used = _run(db, row.run)
        if state == "open" or (used.square.name if used.square else None) != name:
            continue
        if passed_over is not None:
            before = passed_over[1]
            if abs(before.value - measured.value) <= math.hypot(
                before.uncertainty, measured.uncertainty
            ):
                return _history(*passed_over)
        if SQUARE_DOUBTED.isdisjoint(row.finding.codes):
            return _history(row.finding, measured)
        passed_over = passed_over or (row.finding, measured)
    return None


def _history(found: Finding, measured: Quantity) -> SquareHistory:
    from bench.uncertainty.distributions import t_quantile

    freedom = measured.degrees_of_freedom
    standard = measured.uncertainty / t_quantile(found.confidence, freedom)
    return SquareHistory(measured.value, standard, freedom)


def _changed_since(
    db: sqlite3.Connection,
    gear: EvidenceGear,
    events: Sequence[str] = (*SLED_AND_SAW, "square"),
) -> Callable[[FindingRow], bool]:
    """A function that tells whether this sled, its saw or its square was changed after
    a finding, which then no longer speaks; for a square, on whatever sled that was
    told. A blade that is new, or a drift that was accepted, leaves all three as they
    were."""
    # what the charts need is read only when a check is concluded
    from bench.log.upkeep_history import day_of_row, gear_events

    jig, _ = gear_names(gear)
    days = []
    for event in gear_events(db):
        ours = event.jig == jig
        if event.what == "square" and not ours:
            ours = _used_on(db, event.jig, gear.square)
        if ours and event.what in events:
            days.append(event.day)
    return lambda row: bool(days) and day_of_row(row) < max(days)


def _used_on(db: sqlite3.Connection, jig: str, square: Square | None) -> bool:
    """Whether a sled was ever measured with this square."""
    rows = db.execute(
        "SELECT DISTINCT json_extract(gear_json, '$.square.name') FROM check_run JOIN"
        " gear USING (gear_key) WHERE jig = ? AND json_valid(gear_json)",
        (jig,),
    )
    return square is not None and (square.name,) in rows.fetchall()

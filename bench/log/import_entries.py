"""Writes what another log exported, by id and never twice, on an open transaction.

Rows of an import belong to an opening of their own, whose boot has no clock, so that no
date of theirs is put right by this machine's clock.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Callable

import msgspec

from bench.checks.model import Evidence
from bench.finding import Finding
from bench.log import entries
from bench.log.boots import record_boot
from bench.log.dates import IMPORTED
from bench.log.entry import Entry, as_json
from bench.log.export_line import ExportedEvent, ExportLine
from bench.log.findings import with_remarks
from bench.log.moves import MoveRow
from bench.log.rows import Stamp

# the number of the opening that the rows belong to, recorded where it is first needed
Boot = Callable[[], int]


class Link(msgspec.Struct, frozen=True):
    """What joins a result (or its move) to a later one."""

    what: str  # "superseded" or "verified"
    name: str  # the result's id, or the move's
    later: str  # the later result's id


def import_boot(db: sqlite3.Connection, session: str, program: str, at: Stamp) -> int:
    """The number of the opening that the rows of this import belong to."""
    name = IMPORTED + session
    row = db.execute("SELECT boot_key FROM boot WHERE boot_id = ?", (name,)).fetchone()
    if row is not None:
        return int(row[0])
    return record_boot(db, name, program, at, last_ticket=0)


def import_line(db: sqlite3.Connection, boot: Boot, line: ExportLine) -> str:
    """Returns "taken", "known", or "differs" for a result of that id that says
    something else: the log's own stays. Its moves are taken where the log lacks
    them."""
    finding, assured = line.finding, line.clock_synced
    at = Stamp(0, line.wall_s or 0.0, assured)
    state = _known(db, finding)
    if state == "taken":
        _new_result(Entry(db, boot(), at), line)
    if state != "differs":
        for move in line.moves:
            _move(db, boot, at, finding.id, move)
    return state


def import_event(db: sqlite3.Connection, boot: Boot, event: ExportedEvent) -> str:
    """Returns "event", or "event-known" for one that was said at the same moment of the
    same thing."""
    wall = event.wall_s or 0.0
    here = db.execute(
        "SELECT 1 FROM event WHERE kind = ? AND wall_s = ? AND data_json = ?",
        (event.kind, wall, as_json(event.data)),
    )
    if here.fetchone() is not None:
        return "event-known"
    entry = Entry(db, boot(), Stamp(0, wall, event.clock_synced))
    entry.event(None, event.kind, event.data)
    return "event"


def _known(db: sqlite3.Connection, finding: Finding) -> str:
    row = db.execute(
        "SELECT finding_json FROM finding WHERE finding = ?", (finding.id,)
    ).fetchone()
    if row is None:
        return "taken"
    here = with_remarks(msgspec.json.decode(row[0], type=Finding))
    # its date may have been put right since
    here = msgspec.structs.replace(here, at=finding.at)
    return "known" if here == with_remarks(finding) else "differs"


def _new_result(entry: Entry, line: ExportLine) -> None:
    finding = line.finding
    evidence = line.evidence or Evidence(finding.check)
    run = str(line.run)
    query = "SELECT 1 FROM check_run WHERE run = ?"
    if entry.db.execute(query, (run,)).fetchone() is None:
        entries.begin_check(
            entry,
            run,
            finding.check,
            jig=finding.jig,
            saw=finding.saw,
            options=evidence.options,
            gear=evidence.gear,
            instrument=line.instrument,
            hold=line.hold,
        )
        entries.finish(entry, run)
    entries.finding(entry, run, finding, evidence, None)


def _move(
    db: sqlite3.Connection, boot: Boot, at: Stamp, finding: str, row: MoveRow
) -> None:
    def entry(wall_s: float | None) -> Entry:
        moment = at.wall_s if wall_s is None else wall_s
        return Entry(db, boot(), Stamp(0, moment, at.synced))

    query = "SELECT made_json FROM move WHERE move = ?"
    known = db.execute(query, (row.move,)).fetchone()
    if known is None:
        entries.move_planned(entry(row.planned_wall_s), row.move, finding, row.plan)
    if row.made is not None and (known is None or known[0] is None):
        entries.move_made(entry(row.made_wall_s), row.move, row.made)


def import_link(db: sqlite3.Connection, boot: Boot, at: Stamp, link: Link) -> bool:
    """Joined, or joined already; False where the later result is not in the log."""
    query = "SELECT finding_key FROM finding WHERE finding = ?"
    later = db.execute(query, (link.later,)).fetchone()
    if later is None:
        return False
    if link.what == "superseded":
        db.execute(
            "UPDATE finding SET superseded_by = coalesce(superseded_by, ?) WHERE"
            " finding = ?",
            (later[0], link.name),
        )
    else:
        query = "SELECT 1 FROM move WHERE move = ? AND verified_by IS NULL"
        if db.execute(query, (link.name,)).fetchone() is not None:
            entries.move_verified(Entry(db, boot(), at), link.name, link.later)
    return True

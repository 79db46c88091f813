"""Writes the entries of the log on an open transaction, one function an entry.

Nothing here commits: the committer does. An entry that the log cannot take raises
EntryRefused with the reason. An entry is written once: none is idempotent.
"""

from __future__ import annotations

import os
import sqlite3
import zlib
from collections.abc import Mapping, Sequence

import msgspec

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.options import OptionValue
from bench.finding import Finding, Move
from bench.log import packing
from bench.log.entry import (
    Entry,
    EntryRefused,
    Json,
    as_json,
    named,
    run_key,
    stamp_columns,
)
from bench.log.rows import Stamp
from bench.log.store import (
    all_digests,
    insert,
    keep_gear,
    keep_trace,
    merge_chunks,
    trace_digest,
)
from bench.procedure.journal import SweepEnd
from bench.procedure.status_message import StatusMessage, status


def record_boot(
    db: sqlite3.Connection, boot_id: str, program: str, at: Stamp, last_ticket: int
) -> int:
    """The number of this opening."""
    return insert(
        db,
        "boot",
        boot_id=boot_id,
        program=program,
        process_id=os.getpid(),
        last_ticket=last_ticket,
        **stamp_columns(at),
    )


def last_ticket(db: sqlite3.Connection, boot_key: int, boot_id: str) -> int | None:
    """None where this file does not have the opening."""
    query = "SELECT last_ticket FROM boot WHERE boot_key = ? AND boot_id = ?"
    row = db.execute(query, (boot_key, boot_id)).fetchone()
    return None if row is None else int(row[0])


def note_ticket(db: sqlite3.Connection, boot_key: int, ticket: int) -> None:
    db.execute("UPDATE boot SET last_ticket = ? WHERE boot_key = ?", (ticket, boot_key))


def begin_check(
    entry: Entry,
    run: str,
    kind: str,
    *,
    jig: str | None,
    saw: str | None,
    options: Mapping[str, OptionValue],
    gear: EvidenceGear,
    instrument: str | None = None,
    hold: str | None = None,
) -> None:
    """instrument: a lasting name of the indicator, such as its port by serial
    number."""
    entry.insert(
        "check_run",
        "begun_",
        run=run,
        check_kind=kind,
        jig=jig,
        saw=saw,
        options_json=as_json(dict(options)),
        gear_key=keep_gear(entry.db, gear),
        instrument=instrument,
        hold=hold,
        state="open",
    )
    entry.event(run, "begun", {"check": kind})


def set_check_state(
    entry: Entry, run: str, state: str, reason: str | None = None
) -> None:
    key = run_key(entry.db, run)
    entry.db.execute("UPDATE check_run SET state = ? WHERE run_key = ?", (state, key))
    entry.event(run, state, {"reason": reason} if reason else {})


def abandon(entry: Entry, run: str, reason: str | None = None) -> None:
    set_check_state(entry, run, "abandoned", reason)


def reopen(entry: Entry, run: str) -> None:
    """A finished check goes on: more passes are wanted to settle it."""
    set_check_state(entry, run, "open")


def finish(entry: Entry, run: str) -> None:
    set_check_state(entry, run, "finished")


def climate(
    entry: Entry, sensor: str, temperature: float | None, humidity: float | None
) -> None:
    """Record a reading of the air: deg C, and relative humidity as a fraction."""
    entry.insert(
        "climate",
        sensor=sensor,
        temperature_c=temperature,
        humidity_fraction=humidity,
    )


def start_sweep(
    entry: Entry,
    sweep: str,
    run: str,
    placement: str,
    *,
    hold: str | None = None,
    wires: Json | None = None,
) -> None:
    """wires: by instrument the format and options that its raw bytes are read with."""
    entry.insert(
        "sweep",
        "started_",
        sweep=sweep,
        run_key=run_key(entry.db, run),
        placement=placement,
        gather="sweep",
        hold=hold,
        state="running",
        wires_json=as_json(wires or {}),
    )
    entry.event(run, "sweep-started", {"sweep": sweep, "placement": placement})


def chunk(
    db: sqlite3.Connection,
    sweep: str,
    instrument: str,
    raw: bytes,
    arrival_us: Sequence[int],
) -> None:
    """Record bytes of a running sweep; a late block goes straight into what was
    merged."""
    key, _, state = named(db, "sweep", sweep)
    insert(
        db,
        "chunk",
        sweep_key=key,
        instrument=instrument,
        raw=raw,
        readings=len(arrival_us),
        arrival_us_packed=packing.pack_integers(arrival_us),
    )
    if state != "running":
        merge_chunks(db, key)


_END_SWEEP = (
    "UPDATE sweep SET state = ?, push = coalesce(?, push), reason = ?, trace_key = ?,"
    " ended_monotonic_ns = ?, ended_wall_s = ? WHERE sweep_key = ?"
)


def end_sweep(
    entry: Entry,
    sweep: str,
    state: SweepEnd,
    push: bool | None,
    trace: Trace | None,
    reason: StatusMessage | None,
) -> None:
    """Record the last state of a sweep, its merged bytes and trace, in the one
    transaction that ends it."""
    db, at = entry.db, entry.at
    key, run, state_before = named(db, "sweep", sweep)
    if state_before != "running":
        raise EntryRefused(f"the pass {sweep} has ended already: it is {state_before}")
    merge_chunks(db, key)
    trace_key = trace and keep_trace(db, trace)
    values = state, push, _text(reason), trace_key, at.monotonic_ns, at.wall_s, key
    db.execute(_END_SWEEP, values)
    _sweep_ended(entry, run, sweep, state, reason)


def undo_sweep(entry: Entry, sweep: str, reason: StatusMessage | None = None) -> None:
    """The sweep stays in the log and no longer counts; the event tells its state."""
    key, run, state = named(entry.db, "sweep", sweep)
    if state == "running":
        merge_chunks(entry.db, key)
    entry.db.execute(
        "UPDATE sweep SET state = 'undone', reason = coalesce(?, reason) WHERE"
        " sweep_key = ?",
        (_text(reason), key),
    )
    entry.event(run, "sweep-undone", {"sweep": sweep, "was": state})


def interrupt_sweeps(entry: Entry) -> None:
    """Merge the sweeps that an earlier opening of the log left running, and mark them
    as interrupted."""
    rows = entry.db.execute(
        "SELECT sweep_key, sweep, run FROM sweep JOIN check_run USING (run_key)"
        " WHERE sweep.state = 'running' AND sweep.boot_key <> ?",
        (entry.boot_key,),
    ).fetchall()
    for key, sweep, run in rows:
        merge_chunks(entry.db, key)
        reason = status("program-ended")
        entry.db.execute(
            "UPDATE sweep SET state = 'interrupted', reason = ? WHERE sweep_key = ?",
            (_text(reason), key),
        )
        _sweep_ended(entry, run, sweep, "interrupted", reason)


def _text(reason: StatusMessage | None) -> str | None:
    """The code and its values, as the column has it."""
    return None if reason is None else msgspec.json.encode(reason).decode()


def finding(
    entry: Entry,
    run: str,
    finding: Finding,
    evidence: Evidence,
    supersedes: str | None,
) -> None:
    key = _insert_finding(entry, run, finding, evidence)
    for position, trace in enumerate(evidence.traces):
        trace_key = keep_trace(entry.db, trace)
        columns = {"position": position, "trace_key": trace_key}
        insert(entry.db, "finding_trace", finding_key=key, **columns)
    for position, quantity in enumerate(finding.quantities):
        if quantity.unit != "1/mm":  # no chart follows it, and older logs refuse it
            said = msgspec.structs.astuple(quantity)[:7]
            entry.db.execute(_QUANTITY, (key, position, *said))
    if supersedes is not None:
        query = "UPDATE finding SET superseded_by = ? WHERE finding_key = ?"
        entry.db.execute(query, (key, named(entry.db, "finding", supersedes)[0]))
    entry.event(run, "found", {"finding": finding.id, "verdict": finding.verdict})


_QUANTITY = """
    INSERT INTO quantity (finding_key, position, name, value_in_unit, unit,
        uncertainty_in_unit, degrees_of_freedom, tolerance_in_unit, verdict)
    VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?)"""


def _insert_finding(
    entry: Entry, run: str, finding: Finding, evidence: Evidence
) -> int:
    stored_apart = msgspec.structs.replace(evidence, traces=[], gear=EvidenceGear())
    finding_json = msgspec.json.encode(finding).decode()
    evidence_json = as_json(msgspec.to_builtins(stored_apart))
    return entry.insert(
        "finding",
        finding=finding.id,
        run_key=run_key(entry.db, run),
        check_kind=finding.check,
        jig=finding.jig,
        saw=finding.saw,
        verdict=finding.verdict,
        at=finding.at,
        finding_json=finding_json,
        evidence_json=evidence_json,
        gear_key=keep_gear(entry.db, evidence.gear),
        crc32=zlib.crc32((finding_json + evidence_json).encode()),
        traces_sha256=all_digests([trace_digest(trace) for trace in evidence.traces]),
    )


def move_planned(entry: Entry, move: str, finding: str, plan: Move) -> None:
    key, run = named(entry.db, "finding", finding)
    insert(
        entry.db,
        "move",
        move=move,
        finding_key=key,
        jig_end=plan.end,
        way=plan.way,
        distance_mm=plan.distance,
        uncertainty_mm=plan.uncertainty,
        move_json=msgspec.json.encode(plan).decode(),
        planned_event_key=entry.event(
            run, "move-planned", {"move": move, "finding": finding}
        ),
    )


def move_made(entry: Entry, move: str, data: Json | None = None) -> None:
    """data: what was done, e.g. {"leaves_mm": [0.15], "drew_mm": 0.03}."""
    data = data or {}
    key, run = named(entry.db, "move", move)
    event_key = entry.event(run, "moved", {"move": move, **data})
    entry.db.execute(
        "UPDATE move SET made_event_key = ?, made_json = ? WHERE move_key = ?",
        (event_key, as_json(data), key),
    )


def move_verified(entry: Entry, move: str, finding: str) -> None:
    key, _ = named(entry.db, "move", move)
    verifier, run = named(entry.db, "finding", finding)
    entry.db.execute(
        "UPDATE move SET verified_by = ? WHERE move_key = ?", (verifier, key)
    )
    entry.event(run, "move-verified", {"move": move, "finding": finding})


def _sweep_ended(
    entry: Entry, run: str, sweep: str, state: str, reason: StatusMessage | None
) -> None:
    told = {"reason": msgspec.to_builtins(reason)} if reason else {}
    entry.event(run, "sweep-ended", {"sweep": sweep, "state": state} | told)

"""What each act writes: plain statements on an open transaction, one function an act.
Nothing here commits; the writer's thread does. An act that the log cannot take raises
Refused with the reason; an act is idempotent nowhere, so it runs once.
"""

from __future__ import annotations

import json
import sqlite3
import zlib
from collections.abc import Mapping, Sequence

import msgspec

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.options import OptionValue
from bench.finding import Finding, Move
from bench.log import packing
from bench.log.rows import Stamp, SweepEnd
from bench.log.store import (
    all_digests,
    insert,
    keep_gear,
    keep_trace,
    merge_chunks,
    trace_digest,
)

Json = Mapping[str, object]


class Refused(Exception):
    """The log cannot take this act; says why."""


def boot(
    db: sqlite3.Connection, boot_id: str, program: str, process_id: int, at: Stamp
) -> int:
    return insert(
        db,
        "boot",
        boot_id=boot_id,
        program=program,
        process_id=process_id,
        last_ticket=0,
        **_moment(at),
    )


def knows_boot(db: sqlite3.Connection, boot_key: int, boot_id: str) -> bool:
    query = "SELECT 1 FROM boot WHERE boot_key = ? AND boot_id = ?"
    return db.execute(query, (boot_key, boot_id)).fetchone() is not None


def last_ticket(db: sqlite3.Connection, boot_key: int) -> int:
    return int(
        db.execute(
            "SELECT last_ticket FROM boot WHERE boot_key = ?", (boot_key,)
        ).fetchone()[0]
    )


def note_ticket(db: sqlite3.Connection, boot_key: int, ticket: int) -> None:
    db.execute("UPDATE boot SET last_ticket = ? WHERE boot_key = ?", (ticket, boot_key))


def begin_check(
    db: sqlite3.Connection,
    boot_key: int,
    at: Stamp,
    run: str,
    kind: str,
    jig: str | None,
    saw: str | None,
    options: Mapping[str, OptionValue],
    gear: EvidenceGear,
    instrument: str | None,
    hold: str | None,
) -> None:
    insert(
        db,
        "check_run",
        run=run,
        check_kind=kind,
        jig=jig,
        saw=saw,
        options_json=_json(dict(options)),
        gear_key=keep_gear(db, gear),
        instrument=instrument,
        hold=hold,
        state="open",
        boot_key=boot_key,
        **_moment(at, "begun_"),
    )
    event(db, boot_key, at, run, "begun", {"check": kind})


def end_check(
    db: sqlite3.Connection,
    boot_key: int,
    at: Stamp,
    run: str,
    state: str,
    reason: str | None,
) -> None:
    db.execute(
        "UPDATE check_run SET state = ? WHERE run_key = ?", (state, _run_key(db, run))
    )
    event(db, boot_key, at, run, state, {"reason": reason} if reason else {})


def event(
    db: sqlite3.Connection,
    boot_key: int,
    at: Stamp,
    run: str | None,
    kind: str,
    data: Json,
) -> int:
    return insert(
        db,
        "event",
        run_key=None if run is None else _run_key(db, run),
        kind=kind,
        data_json=_json(data),
        boot_key=boot_key,
        **_moment(at),
    )


def start_sweep(
    db: sqlite3.Connection,
    boot_key: int,
    at: Stamp,
    sweep: str,
    run: str,
    placement: str,
    push: bool | None,
    seat: str | None,
    hold: str | None,
    gather: str,
    wires: Json,
) -> None:
    insert(
        db,
        "sweep",
        sweep=sweep,
        run_key=_run_key(db, run),
        placement=placement,
        gather=gather,
        push=push,
        seat=seat,
        hold=hold,
        state="running",
        wires_json=_json(wires),
        boot_key=boot_key,
        **_moment(at, "started_"),
    )
    event(
        db, boot_key, at, run, "sweep-started", {"sweep": sweep, "placement": placement}
    )


def chunk(
    db: sqlite3.Connection,
    sweep: str,
    instrument: str,
    raw: bytes,
    arrival_us: Sequence[int],
) -> None:
    """After the sweep's end a late block goes straight into what was merged, so none is
    lost."""
    key, _, state = _sweep(db, sweep)
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


def end_sweep(
    db: sqlite3.Connection,
    boot_key: int,
    at: Stamp,
    sweep: str,
    state: SweepEnd,
    push: bool | None,
    trace: Trace | None,
    reason: str | None,
) -> None:
    """The sweep's last state, its merged bytes and its trace, in the one transaction
    that ends it."""
    key, run, now = _sweep(db, sweep)
    if now != "running":
        raise Refused(f"the sweep {sweep} has ended already: it is {now}")
    merge_chunks(db, key)
    db.execute(
        "UPDATE sweep SET state = ?, push = coalesce(?, push), reason = ?, trace_key ="
        " ?, ended_monotonic_ns = ?, ended_wall_s = ? WHERE sweep_key = ?",
        (
            state,
            push,
            reason,
            trace and keep_trace(db, trace),
            at.monotonic_ns,
            at.wall_s,
            key,
        ),
    )
    data = {"sweep": sweep, "state": state} | ({"reason": reason} if reason else {})
    event(db, boot_key, at, run, "sweep-ended", data)


def undo_sweep(
    db: sqlite3.Connection, boot_key: int, at: Stamp, sweep: str, reason: str | None
) -> None:
    """Kept, and no longer counted; the event remembers what it had been."""
    key, run, was = _sweep(db, sweep)
    if was == "running":
        merge_chunks(db, key)
    db.execute(
        "UPDATE sweep SET state = 'undone', reason = coalesce(?, reason) WHERE"
        " sweep_key = ?",
        (reason, key),
    )
    event(db, boot_key, at, run, "sweep-undone", {"sweep": sweep, "was": was})


def interrupt_running(db: sqlite3.Connection, boot_key: int, at: Stamp) -> None:
    """Sweeps that an earlier life left running: merged, and marked as what they are."""
    rows = db.execute(
        "SELECT sweep_key, sweep, run FROM sweep JOIN check_run USING (run_key)"
        " WHERE sweep.state = 'running' AND sweep.boot_key <> ?",
        (boot_key,),
    ).fetchall()
    for key, sweep, run in rows:
        merge_chunks(db, key)
        reason = "the program ended during the sweep"
        db.execute(
            "UPDATE sweep SET state = 'interrupted', reason = ? WHERE sweep_key = ?",
            (reason, key),
        )
        event(
            db,
            boot_key,
            at,
            run,
            "sweep-ended",
            {"sweep": sweep, "state": "interrupted", "reason": reason},
        )


def finding(
    db: sqlite3.Connection,
    boot_key: int,
    at: Stamp,
    run: str,
    finding: Finding,
    evidence: Evidence,
    supersedes: str | None,
) -> None:
    found = msgspec.json.encode(finding).decode()
    rest = _json(
        msgspec.to_builtins(
            msgspec.structs.replace(evidence, traces=[], gear=EvidenceGear())
        )
    )
    key = insert(
        db,
        "finding",
        finding=finding.id,
        run_key=_run_key(db, run),
        check_kind=finding.check,
        jig=finding.jig,
        saw=finding.saw,
        verdict=finding.verdict,
        at=finding.at,
        finding_json=found,
        evidence_json=rest,
        gear_key=keep_gear(db, evidence.gear),
        crc32=zlib.crc32((found + rest).encode()),
        traces_sha256=all_digests([trace_digest(trace) for trace in evidence.traces]),
        boot_key=boot_key,
        **_moment(at),
    )
    for position, trace in enumerate(evidence.traces):
        insert(
            db,
            "finding_trace",
            finding_key=key,
            position=position,
            trace_key=keep_trace(db, trace),
        )
    for position, quantity in enumerate(finding.quantities):
        insert(
            db,
            "quantity",
            finding_key=key,
            position=position,
            name=quantity.name,
            unit=quantity.unit,
            value_in_unit=quantity.value,
            uncertainty_in_unit=quantity.uncertainty,
            degrees_of_freedom=quantity.degrees_of_freedom,
            tolerance_in_unit=quantity.tolerance,
            verdict=quantity.verdict,
        )
    if supersedes is not None:
        db.execute(
            "UPDATE finding SET superseded_by = ? WHERE finding_key = ?",
            (key, _finding_key(db, supersedes)),
        )
    event(
        db,
        boot_key,
        at,
        run,
        "found",
        {"finding": finding.id, "verdict": finding.verdict},
    )


def move_planned(
    db: sqlite3.Connection,
    boot_key: int,
    at: Stamp,
    move: str,
    finding: str,
    plan: Move,
) -> None:
    key = _finding_key(db, finding)
    run = _run_of_finding(db, key)
    insert(
        db,
        "move",
        move=move,
        finding_key=key,
        jig_end=plan.end,
        way=plan.way,
        distance_mm=plan.distance,
        uncertainty_mm=plan.uncertainty,
        move_json=msgspec.json.encode(plan).decode(),
        planned_event_key=event(
            db, boot_key, at, run, "move-planned", {"move": move, "finding": finding}
        ),
    )


def move_made(
    db: sqlite3.Connection, boot_key: int, at: Stamp, move: str, data: Json
) -> None:
    key, finding_key = _move(db, move)
    made = event(
        db,
        boot_key,
        at,
        _run_of_finding(db, finding_key),
        "moved",
        {"move": move, **data},
    )
    db.execute(
        "UPDATE move SET made_event_key = ?, made_json = ? WHERE move_key = ?",
        (made, _json(data), key),
    )


def move_verified(
    db: sqlite3.Connection, boot_key: int, at: Stamp, move: str, finding: str
) -> None:
    key, _ = _move(db, move)
    verifier = _finding_key(db, finding)
    db.execute("UPDATE move SET verified_by = ? WHERE move_key = ?", (verifier, key))
    event(
        db,
        boot_key,
        at,
        _run_of_finding(db, verifier),
        "move-verified",
        {"move": move, "finding": finding},
    )


def _run_key(db: sqlite3.Connection, run: str) -> int:
    return int(_row(db, "SELECT run_key FROM check_run WHERE run = ?", run, "check")[0])


def _sweep(db: sqlite3.Connection, sweep: str) -> tuple[int, str, str]:
    query = (
        "SELECT sweep_key, run, sweep.state FROM sweep JOIN check_run USING (run_key)"
        " WHERE sweep = ?"
    )
    key, run, state = _row(db, query, sweep, "sweep")
    return int(key), str(run), str(state)


def _finding_key(db: sqlite3.Connection, finding: str) -> int:
    return int(
        _row(
            db, "SELECT finding_key FROM finding WHERE finding = ?", finding, "finding"
        )[0]
    )


def _move(db: sqlite3.Connection, move: str) -> tuple[int, int]:
    key, finding_key = _row(
        db, "SELECT move_key, finding_key FROM move WHERE move = ?", move, "move"
    )
    return int(key), int(finding_key)


def _run_of_finding(db: sqlite3.Connection, finding_key: int) -> str:
    query = (
        "SELECT run FROM finding JOIN check_run USING (run_key) WHERE finding_key = ?"
    )
    return str(db.execute(query, (finding_key,)).fetchone()[0])


def _row(
    db: sqlite3.Connection, query: str, name: str, noun: str
) -> tuple[int | str, ...]:
    row: tuple[int | str, ...] | None = db.execute(query, (name,)).fetchone()
    if row is None:
        raise Refused(f"the log knows no {noun} {name!r}")
    return row


def _moment(at: Stamp, prefix: str = "") -> dict[str, int | float]:
    return {
        f"{prefix}monotonic_ns": at.monotonic_ns,
        f"{prefix}wall_s": at.wall_s,
        f"{prefix}clock_synced": int(at.synced),
    }


def _json(data: object) -> str:
    """JSON that keeps infinities and nan (as Infinity, NaN), which the evidence may
    hold."""
    return json.dumps(data, ensure_ascii=False, separators=(",", ":"))

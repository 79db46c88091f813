"""From rows of the log to the types that the rest of the program works with, exactly as
they went in. All functions take an open connection of any kind."""

from __future__ import annotations

import hashlib
import json
import sqlite3
import zlib

import msgspec

from bench.checks.model import Evidence, EvidenceGear, Lean, Tap, Trace
from bench.finding import Finding
from bench.log import packing
from bench.log.faults import contained
from bench.log.rows import EventRow, LogDamaged, LogError, OpenRun, SweepRecord
from bench.log.store import all_digests, trace_digest

_TRACE = (
    "sha256, placement, travel_mm_packed, reading_mm_packed, push, sweep, seat, hold,"
    " at_s_packed"
)
_RUN = (
    "run_key, run, check_kind, jig, saw, options_json, gear_key, instrument, hold,"
    " begun_wall_s, boot_id"
)


def trace(db: sqlite3.Connection, trace_key: int) -> Trace:
    """Raises LogDamaged if its numbers can no longer be read."""
    row = db.execute(
        f"SELECT {_TRACE} FROM trace WHERE trace_key = ?", (trace_key,)
    ).fetchone()
    if row is None:
        raise LogDamaged(f"trace {trace_key} is missing from the log")
    digest, placement, travel, reading, push, sweep, seat, hold, at = row
    with contained(f"pass {sweep!r} is damaged in the log and"):
        kept = Trace(
            placement=placement,
            travel=packing.unpack_floats(travel),
            reading=packing.unpack_floats(reading),
            push=bool(push),
            sweep=sweep,
            seat=seat,
            hold=hold,
            at=None if at is None else packing.unpack_floats(at),
        )
    if trace_digest(kept) != digest:
        raise LogDamaged(
            f"sweep {sweep!r} is damaged in the log: its checksum does not agree"
        )
    return kept


def gear(db: sqlite3.Connection, gear_key: int) -> EvidenceGear:
    row = db.execute(
        "SELECT gear_json, sha256 FROM gear WHERE gear_key = ?", (gear_key,)
    ).fetchone()
    if row is None or hashlib.sha256(row[0].encode()).hexdigest() != row[1]:
        raise LogDamaged(
            "the gear that was used is missing from the log or damaged in it"
        )
    return msgspec.json.decode(row[0], type=EvidenceGear)


def events(db: sqlite3.Connection, run: str | None = None) -> list[EventRow]:
    """In the order of recording; of one check, or all."""
    where = "" if run is None else " WHERE run = ?"
    rows = db.execute(
        "SELECT event_key, run, kind, data_json, boot_id, e.monotonic_ns, e.wall_s,"
        " e.clock_synced FROM event AS e JOIN boot ON boot.boot_key = e.boot_key LEFT"
        f" JOIN check_run ON check_run.run_key = e.run_key{where} ORDER BY event_key",
        () if run is None else (run,),
    )
    return [
        EventRow(
            key, of, kind, json.loads(data), boot_id, monotonic, wall, bool(synced)
        )
        for key, of, kind, data, boot_id, monotonic, wall, synced in rows
    ]


def sweeps(
    db: sqlite3.Connection, run: str, *, traces: bool = True
) -> list[SweepRecord]:
    """All sweeps of a check in order, whatever became of them; a damaged trace is left
    out, not raised."""
    rows = db.execute(
        "SELECT sweep_key, sweep, placement, push, seat, sweep.hold, gather,"
        " sweep.state, reason, boot.boot_id, started_monotonic_ns, started_wall_s,"
        " started_clock_synced, ended_monotonic_ns, trace_key FROM sweep JOIN check_run"
        " USING (run_key) JOIN boot ON boot.boot_key = sweep.boot_key WHERE run = ?"
        " ORDER BY sweep_key",
        (run,),
    ).fetchall()
    return [_sweep(db, run, row, traces) for row in rows]


def raw_readings(db: sqlite3.Connection, sweep_key: int) -> int:
    """Records of the instrument of which most were kept, merged or still in pieces."""
    counts: dict[str, int] = {}
    for table in ("reading", "chunk"):
        query = (
            f"SELECT instrument, sum(readings) FROM {table} WHERE sweep_key = ? GROUP"
            " BY instrument"
        )
        for instrument, count in db.execute(query, (sweep_key,)):
            counts[instrument] = counts.get(instrument, 0) + count
    return max(counts.values(), default=0)


def raw(db: sqlite3.Connection, sweep: str) -> dict[str, tuple[bytes, list[int]]]:
    """By instrument: bytes of the wire and arrivals (monotonic us) of an ended sweep;
    LogError if unknown."""
    rows = db.execute(
        "SELECT instrument, raw_zlib, arrival_us_packed FROM sweep LEFT JOIN reading"
        " USING (sweep_key) WHERE sweep = ? ORDER BY instrument",
        (sweep,),
    ).fetchall()
    if not rows:
        raise LogError(f"the log has no sweep {sweep!r}")
    try:
        return {
            instrument: (zlib.decompress(packed), packing.unpack_integers(times))
            for instrument, packed, times in rows
            if instrument is not None
        }
    except (zlib.error, packing.PackingError) as error:
        raise LogDamaged(
            f"the raw readings of sweep {sweep!r} are damaged in the log: {error}"
        ) from error


def finding(db: sqlite3.Connection, name: str) -> tuple[Finding, Evidence]:
    """A finding with all that it was worked out from. LogError if unknown, LogDamaged
    if unreadable."""
    with contained(f"the finding {name!r} is damaged in the log and"):
        row = db.execute(
            f"SELECT {FOUND}, f.finding_key, gear_key, traces_sha256 FROM finding AS f"
            " WHERE finding = ?",
            (name,),
        ).fetchone()
        if row is None:
            raise LogError(f"the log has no finding {name!r}")
        found, rest = sound_finding(*row[:3])
        key, gear_key, digests = row[3:]
        keys = db.execute(
            "SELECT trace_key FROM finding_trace WHERE finding_key = ? ORDER BY"
            " position",
            (key,),
        ).fetchall()
        traces = [trace(db, trace_key) for (trace_key,) in keys]
        if all_digests([trace_digest(kept) for kept in traces]) != digests:
            raise LogDamaged(
                f"the finding {name!r} is damaged in the log: passes of its evidence"
                " are missing"
            )
        evidence = msgspec.structs.replace(
            msgspec.convert(json.loads(rest), Evidence),
            traces=traces,
            gear=gear(db, gear_key),
        )
        return found, evidence


# as bytes, which are there also where they are no text any more
FOUND = "CAST(f.finding_json AS BLOB), CAST(f.evidence_json AS BLOB), f.crc32"


def sound_finding(found: bytes, rest: bytes, crc: int) -> tuple[Finding, bytes]:
    """The finding and the JSON of its evidence. Raises LogDamaged, MsgspecError."""
    if zlib.crc32(found + rest) != crc:
        raise LogDamaged("a finding is damaged in the log: its checksum does not agree")
    return msgspec.json.decode(found, type=Finding), rest


def open_runs(db: sqlite3.Connection, *, traces: bool = True) -> list[OpenRun]:
    rows = db.execute(
        f"SELECT {_RUN} FROM check_run JOIN boot USING (boot_key) WHERE state = 'open'"
        " ORDER BY run_key"
    ).fetchall()
    return [_open_run(db, row, traces) for row in rows]


def evidence_of_run(db: sqlite3.Connection, run: str) -> Evidence:
    """What a check has gathered so far: its whole sweeps, leans and taps. Raises
    LogError if unknown."""
    row = db.execute(
        "SELECT check_kind, options_json, gear_key FROM check_run WHERE run = ?", (run,)
    ).fetchone()
    if row is None:
        raise LogError(f"the log has no check {run!r}")
    kind, options, gear_key = row
    leans = {
        str(event.data["placement"]): msgspec.convert(event.data, Lean)
        for event in events(db, run)
        if event.kind == "lean"
    }
    taps = [
        msgspec.convert(event.data, Tap)
        for event in events(db, run)
        if event.kind == "tap"
    ]
    return Evidence(
        check=kind,
        traces=[
            s.trace
            for s in sweeps(db, run)
            if s.state == "whole" and s.trace is not None
        ],
        options=json.loads(options),
        gear=gear(db, gear_key),
        leans=list(leans.values()),
        taps=taps,
        alive=[
            str(event.data["placement"])
            for event in events(db, run)
            if event.kind == "alive"
        ]
        or None,
    )


def _sweep(
    db: sqlite3.Connection, run: str, row: tuple[object, ...], traces: bool
) -> SweepRecord:
    *columns, trace_key = row
    (
        key,
        name,
        placement,
        push,
        seat,
        hold,
        gather,
        state,
        reason,
        boot_id,
        monotonic,
        wall,
        synced,
        ended,
    ) = columns
    kept: Trace | None = None
    if trace_key is not None and traces:
        try:
            kept = trace(db, msgspec.convert(trace_key, int))
        except LogDamaged as error:
            reason = str(error)
    if kept is not None:
        readings = len(kept.reading)
    elif trace_key is not None:
        readings = db.execute(
            "SELECT readings FROM trace WHERE trace_key = ?", (trace_key,)
        ).fetchone()[0]
    else:
        readings = raw_readings(db, msgspec.convert(key, int))
    return msgspec.convert(
        {
            "order": key,
            "sweep": name,
            "run": run,
            "placement": placement,
            "push": None if push is None else bool(push),
            "seat": seat,
            "hold": hold,
            "gather": gather,
            "state": state,
            "reason": reason,
            "readings": readings,
            "boot_id": boot_id,
            "started_monotonic_ns": monotonic,
            "started_wall_s": wall,
            "synced": bool(synced),
            "ended_monotonic_ns": ended,
            "trace": kept,
        },
        SweepRecord,
        from_attributes=True,
    )


def _open_run(db: sqlite3.Connection, row: tuple[object, ...], traces: bool) -> OpenRun:
    key, run, kind, jig, saw, options, gear_key, instrument, hold, begun, boot_id = row
    name = str(run)
    findings = db.execute(
        "SELECT finding FROM finding WHERE run_key = ? ORDER BY finding_key", (key,)
    )
    return msgspec.convert(
        {
            "run": run,
            "check": kind,
            "jig": jig,
            "saw": saw,
            "options": json.loads(str(options)),
            "gear": gear(db, msgspec.convert(gear_key, int)),
            "instrument": instrument,
            "hold": hold,
            "begun_wall_s": begun,
            "boot_id": boot_id,
            "events": events(db, name),
            "sweeps": sweeps(db, name, traces=traces),
            "findings": [finding for (finding,) in findings],
        },
        OpenRun,
        from_attributes=True,
    )

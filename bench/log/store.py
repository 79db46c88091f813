"""Stores once what several rows share: traces, the gear, the merged bytes of a sweep.

Nothing here commits.
"""

from __future__ import annotations

import hashlib
import itertools
import sqlite3
import zlib
from array import array

import msgspec

from bench.checks.model import EvidenceGear, Trace
from bench.log import packing
from bench.log.faults import contained
from bench.log.rows import LogDamaged

_CHUNKS = (
    "SELECT instrument, raw, arrival_us_packed FROM chunk WHERE sweep_key = ? ORDER BY"
    " instrument, chunk_key"
)
_MERGED = (
    "SELECT raw_zlib, arrival_us_packed FROM reading WHERE sweep_key = ? AND instrument"
    " = ?"
)
# the fields of a trace that are columns as they stand; its digest keeps their order
_PLAIN = ("placement", "push", "sweep", "seat", "hold")
_TRACE = (
    f"SELECT sha256, travel_mm_packed, reading_mm_packed, at_s_packed,"
    f" {', '.join(_PLAIN)} FROM trace WHERE trace_key = ?"
)

Column = str | int | float | bytes | None


def merge_chunks(db: sqlite3.Connection, sweep_key: int) -> None:
    """Merge the chunks of a sweep into one packed row per instrument; nothing is
    dropped."""
    pieces = db.execute(_CHUNKS, (sweep_key,)).fetchall()
    for instrument, blocks in itertools.groupby(pieces, key=lambda piece: piece[0]):
        whole, times = bytearray(), []
        if row := db.execute(_MERGED, (sweep_key, instrument)).fetchone():
            whole += zlib.decompress(row[0])
            times += packing.unpack_integers(row[1])
        for _, raw, packed in blocks:
            whole += raw
            times += packing.unpack_integers(packed)
        db.execute(
            "INSERT OR REPLACE INTO reading (sweep_key, instrument, readings,"
            " raw_bytes, raw_zlib, arrival_us_packed) VALUES (?, ?, ?, ?, ?, ?)",
            (
                *(sweep_key, instrument, len(times), len(whole)),
                *(zlib.compress(whole, 6), packing.pack_integers(times)),
            ),
        )
    db.execute("DELETE FROM chunk WHERE sweep_key = ?", (sweep_key,))


def trace_digest(trace: Trace) -> bytes:
    """A hash over all that a trace says, the same on any machine."""
    columns = [
        array("d", column) for column in (trace.travel, trace.reading, trace.at or ())
    ]
    words = (*(getattr(trace, name) for name in _PLAIN), trace.at is None)
    digest = hashlib.sha256(repr((words, [len(column) for column in columns])).encode())
    for column in columns:
        digest.update(column.tobytes())
    return digest.digest()


def all_digests(digests: list[bytes]) -> bytes:
    """A hash over the hashes of traces, in their order."""
    return hashlib.sha256(b"".join(digests)).digest()


def keep_trace(db: sqlite3.Connection, trace: Trace) -> int:
    """The key of this very trace, kept once however many findings use it."""
    digest = trace_digest(trace)
    query = "SELECT trace_key FROM trace WHERE sha256 = ?"
    if (row := db.execute(query, (digest,)).fetchone()) is not None:
        return int(row[0])
    return insert(
        db,
        "trace",
        sha256=digest,
        **{name: getattr(trace, name) for name in _PLAIN},
        readings=len(trace.reading),
        travel_mm_packed=packing.pack_floats(trace.travel),
        reading_mm_packed=packing.pack_floats(trace.reading),
        at_s_packed=None if trace.at is None else packing.pack_floats(trace.at),
    )


def gear_names(gear: EvidenceGear) -> tuple[str | None, str | None]:
    """The names of the sled and of the saw."""
    return gear.jig.name if gear.jig else None, gear.saw.name if gear.saw else None


def keep_gear(db: sqlite3.Connection, gear: EvidenceGear) -> int:
    text = msgspec.json.encode(gear).decode()
    digest = hashlib.sha256(text.encode()).hexdigest()
    row = db.execute("SELECT gear_key FROM gear WHERE sha256 = ?", (digest,)).fetchone()
    return int(row[0]) if row else insert(db, "gear", sha256=digest, gear_json=text)


def insert(db: sqlite3.Connection, table: str, **columns: Column) -> int:
    """Returns the number of the row."""
    names = ", ".join(columns)
    marks = ", ".join("?" * len(columns))
    cursor = db.execute(
        f"INSERT INTO {table} ({names}) VALUES ({marks})", tuple(columns.values())
    )
    assert cursor.lastrowid is not None
    return cursor.lastrowid


def load_trace(db: sqlite3.Connection, trace_key: int) -> Trace:
    """Raises LogDamaged if its numbers can no longer be read."""
    row = db.execute(_TRACE, (trace_key,)).fetchone()
    if row is None:
        raise LogDamaged(f"trace {trace_key} is missing from the log")
    digest, travel, reading, at, *plain = row
    fields = dict(zip(_PLAIN, plain, strict=True))
    with contained(f"pass {fields['sweep']!r} is damaged in the log and"):
        kept = Trace(
            **{**fields, "push": bool(fields["push"])},
            travel=packing.unpack_floats(travel),
            reading=packing.unpack_floats(reading),
            at=None if at is None else packing.unpack_floats(at),
        )
        if trace_digest(kept) != digest:
            raise ValueError("its checksum does not agree")
        return kept


def load_gear(db: sqlite3.Connection, gear_key: int) -> EvidenceGear:
    row = db.execute(
        "SELECT gear_json, sha256 FROM gear WHERE gear_key = ?", (gear_key,)
    ).fetchone()
    if row is None or hashlib.sha256(row[0].encode()).hexdigest() != row[1]:
        raise LogDamaged("the gear that was used is missing from the log, or damaged")
    return msgspec.json.decode(row[0], type=EvidenceGear)

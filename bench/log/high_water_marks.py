"""Keeps beside the log the highest row numbers that were told as saved, and counts the
rows below them that are lost.

Rows of these tables are never deleted and no number is given twice, so that the highest
number less the count of rows is how many are missing. The file is one block of 512
bytes, which a disk writes whole or not at all. It is written after the commit and
before anybody is told of it.
"""

from __future__ import annotations

import os
import sqlite3
import zlib
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

import msgspec

from bench.log.rows import LogDamaged

# the sector that a disk writes whole or not at all, SQLite's documents on atomic commit
BLOCK_BYTES = 512
# tables whose rows are counted, and what one and several of them are called
COUNTED_TABLES = {
    "finding": ("result", "results"),
    "sweep": ("pass", "passes"),
    "move": ("move", "moves"),
    "event": ("event", "events"),
}

Counts = dict[str, int]  # by table


class HighWaterMarks(msgspec.Struct, frozen=True):
    """highest: number of the last row that was told as saved, by table; missing: how
    many rows are known to be lost, which was told."""

    highest: Counts = {}
    missing: Counts = {}


def beside(log: Path) -> Path:
    return log.with_name(log.name + ".acknowledged")


def read(log: Path) -> HighWaterMarks | None:
    """None where there is no such file, or it was made just before the power went.
    Raises LogDamaged."""
    try:
        block = beside(log).read_bytes()
    except FileNotFoundError:
        return None
    if not block.strip(b"\0"):
        return None  # not yet written: nobody was told of anything
    checksum, _, text = block.rstrip(b" \n").partition(b" ")
    if checksum != b"%08x" % zlib.crc32(text):
        raise LogDamaged(
            f"{beside(log)} is damaged: what was told as saved is not known by it"
        )
    return msgspec.json.decode(text, type=HighWaterMarks)


def record(log: Path, db: sqlite3.Connection, *, losses_told: bool = False) -> None:
    """Call after each commit that somebody will be told of, before they are.
    losses_told: what is missing now was told, and is not told again."""
    before: HighWaterMarks | None = None
    with suppress(LogDamaged):
        before = None if losses_told else read(log)
    missing = _gaps(db, {}) if before is None else before.missing
    _write(log, HighWaterMarks(_highest(db), missing))


def missing_rows(
    db: sqlite3.Connection, marks: HighWaterMarks | None, *, salvaged: bool = False
) -> Counts:
    """How many rows of which table are missing that were not known to be; none where
    nothing was ever told.

    salvaged: the log was damaged just now, so that a gap in it is news even where
    nothing is known of before.
    """
    if marks is None and not salvaged:
        return {}
    marks = marks or HighWaterMarks()
    gaps = _gaps(db, marks.highest)
    return {
        table: more
        for table in COUNTED_TABLES
        if (more := gaps[table] - marks.missing.get(table, 0)) > 0
    }


def reserve_numbers(db: sqlite3.Connection, highest: Counts) -> None:
    """Keep a new row from taking the number of one that was lost."""
    given = dict(db.execute("SELECT name, seq FROM sqlite_sequence"))
    with db:
        db.execute("BEGIN IMMEDIATE")
        for row in highest.items():
            if row[1] > given.get(row[0], 0):
                db.execute("DELETE FROM sqlite_sequence WHERE name = ?", row[:1])
                db.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)", row)


def _gaps(db: sqlite3.Connection, highest: Counts) -> Counts:
    given = _highest(db)
    return {
        table: max(given[table], highest.get(table, 0))
        - db.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
        for table in COUNTED_TABLES
    }


def _highest(db: sqlite3.Connection) -> Counts:
    rows = dict(db.execute("SELECT name, seq FROM sqlite_sequence"))
    return {table: rows.get(table, 0) for table in COUNTED_TABLES}


def _write(log: Path, marks: HighWaterMarks) -> None:
    """Write in place, so that it needs no room on a full disk and wears one block."""
    text = msgspec.json.encode(marks)
    block = (b"%08x " % zlib.crc32(text) + text).ljust(BLOCK_BYTES - 1) + b"\n"
    assert len(block) == BLOCK_BYTES, len(block)
    fresh = not beside(log).exists()
    descriptor = os.open(beside(log), os.O_WRONLY | os.O_CREAT | os.O_CLOEXEC, 0o640)
    try:
        os.pwrite(descriptor, block, 0)
        os.fdatasync(descriptor)
    finally:
        os.close(descriptor)
    if fresh:
        folder = os.open(log.parent, os.O_RDONLY | os.O_CLOEXEC)
        try:
            os.fsync(folder)
        finally:
            os.close(folder)


def salvage_words(data: Mapping[str, object]) -> str:
    """data: what is in a `Salvage`; of an older program there may be less in it."""
    rows = data.get("unreadable")
    return (
        f"The log was damaged. It was set aside as {data.get('set_aside')};"
        f" {data.get('sweeps')} sweeps and {data.get('findings')} findings were read"
        " out of it" + (f", {rows} rows could not be read." if rows else ".")
    )


def lacking_words(counts: Mapping[str, object]) -> str:
    """counts: rows by table. Events are told of only where nothing else is missing."""
    lost = [
        f"{count} {words[count != 1]}"
        for table, words in COUNTED_TABLES.items()
        if (count := counts.get(table)) and (table != "event" or len(counts) == 1)
    ]
    return (
        f"Missing from the log: {' and '.join(lost)}, saved before and lost since. Is"
        " the card failing?"
    )

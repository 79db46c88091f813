"""Sets a damaged log aside and puts what can be read of it into a new one.

The damaged file is only read, and carries the time in its name. The new file is built
beside it and takes its place by one rename, so that a kill in between leaves the
damaged one to be found again.
"""

from __future__ import annotations

import itertools
import json
import os
import shutil
import sqlite3
import tempfile
import time
import zlib
from collections.abc import Iterator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO

from bench.log import packing, schema
from bench.log.faults import UNREADABLE
from bench.log.high_water_marks import COUNTED_TABLES, reserve_numbers
from bench.log.rows import Salvage
from bench.log.schema import CHANGES, Change, migrate

# numbers without a readable row, one after the other, that end a table, where its last
# number is known and where it is not
_MOST_PROBES, _MOST_ABSENT = 20_000, 300

_LOST_PARENTS = Path(__file__).with_name("lost_parents.sql")
_PAGE_SIZES = (schema.PAGE_BYTES, 4096)  # of new logs, and of those made before

_UNSOUND = (ValueError, TypeError, OverflowError, zlib.error)

# JSON objects of rows that have no checksum of their own
_JSON_COLUMNS = {
    "gear": "gear_json",
    "check_run": "options_json",
    "event": "data_json",
    "sweep": "wires_json",
    "move": "move_json",
}


def set_aside(path: Path) -> Salvage:
    """Move the damaged file away, and put a sound one with all that is readable in its
    place."""
    aside, fresh = _free_name(path), _beside(path, ".salvaging")
    made = []
    try:
        for suffix in ("", "-wal"):
            if (source := _beside(path, suffix)).exists() and source.stat().st_size:
                made.append(_beside(aside, suffix))
                _link_or_copy(source, made[-1])
        for suffix in ("", "-wal", "-shm"):
            _beside(fresh, suffix).unlink(missing_ok=True)
        salvaged = _refill(aside, fresh, str(made[0]))
    except BaseException:
        # Perhaps the disk is full. The damaged file is still in its place, and it is
        # tried again.
        for name in made:
            name.unlink(missing_ok=True)
        raise
    for suffix in ("-wal", "-shm"):
        _beside(path, suffix).unlink(missing_ok=True)
    os.replace(fresh, path)
    return salvaged


def _refill(aside: Path, fresh: Path, name: str) -> Salvage:
    with closing(schema.connect(fresh)) as new:
        new.execute("PRAGMA foreign_keys = OFF")
        with _readable(aside) as old:
            unreadable = sum(_copy_rows(old, new, table) for table in _tables_of(new))
        new.executescript(_LOST_PARENTS.read_text(encoding="utf-8"))
        # links to lost rows stay, so no new row may have the number of a lost one
        for table in _tables_of(new):
            for _, _, parent, column, *_ in new.execute(
                f"PRAGMA foreign_key_list({table})"
            ).fetchall():
                (most,) = new.execute(f"SELECT max({column}) FROM {table}").fetchone()
                reserve_numbers(new, {parent: most or 0})
        sweeps, findings = (
            new.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            for table in ("sweep", "finding")
        )
        new.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return Salvage(name, sweeps, findings, unreadable)


def _copy_rows(old: sqlite3.Connection, new: sqlite3.Connection, table: str) -> int:
    """Copy every readable row; returns how many were there and could not be read."""
    columns = [row[1] for row in new.execute(f"PRAGMA table_info({table})")]
    marks = ", ".join("?" * len(columns))
    insert = f"INSERT INTO {table} ({', '.join(columns)}) VALUES ({marks})"
    unreadable = 0
    new.execute("BEGIN")
    for row in _readable_rows(old, table, columns):
        try:
            if row is None or not _is_sound(
                table, dict(zip(columns, row, strict=True))
            ):
                raise ValueError
            new.execute(insert, row)
        # a key twice or a wrong type: the row is not what was written
        except (*_UNSOUND, sqlite3.IntegrityError):
            unreadable += 1
    new.execute("COMMIT")
    return unreadable


def _readable_rows(
    db: sqlite3.Connection, table: str, columns: Sequence[str]
) -> Iterator[Sequence[Any] | None]:
    """Rows in the order of their numbers, begun anew behind each that cannot be read:
    None stands for that."""
    query = (
        f"SELECT rowid, {', '.join(columns)} FROM {table} NOT INDEXED WHERE rowid > ?"
        " ORDER BY rowid"
    )
    end = _last_number(db, table)
    most = _MOST_ABSENT if end is None else _MOST_PROBES
    last = failed = 0
    while failed < most and (end is None or last < end):
        try:
            for number, *row in db.execute(query, (last,)):
                failed = 0
                if end is None or number <= end:  # else it is damage
                    last = max(last, number)
                yield row
            return
        except UNREADABLE:
            last, failed = last + 1, failed + 1
            if end is not None or failed == 1:
                yield None


def _last_number(db: sqlite3.Connection, table: str) -> int | None:
    """The number of a row that is there, or that there ever was where none is deleted;
    None where damage hides both, 0 where a log of that version has no such table."""
    query = "SELECT 1 FROM sqlite_schema WHERE name = ?"
    if db.execute(query, (table,)).fetchone() is None:
        return 0
    with suppress(*UNREADABLE):
        return (
            db.execute(f"SELECT max(rowid) FROM {table} NOT INDEXED").fetchone()[0] or 0
        )
    with suppress(*UNREADABLE):
        query = "SELECT max(seq) FROM sqlite_sequence WHERE name = ?"
        if table in COUNTED_TABLES:
            return db.execute(query, (table,)).fetchone()[0] or 0
    return None


def _is_sound(table: str, row: dict[str, Any]) -> bool:
    """Whether the row's own checks agree: checksum, lengths, JSON. Raises what
    `_UNSOUND` names."""
    match table:
        case "finding":
            said = f"{row['finding_json']}{row['evidence_json']}"
            return bool(zlib.crc32(said.encode()) == row["crc32"])
        case "trace":
            columns = [
                row[f"{name}_packed"] for name in ("travel_mm", "reading_mm", "at_s")
            ]
            lengths = {len(packing.unpack_floats(c)) for c in columns if c is not None}
            return lengths == {row["readings"]}
        case "chunk" | "reading":
            times = packing.unpack_integers(row["arrival_us_packed"])
            raw = row.get("raw_zlib")
            whole = raw is None or len(zlib.decompress(raw)) == row["raw_bytes"]
            return bool(whole and len(times) == row["readings"])
    column = _JSON_COLUMNS.get(table)
    return column is None or isinstance(json.loads(row[column]), dict)


def _tables_of(db: sqlite3.Connection) -> list[str]:
    """The tables of what was recorded, in the order in which they were made: parents
    before the rows that belong to them."""
    query = (
        "SELECT name FROM sqlite_schema WHERE type = 'table' AND name NOT IN"
        " ('migration', 'description', 'sqlite_sequence') ORDER BY rowid"
    )
    return [name for (name,) in db.execute(query)]


@contextmanager
def _readable(aside: Path) -> Iterator[sqlite3.Connection]:
    """A copy, into which SQLite itself takes the write-ahead file; with the list of
    tables of a new log where its own cannot be read."""
    with (
        closing(_new_log(schema.PAGE_BYTES, ())) as first,
        tempfile.TemporaryDirectory(prefix="log-salvage-", dir=aside.parent) as scratch,
    ):
        copy = Path(scratch, "copy.sqlite")
        _copy(aside, copy)
        for prepare in (_count_pages, _lay_list_of_tables):
            prepare(copy)
            with closing(sqlite3.connect(copy, isolation_level=None)) as db:
                if _has_tables(db, _tables_of(first)):
                    yield db
                    return
        yield first


def _has_tables(db: sqlite3.Connection, tables: list[str]) -> bool:
    with suppress(*UNREADABLE):
        return set(tables) <= set(_tables_of(db))
    return False


def _copy(aside: Path, copy: Path) -> None:
    """Copy the log with its write-ahead file beside it; where only that is left, beside
    a new log."""
    wal = _beside(aside, "-wal")
    if wal.exists():
        shutil.copyfile(wal, _beside(copy, "-wal"))
    if aside.exists():
        shutil.copyfile(aside, copy)
        return
    size = int.from_bytes(wal.read_bytes()[8:12], "big")  # file format, section 4.1
    with closing(_new_log(size)) as db:
        copy.write_bytes(db.serialize())


def _count_pages(copy: Path) -> None:
    """Put 0 for the number of pages (file format, section 1.3.7), which stands for as
    many as the file holds."""
    with copy.open("r+b") as file:
        file.seek(28)
        file.write(bytes(4))


def _lay_list_of_tables(copy: Path) -> None:
    """Put in the list of tables of a new log, of the page size with which most of it is
    there already."""
    with copy.open("r+b") as file:
        lists = map(_list_of_tables, _PAGE_SIZES)
        for at, page in max(lists, key=partial(_agreeing, file)).items():
            file.seek(at)
            file.write(page)
    _count_pages(copy)


def _new_log(
    page_bytes: int, changes: Sequence[Change] = CHANGES
) -> sqlite3.Connection:
    """A log in memory; of the first version without changes."""
    db = sqlite3.connect(":memory:", isolation_level=None)
    db.execute(f"PRAGMA page_size = {page_bytes}")
    migrate(db, changes)
    return db


def _list_of_tables(size: int) -> dict[int, bytes]:
    """The pages of a log of the first version that are no root of a table or an index,
    by place in the file: they hold the list of tables. All logs have it there, with the
    same roots, as nothing ever drops a table; later tables are lost with a list that is
    damaged."""
    with closing(_new_log(size, ())) as db:
        data = db.serialize()
        roots = {root for (root,) in db.execute("SELECT rootpage FROM sqlite_schema")}
    places = [at for at in range(0, len(data), size) if at // size + 1 not in roots]
    return {at: data[at : at + size] for at in places}


def _agreeing(file: BinaryIO, pages: Mapping[int, bytes]) -> int:
    """How many of the pages are in the file: most, of the size that it has."""
    count = 0
    for at, page in pages.items():
        file.seek(at)
        count += file.read(len(page)) == page
    return count


def _free_name(path: Path) -> Path:
    stamp = time.strftime("%Y%m%dT%H%M%S")
    for number in itertools.count(1):
        more = f"-{number}" if number > 1 else ""
        aside = path.with_name(f"{path.stem}.damaged-{stamp}{more}{path.suffix}")
        if not aside.exists():
            break
    return aside


def _beside(path: Path, suffix: str) -> Path:
    return path.with_name(path.name + suffix)


def _link_or_copy(source: Path, target: Path) -> None:
    """A second name for the file; a copy where the file system has no such thing."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)

"""Sets a damaged log aside and puts what can be read of it into a new one.

The damaged file is only read, and carries the time in its name. The new file is built
beside it and takes its place by one rename, so that a kill in between leaves the
damaged one to be found again.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import struct
import tempfile
import time
from collections.abc import Generator, Iterator
from contextlib import closing, suppress
from pathlib import Path
from typing import BinaryIO

import msgspec

from bench.log import schema
from bench.log.row_checks import row_is_sound
from bench.log.rows import LogDamaged, Salvage
from bench.log.tables import create_first, migrate
from bench.log.wal import PAGE_SIZES, frames, overlay_pages

_MOST_PROBES = 20_000  # rows looked for one by one in a damaged part of a table
_MOST_ABSENT = 300  # numbers without a row, one after the other: the table's end

_LOST_PARENTS = Path(__file__).with_name("lost_parents.sql")

_B_TREE_KINDS = (2, 5, 10, 13)  # the first byte of such a page (section 1.6)

Row = tuple[object, ...]


def set_aside(path: Path) -> Salvage:
    """Move the damaged file away, and put a sound one with all that is readable in its
    place."""
    aside = _free_name(path)
    made = []
    try:
        for suffix in ("", "-wal"):
            if (source := _beside(path, suffix)).exists() and source.stat().st_size:
                made.append(_beside(aside, suffix))
                _link_or_copy(source, made[-1])
        assert made, path
        fresh = _beside(path, ".salvaging")
        for suffix in ("", "-wal", "-shm"):
            _beside(fresh, suffix).unlink(missing_ok=True)
        salvaged = _refill(aside, fresh)
    except BaseException:
        # Perhaps the disk is full. The damaged file is still in its place, and it is
        # tried again.
        for name in made:
            name.unlink(missing_ok=True)
        raise
    for suffix in ("-wal", "-shm"):
        _beside(path, suffix).unlink(missing_ok=True)
    os.replace(fresh, path)
    return msgspec.structs.replace(salvaged, set_aside=str(made[0]))


def _refill(aside: Path, fresh: Path) -> Salvage:
    with closing(schema.connect(fresh)) as new:
        unreadable = _copy_rows(aside, new)
        sweeps, findings = (
            new.execute(f"SELECT count(*) FROM {table}").fetchone()[0]
            for table in ("sweep", "finding")
        )
        new.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return Salvage(str(aside), sweeps, findings, unreadable)


def _copy_rows(aside: Path, new: sqlite3.Connection) -> int:
    """Copy every readable row; returns how many were there and could not be read."""
    unreadable = 0
    new.execute("PRAGMA foreign_keys = OFF")
    with (
        tempfile.TemporaryDirectory(prefix="log-salvage-", dir=aside.parent) as scratch,
        _readable_copy(aside, Path(scratch)) as old,
    ):
        # a list of tables that was laid over lacks those of later versions
        for table in [t for t in _tables_of(new) if t in _tables_of(old)]:
            columns = [row[1] for row in new.execute(f"PRAGMA table_info({table})")]
            insert = (
                f"INSERT INTO {table} ({', '.join(columns)}) VALUES"
                f" ({', '.join('?' * len(columns))})"
            )
            new.execute("BEGIN")
            for row in _readable_rows(old, table, columns):
                if row is None or not row_is_sound(
                    table, dict(zip(columns, row, strict=True))
                ):
                    unreadable += 1
                    continue
                try:
                    new.execute(insert, row)
                except sqlite3.Error:
                    # A key twice or a wrong type: the row is not what was written.
                    unreadable += 1
            new.execute("COMMIT")
    new.executescript(_LOST_PARENTS.read_text(encoding="utf-8"))
    _give_no_number_twice(new)
    return unreadable


def _tables_of(db: sqlite3.Connection) -> list[str]:
    """Those that hold what was recorded, in the order in which they were made: each
    after those that its rows belong to."""
    query = "SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY rowid"
    names = [name for (name,) in db.execute(query)]
    return [
        n for n in names if n not in ("migration", "description", "sqlite_sequence")
    ]


def _readable_rows(
    db: sqlite3.Connection, table: str, columns: list[str]
) -> Iterator[Row | None]:
    """Rows by their number, from both ends up to the damage and then one by one. None
    stands for a row that can no longer be read."""
    select = f"SELECT rowid, {', '.join(columns)} FROM {table} NOT INDEXED WHERE rowid"
    last, whole = yield from _until_damage(db, f"{select} > ? ORDER BY rowid", -1)
    if whole:
        return
    low = -1 if last is None else last
    high, _ = yield from _until_damage(db, f"{select} > ? ORDER BY rowid DESC", low)
    yield from _one_by_one(db, f"{select} = ?", low + 1, high)


def _until_damage(
    db: sqlite3.Connection, query: str, above: int
) -> Generator[Row, None, tuple[int | None, bool]]:
    """Returns the last number, and whether these were all rows."""
    last: int | None = None
    try:
        for number, *row in db.execute(query, (above,)):
            last = number
            yield tuple(row)
    except (sqlite3.Error, UnicodeDecodeError):
        return last, False
    return last, True


def _one_by_one(
    db: sqlite3.Connection, query: str, low: int, high: int | None
) -> Iterator[Row | None]:
    """Rows below the number `high`, or up to the table's end where that is unknown."""
    end = low + _MOST_PROBES
    absent = 0
    for number in range(low, end if high is None else min(high, end)):
        try:
            found = db.execute(query, (number,)).fetchone()
        except (sqlite3.Error, UnicodeDecodeError):
            absent += 1
            if absent < 2 or high is not None:
                yield None
        else:
            absent = absent + 1 if found is None else 0
            if found is not None:
                yield tuple(found[1:])
        if high is None and absent > _MOST_ABSENT:
            return


def _give_no_number_twice(new: sqlite3.Connection) -> None:
    """Links to lost rows stay, so no new row may have the number of a lost one."""
    highest = dict(new.execute("SELECT name, max(seq) FROM sqlite_sequence GROUP BY 1"))
    for table in _tables_of(new):
        links = new.execute(f"PRAGMA foreign_key_list({table})").fetchall()
        for _, _, parent, column, *_ in links:
            (most,) = new.execute(f"SELECT max({column}) FROM {table}").fetchone()
            highest[parent] = max(highest.get(parent, 0), most or 0)
    new.execute("BEGIN")
    new.execute("DELETE FROM sqlite_sequence")
    new.executemany(
        "INSERT INTO sqlite_sequence (name, seq) VALUES (?, ?)", highest.items()
    )
    new.execute("COMMIT")


def _readable_copy(aside: Path, scratch: Path) -> closing[sqlite3.Connection]:
    """A copy with its write-ahead file laid over it; with a new list of tables where
    its own cannot be read.

    Where only the write-ahead file is left, it is laid over a fresh log.
    """
    copy, fresh = scratch / "copy.sqlite", scratch / "fresh.sqlite"
    page = _page_bytes(aside)
    with closing(sqlite3.connect(fresh, isolation_level=None)) as db:
        db.execute(f"PRAGMA page_size = {page}")
        create_first(db)
        tables = _tables_of(db)
    shutil.copyfile(aside if aside.exists() else fresh, copy)
    with copy.open("r+b") as file:
        overlay_pages(_beside(aside, "-wal"), file)
        _set_page_count(file, page)
        with suppress(sqlite3.Error, LogDamaged, UnicodeDecodeError):
            return closing(_open_with(tables, copy))
        _overlay_table_list(fresh.read_bytes(), file, page)
        _set_page_count(file, page)
    try:
        return closing(_open_with(tables, copy))
    except (sqlite3.Error, LogDamaged, UnicodeDecodeError):
        return closing(_empty_log())


def _page_bytes(aside: Path) -> int:
    """The page size of a damaged log: what its header says (file format, section
    1.3.2), else its write-ahead file's frames, else where its b-tree pages begin."""
    data = aside.read_bytes() if aside.exists() else b""
    said = int.from_bytes(data[16:18], "big")
    if data[:16] == b"SQLite format 3\0" and said in PAGE_SIZES:
        return said
    for frame in frames(_beside(aside, "-wal")):
        return frame.size
    small, large = PAGE_SIZES
    between = [at for at in range(0, len(data), small) if at % large]
    kinds = sum(data[at] in _B_TREE_KINDS for at in between)
    return small if kinds > len(between) / 4 else large


def _open_with(tables: list[str], path: Path) -> sqlite3.Connection:
    db = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode=ro", uri=True, isolation_level=None
    )
    try:
        if not set(tables) <= set(_tables_of(db)):
            raise LogDamaged("tables are missing from the list")
    except BaseException:
        db.close()
        raise
    return db


def _empty_log() -> sqlite3.Connection:
    db = sqlite3.connect(":memory:", isolation_level=None)
    migrate(db)
    return db


def _free_name(path: Path) -> Path:
    stamp = time.strftime("%Y%m%dT%H%M%S")
    for more in ("", *(f"-{n}" for n in range(2, 1000))):
        aside = path.with_name(f"{path.stem}.damaged-{stamp}{more}{path.suffix}")
        if not aside.exists():
            return aside
    raise OSError(f"no free name to set {path} aside")


def _beside(path: Path, suffix: str) -> Path:
    return path.with_name(path.name + suffix)


def _link_or_copy(source: Path, target: Path) -> None:
    """A second name for the file; a copy where the file system has no such thing."""
    try:
        os.link(source, target)
    except OSError:
        shutil.copy2(source, target)


def _overlay_table_list(fresh: bytes, file: BinaryIO, size: int) -> None:
    """Lay the list of tables of a fresh log over the damaged one.

    Fresh logs of the first version have it on the same pages with the same roots, as
    nothing ever drops a table; later tables are lost with a list that is damaged. Page
    1 is the root of that list (SQLite's file format, sections 1.3 and 1.6); what else
    belongs to it are the children named in its interior pages (kind 5: cell pointers at
    12, each cell begins with its child's number, the rightmost child stands at 8).
    """
    todo = [1]
    while todo:
        start = (todo.pop() - 1) * size
        page = fresh[start : start + size]
        file.seek(start)
        file.write(page)
        base = 100 if start == 0 else 0
        if page[base] == 5:
            count = struct.unpack(">H", page[base + 3 : base + 5])[0]
            cells = struct.unpack(f">{count}H", page[base + 12 : base + 12 + 2 * count])
            todo += [
                struct.unpack(">I", page[cell : cell + 4])[0]
                for cell in (*cells, base + 8)
            ]


def _set_page_count(file: BinaryIO, size: int) -> None:
    """As many pages as there are, none of them free or in a write-ahead file (file
    format, section 1.3)."""
    pages = -(-file.seek(0, os.SEEK_END) // size)
    file.truncate(pages * size)
    file.seek(24)
    changes = file.read(4)
    for at, value in (
        (18, b"\1\1"),
        (28, struct.pack(">I", pages) + bytes(8)),
        (92, changes),
    ):
        file.seek(at)
        file.write(value)
    file.flush()

"""Reading a log without disturbing it: findings and their evidence, events, moves, what is known from before.

May import: the standard library, msgspec and bench.log. Works beside a daemon that has the log open, on a
read-only medium, and on a file that belongs to somebody else. All functions take what `open_read` yields.
"""

from __future__ import annotations

import json
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path

import msgspec

from bench.checks.model import Evidence
from bench.finding import Finding, Move
from bench.log import load, schema
from bench.log.faults import is_damage, why
from bench.log.rows import EventRow, Happened, LogDamaged, LogError, OpenRun, SweepRecord

KNOWN_FINDINGS = 20  # older ones no longer speak for the jig as it is

# events of instruments, of the clock and of the log itself
_OF_ITSELF = (
    *("instrument", "held", "spoiled", "unit", "learned", "leaf"),
    *("clock", "clock-jumped", "log-salvaged", "log-lacks", "refused-by-log", "not-recorded"),
)

_COPIES = 5  # tries to copy a log that is being written to


class FindingRow(msgspec.Struct, frozen=True):
    """A finding in a list. wall_s: when, put right if the clock was synced later in the same boot."""

    order: int
    run: str
    finding: Finding
    superseded_by: str | None
    instrument: str | None
    hold: str | None
    wall_s: float
    synced: bool


class MoveRow(msgspec.Struct, frozen=True):
    """made: what was done; verified_by: the finding that looked afterwards; each None while not."""

    move: str
    finding: str
    plan: Move
    made: dict[str, object] | None
    verified_by: str | None


@contextmanager
def open_read(path: Path | str) -> Iterator[sqlite3.Connection]:
    """A connection that cannot write. Raises LogError: no file, newer, not ours, damaged (also inside)."""
    path = Path(path).absolute()
    if not path.is_file():
        raise LogError(f"there is no log at {path}")
    with tempfile.TemporaryDirectory(prefix="log-read-") as scratch:
        try:
            schema.refuse_foreign(path)
            opened = _connect(path, Path(scratch))
        except (sqlite3.Error, OSError, UnicodeDecodeError) as error:
            raise _ours(error, path) from error
        with closing(opened) as db:
            try:
                yield db
            except (sqlite3.Error, UnicodeDecodeError) as error:
                raise _ours(error, path) from error


def _ours(error: Exception, path: Path) -> LogError:
    if is_damage(error):
        return LogDamaged(f"{path} is damaged: {error}; a daemon that opens it salvages what it can")
    return LogError(f"{path} cannot be read: {why(error)}")


def list_findings(
    db: sqlite3.Connection,
    *,
    jig: str | None = None,
    check: str | None = None,
    since: float | None = None,
    last: int | None = None,
) -> list[FindingRow]:
    """Oldest first. since: seconds since 1970 UTC; last: only so many, the newest."""
    wanted = [("f.jig = ?", jig), ("f.check_kind = ?", check)]
    rows = _findings(db, [(clause, value) for clause, value in wanted if value is not None], None)
    found = (row for row in rows if since is None or row.wall_s >= since)
    return _oldest_first(found, last)


def known_findings(
    db: sqlite3.Connection,
    *,
    check: str,
    jig: str | None,
    saw: str | None,
    instrument: str | None,
    hold: str | None,
    last: int = KNOWN_FINDINGS,
) -> list[FindingRow]:
    """Earlier findings that may speak for a new one: the same in all of these, not superseded, in order."""
    same = [
        ("f.check_kind = ?", check),
        ("f.jig IS ?", jig),
        ("f.saw IS ?", saw),
        ("r.instrument IS ?", instrument),
        ("r.hold IS ?", hold),
        ("f.superseded_by IS ?", None),
    ]
    return _oldest_first(_findings(db, same, last), last)


def show_finding(db: sqlite3.Connection, finding: str) -> tuple[Finding, Evidence]:
    """By its id, or the beginning of one. Raises LogError if none or several begin so, LogDamaged."""
    pattern = finding.replace("\\", "\\\\").replace("%", "\\%").replace("_", "\\_") + "%"
    names = [
        name
        for (name,) in db.execute(
            "SELECT finding FROM finding WHERE finding LIKE ? ESCAPE '\\' LIMIT 3", (pattern,)
        )
    ]
    if finding in names:
        names = [finding]
    if len(names) > 1:
        raise LogError(f"several findings begin with {finding!r}: {', '.join(names)}; give more of it")
    return load.finding(db, names[0] if names else finding)


def open_evidence(db: sqlite3.Connection, run: str) -> Evidence:
    """What an open check has gathered so far, as `evaluate` takes it."""
    return load.evidence_of_run(db, run)


def open_runs(db: sqlite3.Connection) -> list[OpenRun]:
    return load.open_runs(db)


def sweeps_of(db: sqlite3.Connection, run: str) -> list[SweepRecord]:
    return load.sweeps(db, run)


def events(db: sqlite3.Connection, run: str | None = None) -> list[EventRow]:
    return load.events(db, run)


def instrument_events(db: sqlite3.Connection, since: float) -> list[tuple[float, str, dict[str, object]]]:
    """(wall s, kind, data) of what instruments did outside and inside checks, in the order of recording."""
    rows = db.execute(
        "SELECT wall_s, kind, data_json FROM event WHERE wall_s >= ?"
        " AND kind IN ('instrument', 'held', 'spoiled', 'unit') ORDER BY event_key",
        (since,),
    )
    return [(wall, kind, json.loads(data)) for wall, kind, data in rows]


def happened(db: sqlite3.Connection, most: int = -1) -> list[Happened]:
    """What instruments, clock and log did, and the passes that were not used: newest first, at most so many.

    An opening of the log stands before all that was recorded in it. A pass is told where its reason was told: where it
    is a sentence, and no mere handling of the sled. Dates are put right as those of findings are.
    """
    marks = ", ".join("?" * len(_OF_ITSELF))
    rows = db.execute(
        f"""
        SELECT e.kind, e.data_json, e.wall_s, e.clock_synced, e.monotonic_ns, boot.boot_id,
               r.check_kind, s.placement, s.reason, e.boot_key AS opening, e.event_key AS place
          FROM event AS e JOIN boot ON boot.boot_key = e.boot_key
          LEFT JOIN check_run AS r ON r.run_key = e.run_key
          LEFT JOIN sweep AS s
            ON e.kind IN ('sweep-ended', 'sweep-undone') AND s.sweep = json_extract(e.data_json, '$.sweep')
         WHERE e.kind IN ({marks})
            OR (e.kind = 'sweep-ended' AND json_extract(e.data_json, '$.state') = 'interrupted')
            OR (e.kind = 'sweep-ended' AND json_extract(e.data_json, '$.reason') GLOB '*[.?!]')
            OR (e.kind = 'sweep-undone' AND s.reason GLOB '*[.?!]')
         UNION ALL
        SELECT 'opened', json_object('program', program), wall_s, clock_synced, monotonic_ns, boot_id,
               NULL, NULL, NULL, boot_key, 0
          FROM boot
         ORDER BY opening DESC, place DESC LIMIT ?
        """,
        (*_OF_ITSELF, most),
    )
    dates = _dates(db)
    found = []
    for kind, data, wall, synced, monotonic, boot_id, check, placement, reason, _, _ in rows:
        when, known = _when(wall, bool(synced), monotonic, dates.get(boot_id))
        found.append(Happened(kind, json.loads(data), when, known, check, placement, reason))
    return found


def raw_readings(db: sqlite3.Connection, sweep: str) -> dict[str, tuple[bytes, list[int]]]:
    """By instrument: the bytes of the wire during a sweep, and each record's arrival in monotonic us."""
    return load.raw(db, sweep)


def moves(db: sqlite3.Connection, *, jig: str | None = None) -> list[MoveRow]:
    rows = db.execute(
        "SELECT m.move, f.finding, m.move_json, m.made_json, v.finding FROM move AS m"
        " JOIN finding AS f ON f.finding_key = m.finding_key"
        " LEFT JOIN finding AS v ON v.finding_key = m.verified_by"
        " WHERE ?1 IS NULL OR f.jig = ?1 ORDER BY m.move_key",
        (jig,),
    )
    return [
        MoveRow(
            move,
            finding,
            msgspec.json.decode(plan, type=Move),
            None if made is None else json.loads(made),
            verified,
        )
        for move, finding, plan, made, verified in rows
    ]


def describe(db: sqlite3.Connection) -> dict[str, dict[str, str]]:
    """What every table and column means; the table itself under the empty name."""
    tables: dict[str, dict[str, str]] = {}
    for table, column, words in db.execute("SELECT table_name, column_name, words FROM description"):
        tables.setdefault(table, {})[column] = words
    return tables


def back_up(path: Path | str, target: Path | str) -> None:
    """A whole copy of the log as it is at one moment, while it is written to; overwrites nothing."""
    target = Path(target).absolute()
    if target.exists():
        raise LogError(f"{target} exists already; a back-up overwrites nothing")
    with open_read(path) as db, closing(sqlite3.connect(target)) as copy:
        db.backup(copy)


def _findings(
    db: sqlite3.Connection, wanted: list[tuple[str, str | None]], limit: int | None
) -> Iterator[FindingRow]:
    """Newest first."""
    where = "WHERE " + " AND ".join(clause for clause, _ in wanted) if wanted else ""
    dates = _dates(db)
    rows = db.execute(
        "SELECT f.finding_key, r.run, f.finding_json, later.finding, r.instrument, r.hold, f.wall_s,"
        " f.clock_synced, f.monotonic_ns, boot_id"
        " FROM finding AS f JOIN check_run AS r ON r.run_key = f.run_key"
        " JOIN boot ON boot.boot_key = f.boot_key"
        " LEFT JOIN finding AS later ON later.finding_key = f.superseded_by"
        f" {where} ORDER BY f.finding_key DESC LIMIT ?",
        (*(value for _, value in wanted), -1 if limit is None else limit),
    )
    for key, run, found, later, instrument, hold, wall, synced, monotonic, boot_id in rows:
        try:
            finding = msgspec.json.decode(found, type=Finding)
        except msgspec.MsgspecError as error:
            raise LogDamaged(f"finding number {key} of the log can no longer be read: {error}") from error
        when, known = _when(wall, bool(synced), monotonic, dates.get(boot_id))
        yield FindingRow(key, run, finding, later, instrument, hold, when, known)


def _oldest_first(rows: Iterator[FindingRow], last: int | None) -> list[FindingRow]:
    kept: list[FindingRow] = []
    for row in rows:
        if last is not None and len(kept) >= last:
            break
        kept.append(row)
    return kept[::-1]


def _dates(db: sqlite3.Connection) -> dict[str, float]:
    """By boot: the wall clock at its monotonic zero, from the last time it was found synced."""
    return dict(
        db.execute(
            "SELECT boot_id, event.wall_s - event.monotonic_ns / 1e9 FROM event JOIN boot USING (boot_key)"
            " WHERE kind = 'clock' AND event.clock_synced = 1 ORDER BY event_key"
        ).fetchall()
    )


def _when(wall: float, synced: bool, monotonic_ns: int, zero: float | None) -> tuple[float, bool]:
    """Wall s, and whether that is known; zero: the wall clock at the boot's monotonic zero, once it was known."""
    if synced or zero is None:
        return wall, synced
    return zero + monotonic_ns / 1e9, True


def _connect(path: Path, scratch: Path) -> sqlite3.Connection:
    """In place where that leaves nothing behind that its owner could not write; else a copy."""
    beside = [path.with_name(path.name + suffix) for suffix in ("-wal", "-shm")]
    if os.geteuid() == path.stat().st_uid or all(file.exists() for file in beside):
        db = sqlite3.connect(
            f"{path.as_uri()}?mode=ro", uri=True, isolation_level=None, timeout=5.0, check_same_thread=False
        )
        try:
            db.execute("SELECT count(*) FROM migration").fetchone()
            return db
        except sqlite3.OperationalError as error:
            db.close()
            if "no such table" in str(error):
                raise LogError(f"{path} holds no log yet") from error
        except BaseException:
            db.close()
            raise
    copy = _copy(path, scratch)
    db = sqlite3.connect(copy, isolation_level=None, check_same_thread=False)  # may merge the copy's own -wal
    db.execute("PRAGMA query_only = ON")
    return db


def _copy(path: Path, scratch: Path) -> Path:
    """The log with its write-ahead log, copied while neither changed."""
    names = [path.name, path.name + "-wal"]
    for _ in range(_COPIES):
        before = _stats(path, names)
        for name in names:
            (scratch / name).unlink(missing_ok=True)
            if (source := path.with_name(name)).exists():
                shutil.copyfile(source, scratch / name)
        if _stats(path, names) == before:
            return scratch / path.name
    raise LogError(f"{path} is being written to all the time; ask the daemon, or try again")


def _stats(path: Path, names: list[str]) -> list[tuple[int, int] | None]:
    stats = []
    for name in names:
        file = path.with_name(name)
        stat = file.stat() if file.exists() else None
        stats.append((stat.st_size, stat.st_mtime_ns) if stat else None)
    return stats

"""Opening a log for writing: what the last life left unfinished, and whether the file
is sound. A damaged file is handed to `salvage`, so that a start never fails for the
same reason twice.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import msgspec

from bench.log import acknowledged, load, read, salvage, schema
from bench.log.acknowledged import TABLES, Acknowledged
from bench.log.faults import is_damage
from bench.log.rows import (
    Interrupted,
    LogDamaged,
    LogError,
    OpenRun,
    Salvage,
    Unfinished,
)

# a start waits this long for the soundness check; a larger log is checked in the
# background
CHECK_S = 0.05


class Opened(NamedTuple):
    db: sqlite3.Connection
    unfinished: Unfinished
    checked: bool  # False: the file was too large to be checked at once


def open_or_salvage(path: Path, damaged: bool = False) -> Opened:
    """damaged: known to be. Raises LogNewer, LogUnknown, sqlite3.Error, OSError for
    what is no damage."""
    told, words = _told(path)
    if not damaged:
        try:
            if _ends_early(path, told):
                raise LogDamaged(f"{path} ends before what was told as saved")
            return _open(path, told, words)
        except LogDamaged:
            pass
        except (sqlite3.Error, UnicodeDecodeError) as error:
            if not is_damage(error):
                raise
    salvaged = salvage.set_aside(path)
    db = schema.connect(path)
    try:
        return Opened(db, _whole_or_not(db, told, words, salvaged), True)
    except BaseException:
        db.close()
        raise


def _told(path: Path) -> tuple[Acknowledged | None, list[str]]:
    """What was told as saved, and in words where that can no longer be read."""
    try:
        return acknowledged.read(path), []
    except LogDamaged as error:
        return None, [
            f"{error}; whether anything is missing from the log is not known."
        ]


def _ends_early(path: Path, told: Acknowledged | None) -> bool:
    """Whether a write-ahead file has to be searched before SQLite takes it for ended
    and writes over it."""
    wal = path.with_name(path.name + "-wal")
    if not wal.exists() or not wal.stat().st_size:
        return False
    if not path.exists() or not path.stat().st_size:
        return True
    if told is None:
        return False
    schema.refuse_foreign(path)
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as db:
        tables = {name for (name,) in db.execute("SELECT name FROM sqlite_schema")}
        return not tables.issuperset(TABLES) or bool(acknowledged.lacking(db, told))


def _whole_or_not(
    db: sqlite3.Connection,
    told: Acknowledged | None,
    words: list[str],
    salvaged: Salvage | None = None,
) -> Unfinished:
    lacking = acknowledged.lacking(db, told, salvaged=salvaged is not None)
    if told is not None:
        acknowledged.keep_numbers(db, told)
    return unfinished(db, salvaged, lacking, words)


def sound(db: sqlite3.Connection, seconds: float | None) -> bool | None:
    """Whether every page is where it should be; None if that could not be told in the
    time given."""
    timer = threading.Timer(seconds, db.interrupt) if seconds is not None else None
    if timer is not None:
        timer.start()
    try:
        return bool(db.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorname == "SQLITE_INTERRUPT":
            return None
        raise
    finally:
        if timer is not None:
            timer.cancel()
            timer.join()


def unfinished(
    db: sqlite3.Connection,
    salvage: Salvage | None = None,
    lacking: Mapping[str, int] | None = None,
    words: Sequence[str] = (),
) -> Unfinished:
    """Call before the running sweeps of the last life are marked. LogDamaged where a
    row is unreadable."""
    try:
        runs = load.open_runs(db)
        rows = db.execute(
            "SELECT sweep_key, sweep, run, check_kind, placement FROM sweep JOIN"
            " check_run USING (run_key) WHERE sweep.state = 'running' ORDER BY"
            " sweep_key"
        ).fetchall()
        interrupted = [
            Interrupted(sweep, run, kind, placement, load.raw_readings(db, key))
            for key, sweep, run, kind, placement in rows
        ]
    # a UnicodeDecodeError is a ValueError
    except (ValueError, msgspec.MsgspecError) as error:
        raise LogDamaged(f"a row of the log can no longer be read: {error}") from error
    about_log = [*words]
    if salvage is not None:
        about_log.append(salvage_words(msgspec.to_builtins(salvage)))
    if lacking:
        about_log.append(lacking_words(lacking))
    return Unfinished(
        runs,
        interrupted,
        salvage,
        dict(lacking or {}),
        about_log,
        about_log + _sentences(runs, interrupted),
    )


def unfinished_read_only(path: Path) -> Unfinished:
    """The same when the medium takes no writing; nothing if it cannot be read either."""
    try:
        with read.open_read(path) as db:
            return unfinished(db)
    except (sqlite3.Error, OSError, LogError):
        return Unfinished()


def _open(path: Path, told: Acknowledged | None, words: list[str]) -> Opened:
    db = schema.connect(path)
    try:
        state = sound(db, CHECK_S)
        if state is False:
            raise LogDamaged(f"{path} is damaged")
        return Opened(db, _whole_or_not(db, told, words), state is True)
    except BaseException:
        db.close()
        raise


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
        for table, words in TABLES.items()
        if (count := counts.get(table)) and (table != "event" or len(counts) == 1)
    ]
    return (
        f"Missing from the log: {' and '.join(lost)}, saved before and lost since. Is"
        " the card failing?"
    )


def _sentences(runs: list[OpenRun], interrupted: list[Interrupted]) -> list[str]:
    words = []
    for sweep in interrupted:
        words.append(
            f"A sweep ({sweep.placement}) of the {sweep.check} check was running when"
            f" the program ended: {sweep.readings} readings are kept, the sweep does"
            " not count."
        )
    for run in runs:
        whole = sum(sweep.state == "whole" for sweep in run.sweeps)
        of = f" of {run.jig}" if run.jig else ""
        words.append(
            f"The {run.check} check{of} was not finished: {whole} sweeps of it are"
            " kept."
        )
    return words

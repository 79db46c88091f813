"""Opens a log for writing, and tells what the last life of the program left unfinished.

A damaged file is handed to `salvage`, so that a start never fails for the same reason
twice.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import msgspec

from bench.log import acknowledged, salvage, schema
from bench.log.acknowledged import COUNTED, Acknowledged
from bench.log.faults import is_damage
from bench.log.loss_words import lacking_words, salvage_words
from bench.log.open_checks import count_readings, list_open_checks
from bench.log.read_only import open_read
from bench.log.rows import (
    LogDamaged,
    LogError,
    OpenCheck,
    Salvage,
    UnfinishedWork,
)
from bench.log.soundness import is_sound

# a start waits this long for the soundness check; a larger log is checked in the
# background
CHECK_S = 0.05


class OpenedLog(NamedTuple):
    db: sqlite3.Connection
    unfinished: UnfinishedWork
    checked: bool  # False: the file was too large to be checked at once


def open_or_salvage(path: Path, damaged: bool = False) -> OpenedLog:
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
        return OpenedLog(db, _whole_or_not(db, told, words, salvaged), True)
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
        if not tables.issuperset(COUNTED):
            return True
        return bool(acknowledged.missing_rows(db, told))


def _whole_or_not(
    db: sqlite3.Connection,
    told: Acknowledged | None,
    words: list[str],
    salvaged: Salvage | None = None,
) -> UnfinishedWork:
    lacking = acknowledged.missing_rows(db, told, salvaged=salvaged is not None)
    if told is not None:
        acknowledged.reserve_numbers(db, told)
    return unfinished(db, salvaged, lacking, words)


def unfinished(
    db: sqlite3.Connection,
    salvage: Salvage | None = None,
    lacking: Mapping[str, int] | None = None,
    words: Sequence[str] = (),
) -> UnfinishedWork:
    """Call before the running sweeps of the last life are marked. LogDamaged where a
    row is unreadable."""
    try:
        runs = list_open_checks(db)
        rows = db.execute(
            "SELECT sweep_key, check_kind, placement FROM sweep JOIN check_run USING"
            " (run_key) WHERE sweep.state = 'running' ORDER BY sweep_key"
        ).fetchall()
        interrupted = [
            f"A sweep ({placement}) of the {kind} check was running when the program"
            f" ended: {count_readings(db, key)} readings are kept, the sweep does not"
            " count."
            for key, kind, placement in rows
        ]
    # a UnicodeDecodeError is a ValueError
    except (ValueError, msgspec.MsgspecError) as error:
        raise LogDamaged(f"a row of the log can no longer be read: {error}") from error
    about_log = [*words]
    if salvage is not None:
        about_log.append(salvage_words(msgspec.to_builtins(salvage)))
    if lacking:
        about_log.append(lacking_words(lacking))
    words = [*about_log, *interrupted, *map(_unfinished_words, runs)]
    return UnfinishedWork(runs, salvage, dict(lacking or {}), about_log, words)


def unfinished_read_only(path: Path) -> UnfinishedWork:
    """The same where the medium takes no writing; nothing where it is unreadable."""
    try:
        with open_read(path) as db:
            return unfinished(db)
    except (sqlite3.Error, OSError, LogError):
        return UnfinishedWork()


def _open(path: Path, told: Acknowledged | None, words: list[str]) -> OpenedLog:
    db = schema.connect(path)
    try:
        state = is_sound(db, CHECK_S)
        if state is False:
            raise LogDamaged(f"{path} is damaged")
        return OpenedLog(db, _whole_or_not(db, told, words), state is True)
    except BaseException:
        db.close()
        raise


def _unfinished_words(run: OpenCheck) -> str:
    whole = sum(sweep.state == "whole" for sweep in run.sweeps)
    of = f" of {run.jig}" if run.jig else ""
    return f"The {run.check} check{of} was not finished: {whole} sweeps of it are kept."

"""Opens a log for writing, and tells what the last life of the program left unfinished.

A damaged file is handed to `salvage`, so that a start never fails for the same reason
twice.
"""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable, Mapping, Sequence
from contextlib import closing
from pathlib import Path
from typing import NamedTuple

import msgspec

from bench.log import high_water_marks, salvage, schema
from bench.log.events import list_events
from bench.log.faults import UNREADABLE, closed_on_error, is_damage
from bench.log.high_water_marks import (
    COUNTED_TABLES,
    HighWaterMarks,
    lacking_words,
    salvage_words,
)
from bench.log.read_only import open_read
from bench.log.rows import (
    LogDamaged,
    LogError,
    OpenCheck,
    Salvage,
    SweepRecord,
    UnfinishedWork,
)
from bench.log.store import load_trace
from hw.timeouts import LOG_SOUNDNESS_END_S

# a start waits this long for the soundness check; a larger log is checked in the
# background
CHECK_S = 0.05


class OpenedLog(NamedTuple):
    db: sqlite3.Connection
    unfinished: UnfinishedWork
    checked: bool  # False: the file was too large to be checked at once


def open_or_salvage(path: Path, damaged: bool = False) -> OpenedLog:
    """Open the log, or what could be salvaged of a damaged one. damaged: known to be.
    Raises LogNewer, LogUnknown, sqlite3.Error, OSError for what is no damage."""
    marks, words = None, []
    try:
        marks = high_water_marks.read(path)
    except LogDamaged as error:
        words = [f"{error}; whether anything is missing from the log is not known."]
    if not damaged:
        try:
            if not _ends_early(path, marks):
                return _open(path, marks, words)
        except (LogDamaged, *UNREADABLE) as error:
            if not is_damage(error):
                raise
    return _open(path, marks, words, salvage.set_aside(path))


def _open(
    path: Path,
    marks: HighWaterMarks | None,
    words: Sequence[str],
    salvaged: Salvage | None = None,
) -> OpenedLog:
    db = schema.connect(path)
    with closed_on_error(db):
        is_new = salvaged is not None
        sound = is_new or is_sound(db, CHECK_S)
        if sound is False:
            raise LogDamaged(f"{path} is damaged")
        lacking = high_water_marks.missing_rows(db, marks, salvaged=is_new)
        if marks is not None:
            high_water_marks.reserve_numbers(db, marks.highest)
        return OpenedLog(db, unfinished(db, salvaged, lacking, words), sound is True)


def _ends_early(path: Path, marks: HighWaterMarks | None) -> bool:
    """Whether a write-ahead file holds less than it should: it is kept aside before
    SQLite writes over it."""
    wal = path.with_name(path.name + "-wal")
    if not wal.exists() or not wal.stat().st_size:
        return False
    if not path.exists() or not path.stat().st_size:
        return True
    if marks is None:
        return False
    schema.refuse_foreign(path)
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as db:
        tables = {name for (name,) in db.execute("SELECT name FROM sqlite_schema")}
        return not tables.issuperset(COUNTED_TABLES) or bool(
            high_water_marks.missing_rows(db, marks)
        )


def unfinished(
    db: sqlite3.Connection,
    salvage: Salvage | None = None,
    lacking: Mapping[str, int] | None = None,
    words: Sequence[str] = (),
) -> UnfinishedWork:
    """The work that the last run left; to be called before its running sweeps are
    marked. Raises LogDamaged where a row is unreadable."""
    about_log = [*words]
    if salvage is not None:
        about_log.append(salvage_words(msgspec.to_builtins(salvage)))
    if lacking:
        about_log.append(lacking_words(lacking))
    try:
        runs = list_open_checks(db)
        interrupted = [
            f"A sweep ({placement}) of the {kind} check was running when the program"
            f" ended: {readings} readings are kept, the sweep does not count."
            for kind, placement, readings in db.execute(_RUNNING)
        ]
        words = [*about_log, *interrupted, *map(_unfinished_words, runs)]
    # a UnicodeDecodeError is a ValueError
    except (ValueError, msgspec.MsgspecError) as error:
        raise LogDamaged(f"a row of the log can no longer be read: {error}") from error
    return UnfinishedWork(runs, salvage, dict(lacking or {}), about_log, words)


def unfinished_read_only(path: Path) -> UnfinishedWork:
    """The same where the medium takes no writing; nothing where it is unreadable."""
    try:
        with open_read(path) as db:
            return unfinished(db)
    except (sqlite3.Error, OSError, LogError):
        return UnfinishedWork()


def list_open_checks(db: sqlite3.Connection) -> list[OpenCheck]:
    """The checks that were begun and not ended, with what each has gathered."""
    query = "SELECT finding FROM finding WHERE run_key = ? ORDER BY finding_key"
    found = []
    for key, run, check, jig in db.execute(
        "SELECT run_key, run, check_kind, jig FROM check_run WHERE state = 'open' ORDER"
        " BY run_key"
    ).fetchall():
        findings = [finding for (finding,) in db.execute(query, (key,))]
        events, sweeps = list_events(db, run), list_sweeps(db, run)
        found.append(OpenCheck(run, check, jig, events, sweeps, findings))
    return found


def list_sweeps(db: sqlite3.Connection, run: str) -> list[SweepRecord]:
    """All sweeps of a check in order, whatever became of them. A damaged trace is left
    out, and the reason says so."""
    sweeps = []
    for sweep, placement, state, why, trace_key in db.execute(
        "SELECT sweep, placement, sweep.state, reason, trace_key FROM sweep JOIN"
        " check_run USING (run_key) WHERE run = ? ORDER BY sweep_key",
        (run,),
    ).fetchall():
        trace, reason = None, why
        try:
            trace = None if trace_key is None else load_trace(db, trace_key)
        except LogDamaged as error:
            reason = str(error)
        sweeps.append(SweepRecord(sweep, placement, state, reason, trace))
    return sweeps


# with the records of the instrument that sent the most, merged or still in blocks
_RUNNING = """
    SELECT check_kind, placement, (
        SELECT coalesce(max(count), 0) FROM (
            SELECT sum(readings) AS count FROM (
                SELECT sweep_key, instrument, readings FROM reading
                 UNION ALL SELECT sweep_key, instrument, readings FROM chunk) AS part
             WHERE part.sweep_key = sweep.sweep_key GROUP BY instrument))
      FROM sweep JOIN check_run USING (run_key)
     WHERE sweep.state = 'running' ORDER BY sweep_key"""


def _unfinished_words(run: OpenCheck) -> str:
    whole = sum(sweep.state == "whole" for sweep in run.sweeps)
    of = f" of {run.jig}" if run.jig else ""
    return f"The {run.check} check{of} was not finished. Passes kept: {whole}."


def is_sound(db: sqlite3.Connection, seconds: float | None) -> bool | None:
    """Whether every page is where it should be; None if it could not be told in the
    time given."""
    timer = threading.Timer(seconds or 0.0, db.interrupt)
    if seconds is not None:
        timer.start()
    try:
        return bool(db.execute("PRAGMA quick_check(1)").fetchone()[0] == "ok")
    except sqlite3.OperationalError as error:
        if error.sqlite_errorname == "SQLITE_INTERRUPT":
            return None
        raise
    finally:
        timer.cancel()
        if seconds is not None:
            timer.join()


class SoundnessCheck:
    """Checks a log that is too large to be checked while the start waits, on a thread
    of its own, which calls on_damage."""

    def __init__(self, path: Path, on_damage: Callable[[], None]) -> None:
        self._path, self._on_damage = path, on_damage
        self._db: sqlite3.Connection | None = None
        self._thread = threading.Thread(target=self._run, name="log-check", daemon=True)
        self._thread.start()

    def _run(self) -> None:
        try:
            with open_read(self._path) as db:
                self._db = db
                damaged = is_sound(db, None) is False
                self._db = None
        except (*UNREADABLE, OSError, LogError) as error:
            damaged = is_damage(error)
        if damaged:
            self._on_damage()

    def stop(self) -> None:
        if (db := self._db) is not None:
            db.interrupt()
        self._thread.join(LOG_SOUNDNESS_END_S)

"""Opening a log for writing: what the last life left unfinished, and what to do with a damaged file.

May import: the standard library and bench.log. A damaged file is set aside with the time in its name, never
overwritten, and what can be read of it starts the new one.
"""

from __future__ import annotations

import errno
import sqlite3
from pathlib import Path
from typing import NamedTuple

from bench.log import load, schema
from bench.log.rows import Interrupted, LogDamaged, LogError, OpenRun, Salvage, Unfinished


class Opened(NamedTuple):
    db: sqlite3.Connection
    unfinished: Unfinished


def open_or_salvage(path: Path) -> Opened:
    """Raises LogNewer, LogUnknown, sqlite3.Error or OSError for what is no damage."""
    db = schema.connect(path)
    return Opened(db, unfinished(db))


def unfinished(db: sqlite3.Connection, salvage: Salvage | None = None) -> Unfinished:
    """Call before the running sweeps of the last life are marked."""
    runs = load.open_runs(db)
    rows = db.execute(
        "SELECT sweep_key, sweep, run, check_kind, placement FROM sweep JOIN check_run USING (run_key)"
        " WHERE sweep.state = 'running' ORDER BY sweep_key"
    ).fetchall()
    interrupted = [
        Interrupted(sweep, run, kind, placement, load.raw_readings(db, key))
        for key, sweep, run, kind, placement in rows
    ]
    return Unfinished(runs, interrupted, salvage, _sentences(runs, interrupted, salvage))


def unfinished_read_only(path: Path) -> Unfinished:
    """The same when the medium takes no writing; nothing found if it cannot be read either."""
    return Unfinished()


def why(error: Exception) -> str:
    """What is wrong with the disk or the file, in words for the user."""
    name = getattr(error, "sqlite_errorname", "") or errno.errorcode.get(getattr(error, "errno", 0) or 0, "")
    for start, words in _WORDS:
        if name.startswith(start):
            return words
    return str(error)


_WORDS = (
    ("SQLITE_FULL", "the disk is full"),
    ("ENOSPC", "the disk is full"),
    ("EDQUOT", "the disk is full"),
    ("SQLITE_READONLY", "the medium is read-only"),
    ("EROFS", "the medium is read-only"),
    ("EACCES", "this user may not write there"),
    ("EPERM", "this user may not write there"),
    ("SQLITE_PERM", "this user may not write there"),
    ("SQLITE_CANTOPEN", "the log file cannot be opened"),
    ("SQLITE_IOERR", "the disk reports an error"),
    ("EIO", "the disk reports an error"),
    ("SQLITE_BUSY", "another program is writing to the log file"),
    ("SQLITE_LOCKED", "another program is writing to the log file"),
    ("SQLITE_CORRUPT", "the log file is damaged"),
    ("SQLITE_NOTADB", "the log file is damaged"),
)


def _sentences(runs: list[OpenRun], interrupted: list[Interrupted], salvage: Salvage | None) -> list[str]:
    words = []
    if salvage is not None:
        words.append(
            f"The log was damaged. It was set aside as {salvage.set_aside}; {salvage.sweeps} sweeps and"
            f" {salvage.findings} findings were read out of it"
            + (f", {salvage.unreadable} rows could not be read." if salvage.unreadable else ".")
        )
    for sweep in interrupted:
        words.append(
            f"A sweep ({sweep.placement}) of the {sweep.check} check was running when the program ended:"
            f" {sweep.readings} readings are kept, the sweep does not count."
        )
    for run in runs:
        whole = sum(sweep.state == "whole" for sweep in run.sweeps)
        of = f" of {run.jig}" if run.jig else ""
        words.append(f"The {run.check} check{of} was not finished: {whole} sweeps of it are kept.")
    return words


__all__ = ["LogDamaged", "LogError", "Opened", "open_or_salvage", "unfinished", "unfinished_read_only", "why"]

"""Opening a log for writing: what the last life left unfinished, and whether the file is sound.

May import: the standard library, msgspec and bench.log. A damaged file is handed to `salvage`, so that a
start never fails for the same reason twice.
"""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path
from typing import NamedTuple

import msgspec

from bench.log import load, read, salvage, schema
from bench.log.faults import is_damage
from bench.log.rows import Interrupted, LogDamaged, LogError, OpenRun, Salvage, Unfinished

CHECK_S = 0.05  # a start waits this long for the soundness check; a larger log is checked in the background


class Opened(NamedTuple):
    db: sqlite3.Connection
    unfinished: Unfinished
    checked: bool  # False: the file was too large to be checked at once


def open_or_salvage(path: Path, damaged: bool = False) -> Opened:
    """damaged: known to be. Raises LogNewer, LogUnknown, sqlite3.Error, OSError for what is no damage."""
    if not damaged:
        try:
            return _open(path)
        except LogDamaged:
            pass
        except (sqlite3.Error, UnicodeDecodeError) as error:
            if not is_damage(error):
                raise
    salvaged = salvage.set_aside(path)
    db = schema.connect(path)
    return Opened(db, unfinished(db, salvaged), True)


def sound(db: sqlite3.Connection, seconds: float | None) -> bool | None:
    """Whether every page is where it should be; None if that could not be told in the time given."""
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


def unfinished(db: sqlite3.Connection, salvage: Salvage | None = None) -> Unfinished:
    """Call before the running sweeps of the last life are marked. LogDamaged where a row is unreadable."""
    try:
        runs = load.open_runs(db)
        rows = db.execute(
            "SELECT sweep_key, sweep, run, check_kind, placement FROM sweep JOIN check_run USING (run_key)"
            " WHERE sweep.state = 'running' ORDER BY sweep_key"
        ).fetchall()
        interrupted = [
            Interrupted(sweep, run, kind, placement, load.raw_readings(db, key))
            for key, sweep, run, kind, placement in rows
        ]
    except (ValueError, msgspec.MsgspecError) as error:  # a UnicodeDecodeError is a ValueError
        raise LogDamaged(f"a row of the log can no longer be read: {error}") from error
    return Unfinished(runs, interrupted, salvage, _sentences(runs, interrupted, salvage))


def unfinished_read_only(path: Path) -> Unfinished:
    """The same when the medium takes no writing; nothing if it cannot be read either."""
    try:
        with read.open_read(path) as db:
            return unfinished(db)
    except (sqlite3.Error, OSError, LogError):
        return Unfinished()


def _open(path: Path) -> Opened:
    db = schema.connect(path)
    try:
        state = sound(db, CHECK_S)
        if state is False:
            raise LogDamaged(f"{path} is damaged")
        return Opened(db, unfinished(db), state is True)
    except BaseException:
        db.close()
        raise


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

"""Checks whether every page of the log is where it should be."""

from __future__ import annotations

import sqlite3
import threading
from collections.abc import Callable
from pathlib import Path

from bench.log.faults import is_damage
from bench.log.read_only import open_read
from bench.log.rows import LogError
from hw.patience import LOG_SOUNDNESS_END_S


def is_sound(db: sqlite3.Connection, seconds: float | None) -> bool | None:
    """None if it could not be told in the time given."""
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
        except (sqlite3.Error, OSError, LogError, UnicodeDecodeError) as error:
            damaged = is_damage(error)
        if damaged:
            self._on_damage()

    def stop(self) -> None:
        if (db := self._db) is not None:
            db.interrupt()
        self._thread.join(LOG_SOUNDNESS_END_S)

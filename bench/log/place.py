"""The log's path, held for this process, and the connection that is open on what lies
there."""

from __future__ import annotations

import os
import sqlite3
from contextlib import closing
from pathlib import Path

from bench.log.hold import Hold, stands


class Replaced(Exception):
    """Another file, or none, is at the log's path."""

    def __str__(self) -> str:
        return "the log was removed or replaced while it was open"


class Place:
    """`db` is None while nothing is open."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.db: sqlite3.Connection | None = None
        # of what is open; only to know it again, its bytes are SQLite's
        self._file: int | None = None
        self._hold: Hold | None = None

    def take(self) -> None:
        """Hold the path, if it is not held (any more). Raises LogHeld, OSError."""
        if self._hold is not None and not self._hold.stands():
            self.release()
        if self._hold is None:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._hold = Hold.take(self.path)

    def release(self) -> None:
        if self._hold is not None:
            self._hold.release()
            self._hold = None

    def opened(self, db: sqlite3.Connection) -> None:
        self.db = db
        # closing it gives up no lock of SQLite's
        self._file = os.open(self.path, os.O_PATH | os.O_CLOEXEC)

    def let_go(self) -> None:
        """Close what is open; what was not committed is undone."""
        db, self.db = self.db, None
        file, self._file = self._file, None
        if file is not None:
            os.close(file)
        if db is not None:
            db.close()

    def after_failure(self) -> None:
        """Let go of it, but not of a log that was removed: what is in it is nowhere
        else any more."""
        if self.db is not None and self._removed():
            self.db.rollback()
        else:
            self.let_go()

    def stands(self) -> bool:
        """Whether log and lock are still the ones at their path: what goes into others
        is lost."""
        held = self._hold is not None and self._hold.stands()
        return held and self._file is not None and stands(self._file, self.path)

    def follow(self) -> None:
        """Go on at the path after the log was removed or replaced; LogHeld where
        another has it by now, or OSError.

        A log that was removed is written there again, from what is still open. One that
        was moved away is left as it is, and a new one is begun, as where another file
        was put in its place.
        """
        self.take()
        if self.db is not None and self._removed() and not self.path.exists():
            with closing(sqlite3.connect(self.path)) as new:
                self.db.backup(new)
        self.let_go()

    def _removed(self) -> bool:
        return self._file is not None and os.fstat(self._file).st_nlink == 0

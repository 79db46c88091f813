"""Keeps the log's path locked for this process, and the connection to its file."""

from __future__ import annotations

import errno
import os
import sqlite3
from contextlib import closing
from pathlib import Path

from bench.log.log_lock import LogLock, is_at_path

# Bytes that a commit adds to the write-ahead file: each page that it touches, whole,
# and what it was given, perhaps in an index too; measured: 8 to 20 pages
COMMIT_PAGES_BYTES, COMMIT_TIMES = 64 * 1024, 2


class LogReplaced(Exception):
    """Another file, or none, is at the log's path."""

    def __str__(self) -> str:
        return "the log was removed or replaced while it was open"


class LogFile:
    """`db` is None while nothing is open."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.db: sqlite3.Connection | None = None
        # the open file, only to tell whether it is still at the path
        self._descriptor: int | None = None
        self._lock: LogLock | None = None

    def lock(self) -> None:
        """Lock the path, if it is not locked (any more). Raises LogHeld, OSError."""
        if self._lock is not None and not self._lock.is_at_path():
            self.unlock()
        if self._lock is None:
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._lock = LogLock.acquire(self.path)

    def unlock(self) -> None:
        if self._lock is not None:
            self._lock.release()
            self._lock = None

    def attach(self, db: sqlite3.Connection) -> None:
        """Take over the connection that was just opened."""
        self.db = db
        # Closing an O_PATH descriptor gives up no lock of SQLite's.
        self._descriptor = os.open(self.path, os.O_PATH | os.O_CLOEXEC)

    def ensure_room(self, size: int) -> None:
        """Keep the disk from being filled by the write-ahead file, which grows the log
        by its own size at most when it is merged: merge it before, or refuse.

        size: bytes to be committed. Raises OSError (ENOSPC).
        """
        assert self.db is not None
        wanted = 2 * (COMMIT_PAGES_BYTES + COMMIT_TIMES * size)
        if self._room() < wanted:
            self.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            if self._room() < wanted:
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def _room(self) -> int:
        """Bytes free on the disk once the write-ahead file is merged, at least."""
        disk = os.statvfs(self.path.parent)
        wal = self.path.with_name(self.path.name + "-wal")
        held = wal.stat().st_size if wal.exists() else 0
        return disk.f_bavail * disk.f_frsize - held

    def close(self) -> None:
        """Close what is open; what was not committed is undone."""
        db, self.db = self.db, None
        descriptor, self._descriptor = self._descriptor, None
        if descriptor is not None:
            os.close(descriptor)
        if db is not None:
            db.close()

    def close_after_failure(self) -> None:
        """Close it, but not a log that was removed: its contents are nowhere else any
        more."""
        if self.db is not None and self._is_removed():
            self.db.rollback()
        else:
            self.close()

    def is_at_path(self) -> bool:
        """Whether log and lock are still the ones at their path: what goes into others
        is lost."""
        locked = self._lock is not None and self._lock.is_at_path()
        descriptor = self._descriptor
        return locked and descriptor is not None and is_at_path(descriptor, self.path)

    def follow_path(self) -> None:
        """Go on at the path after the log was removed or replaced. Raises LogHeld where
        another process has it by now, or OSError.

        A log that was removed is written there again, from what is still open. A log
        that was moved away is left as it is, and a new one is begun, as where another
        file was put in its place.
        """
        self.lock()
        if self.db is not None and self._is_removed() and not self.path.exists():
            with closing(sqlite3.connect(self.path)) as new:
                self.db.backup(new)
        self.close()

    def _is_removed(self) -> bool:
        return self._descriptor is not None and os.fstat(self._descriptor).st_nlink == 0

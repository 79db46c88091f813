"""Keeps the log's path locked for this process, and the connection to its file.

The lock is of a file beside the log, which names the holder's process. It is the
kernel's, so that it ends with the process, however that ends: after kill -9 there is
nothing to clean. The file itself stays and means nothing.
"""

from __future__ import annotations

import errno
import fcntl
import os
import sqlite3
import time
from contextlib import closing, suppress
from datetime import datetime
from pathlib import Path

from bench.log.rows import LogError, LogHeld
from hw.timeouts import LOG_HOLDER_S

# Bytes that a commit adds to the write-ahead file at most: each page that it touches,
# whole, and so many times what it was given. Measured over commits of 1 to 62 writes of
# checks with passes of 5 to 2,000 readings: up to 19,096 bytes besides with pages of
# 1,024 bytes, 84,302 with those of 4,096 that logs were made with before. Merging them
# grew the log by 5,120.
COMMIT_PAGES_BYTES, COMMIT_TIMES = 96 * 1024, 2


class LogFile:
    """Holds the lock of the path, and the connection to its file: `db`, None while
    nothing is open."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.db: sqlite3.Connection | None = None
        # by path the log and its write-ahead file, as they were opened; only to tell
        # whether they are still there
        self._opened: dict[Path, int] = {}
        self._lock: tuple[int, Path] | None = None

    def lock(self) -> None:
        """Lock the path, if it is not locked (any more). Raises LogHeld, OSError."""
        if not self._is_locked():
            self.unlock()
            self.path.parent.mkdir(parents=True, exist_ok=True)
            self._lock = _locked(self.path)

    def unlock(self) -> None:
        lock, self._lock = self._lock, None
        if lock is not None:
            os.close(lock[0])

    def _is_locked(self) -> bool:
        """Whether the lock is the one that another would find."""
        return self._lock is not None and is_at_path(*self._lock)

    def attach(self, db: sqlite3.Connection) -> None:
        """Take over the connection that was just opened."""
        self.db = db
        for suffix in ("", "-wal"):
            path = self._beside(suffix)
            # Closing an O_PATH descriptor gives up no lock of SQLite's.
            self._opened[path] = os.open(path, os.O_PATH | os.O_CLOEXEC)

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
        wal = self._beside("-wal")
        held = wal.stat().st_size if wal.exists() else 0
        return disk.f_bavail * disk.f_frsize - held

    def close(self) -> None:
        """Close what is open; what was not committed is undone."""
        db, self.db = self.db, None
        opened, self._opened = self._opened, {}
        for descriptor in opened.values():
            os.close(descriptor)
        if db is not None:
            db.close()

    def close_after_failure(self) -> None:
        """Close it, but not what was removed: its contents are nowhere else any
        more."""
        if self.db is not None and any(map(_is_removed, self._opened.values())):
            self.db.rollback()
        else:
            self.close()

    def replaced(self) -> LogError | None:
        """Whether log, lock and write-ahead file are no longer the ones at their paths:
        what goes into these is lost. The index of the write-ahead file (-shm) may be
        missed: it is made anew from that."""
        if not self._is_locked() or self._is_elsewhere(""):
            return LogError("the log was removed or replaced while it was open")
        if self._is_elsewhere("-wal"):
            words = "the write-ahead file of the log was removed while it was open"
            return LogError(words)
        return None

    def follow_path(self) -> None:
        """Go on at the path after a file there was removed or replaced. Raises LogHeld
        where another process has it by now, sqlite3.Error, or OSError.

        A log that was removed is written there again, from what is still open. One that
        lost its write-ahead file takes in what is still open of that. A log that was
        moved away is left as it is, and a new one is begun, as where another file was
        put in its place.
        """
        self.lock()
        if self.db is not None:
            if not self._is_elsewhere(""):
                # all of the write-ahead file into the log (sqlite.org, wal_checkpoint)
                merge = self.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
                busy, frames, merged = merge.fetchone()
                if busy and merged < frames:
                    raise OSError(errno.EBUSY, "the log is being read")
            elif _is_removed(self._opened[self.path]) and not self.path.exists():
                with closing(sqlite3.connect(self.path)) as new:
                    self.db.backup(new)
        self.close()

    def _is_elsewhere(self, suffix: str) -> bool:
        path = self._beside(suffix)
        return path not in self._opened or not is_at_path(self._opened[path], path)

    def _beside(self, suffix: str) -> Path:
        """SQLite lays its files beside the log itself, where the path is a link."""
        path = self.path.resolve() if suffix else self.path
        return path.with_name(path.name + suffix)


def _is_removed(descriptor: int) -> bool:
    return os.fstat(descriptor).st_nlink == 0


def _locked(log: Path) -> tuple[int, Path]:
    """The lock file, open and locked, and its path: one, whatever name the log is
    called by. Raises LogHeld naming the holder; OSError where no lock file can be made
    (read-only medium)."""
    log = Path(os.path.realpath(log))
    path = log.with_name(log.name + ".lock")
    descriptor = _open(path)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        holder = _holder(descriptor)
        os.close(descriptor)
        words = f"the log {log} is held by {holder}; stop that one first"
        raise LogHeld(words) from None
    if not is_at_path(descriptor, path):
        os.close(descriptor)
        raise OSError(errno.ESTALE, f"the lock {path} was replaced meanwhile")
    since = datetime.now().astimezone().isoformat(timespec="seconds")
    # the lock is what counts; on a full or read-only disk the holder stays nameless
    with suppress(OSError):
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, f"{os.getpid()} {since}\n".encode(), 0)
    return descriptor, path


def _open(path: Path) -> int:
    try:
        return os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
    except OSError as error:
        # A read-only medium may still hold another's lock file: locking needs no write.
        with suppress(OSError):
            return os.open(path, os.O_RDONLY | os.O_CLOEXEC)
        # why it cannot be made says more than that it is not there
        raise error from None


def is_at_path(descriptor: int, path: Path) -> bool:
    """Whether what is open is still what is at the path."""
    here = os.fstat(descriptor)
    try:
        there = path.stat()
    except OSError:
        return False
    return (here.st_dev, here.st_ino) == (there.st_dev, there.st_ino)


def _holder(descriptor: int) -> str:
    """The process that the lock file names. While it names a dead one, the holder is
    given time to write its own number."""
    until = time.monotonic() + LOG_HOLDER_S
    while True:
        number, _, since = (
            os.pread(descriptor, 100, 0).decode(errors="replace").strip().partition(" ")
        )
        if number.isdigit() and _is_alive(int(number)):
            return f"process {number} since {since}"
        if time.monotonic() > until:
            return "another process"
        time.sleep(0.01)


def _is_alive(number: int) -> bool:
    with suppress(PermissionError):  # it is somebody else's
        try:
            os.kill(number, 0)
        except (ProcessLookupError, OverflowError):
            return False
    return True

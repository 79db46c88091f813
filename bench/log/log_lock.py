"""Locks the log for one writer by a file beside it, which names the holder's process.

The lock is the kernel's, so that it ends with the process, however that ends: after
kill -9 there is nothing to clean. The file itself stays and means nothing.
"""

from __future__ import annotations

import errno
import fcntl
import os
import time
from datetime import datetime
from pathlib import Path

from bench.log.rows import LogHeld
from hw.patience import LOG_HOLDER_S


class LogLock:
    """A lock that is held; `release` may be called twice."""

    def __init__(self, descriptor: int, path: Path) -> None:
        self._descriptor: int | None = descriptor
        self.path = path

    @classmethod
    def acquire(cls, log: Path) -> LogLock:
        """Raises LogHeld naming the holder; OSError where no lock file can be made
        (read-only medium)."""
        # one lock, whatever name the log is called by
        log = Path(os.path.realpath(log))
        path = log.with_name(log.name + ".lock")
        try:
            descriptor = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o640)
        except OSError as error:
            # A read-only medium may still hold another's lock file: locking needs no
            # write.
            try:
                descriptor = os.open(path, os.O_RDONLY | os.O_CLOEXEC)
            except OSError:
                # why it cannot be made says more than that it is not there
                raise error from None
        try:
            fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = _holder(descriptor)
            os.close(descriptor)
            raise LogHeld(
                f"the log {log} is held by {holder}; stop that one first"
            ) from None
        if not is_at_path(descriptor, path):
            os.close(descriptor)
            raise OSError(errno.ESTALE, f"the lock {path} was replaced meanwhile")
        _sign(descriptor)
        return cls(descriptor, path)

    def is_at_path(self) -> bool:
        """Whether the lock is still the one that another would find."""
        return self._descriptor is not None and is_at_path(self._descriptor, self.path)

    def release(self) -> None:
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


def is_at_path(descriptor: int, path: Path) -> bool:
    """Whether what is open is still what is at the path."""
    here = os.fstat(descriptor)
    try:
        there = path.stat()
    except OSError:
        return False
    return (here.st_dev, here.st_ino) == (there.st_dev, there.st_ino)


def _sign(descriptor: int) -> None:
    text = (
        f"{os.getpid()} {datetime.now().astimezone().isoformat(timespec='seconds')}\n"
    )
    try:
        os.ftruncate(descriptor, 0)
        os.pwrite(descriptor, text.encode(), 0)
    except OSError:
        # the lock is what counts; on a full or read-only disk the holder stays nameless
        pass


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
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except OverflowError:
        return False
    except PermissionError:
        return True
    return True

"""One writer per log: a lock file beside it, with the holder's process number inside.
The lock is the kernel's, so it goes with the process however that ends: after kill -9
there is nothing to clean; the file itself stays and means nothing.
"""

from __future__ import annotations

import errno
import fcntl
import os
import time
from datetime import datetime
from pathlib import Path

from bench.log.rows import LogHeld

_PATIENCE_S = 0.3  # the winner writes its number just after it has the lock


class Hold:
    """The held lock; `release` is safe to call twice."""

    def __init__(self, descriptor: int, path: Path) -> None:
        self._descriptor: int | None = descriptor
        self.path = path

    @classmethod
    def take(cls, log: Path) -> Hold:
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
        if not stands(descriptor, path):
            os.close(descriptor)
            raise OSError(errno.ESTALE, f"the lock {path} was replaced meanwhile")
        _sign(descriptor)
        return cls(descriptor, path)

    def stands(self) -> bool:
        """Whether the lock is still the one that another would find."""
        return self._descriptor is not None and stands(self._descriptor, self.path)

    def release(self) -> None:
        if self._descriptor is not None:
            os.close(self._descriptor)
            self._descriptor = None


def stands(descriptor: int, path: Path) -> bool:
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
    """What the lock file says of a process that lives; a dead one's number is waited
    out."""
    until = time.monotonic() + _PATIENCE_S
    while True:
        number, _, since = (
            os.pread(descriptor, 100, 0).decode(errors="replace").strip().partition(" ")
        )
        if number.isdigit() and _lives(int(number)):
            return f"process {number} since {since}"
        if time.monotonic() > until:
            return "another process"
        time.sleep(0.01)


def _lives(number: int) -> bool:
    try:
        os.kill(number, 0)
    except ProcessLookupError:
        return False
    except OverflowError:
        return False
    except PermissionError:
        return True
    return True

"""Waiting for the end of a process that is not the test's own child."""

from __future__ import annotations

import contextlib
import os
import select

HANG_S = 60.0  # s that a busy machine may take to end it


def ended(pid: int, seconds: float = HANG_S) -> bool:
    """Wait for its end; whether it came. One that merely waits to be counted off has ended."""
    with contextlib.suppress(ProcessLookupError):
        watched = os.pidfd_open(pid)
        try:
            return bool(select.select([watched], [], [], seconds)[0])
        finally:
            os.close(watched)
    return True

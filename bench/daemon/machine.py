"""The machine around the daemon: the service manager that started it, this run of the
kernel, and the wall clock.

Readings are stamped by the monotonic clock, which never jumps; only dates depend on the
wall clock.
"""

from __future__ import annotations

import os
import socket
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

CLOCK_JUMP_S = 2.0  # s between two looks; less is the clock being slewed
# exists once the clock was set by a network; systemd-timesyncd.service(8)
SYNCED = Path("/run/systemd/timesync/synchronized")


def notify(text: str) -> None:
    """Send to the service manager that started us, where there is one."""
    address = os.environ.get("NOTIFY_SOCKET", "")
    if address.startswith("@"):
        address = "\0" + address[1:]
    if address:
        channel = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        with channel, suppress(OSError):
            channel.sendto(text.encode(), address)


def watchdog_interval() -> float | None:
    """Seconds between signs of life, half of what the service manager allows."""
    try:
        allowed = int(os.environ.get("WATCHDOG_USEC", ""))
    except ValueError:
        return None
    owner = os.environ.get("WATCHDOG_PID")
    if owner and owner != str(os.getpid()):
        return None
    return allowed / 2e6


def boot_id() -> str:
    """Tells this run of the machine from the next: times of the monotonic clock hold
    within one."""
    try:
        return Path("/proc/sys/kernel/random/boot_id").read_text().strip()
    except OSError:
        return f"unknown-{int(time.time() - time.monotonic())}"


class WallClock:
    def __init__(
        self,
        wall: Callable[[], float] = time.time,
        monotonic: Callable[[], float] = time.monotonic,
        synced: Callable[[], bool] = SYNCED.exists,
    ) -> None:
        self._wall, self._monotonic, self._synced = wall, monotonic, synced
        self._apart = wall() - monotonic()
        self._was_synced = False

    def jumped(self) -> float | None:
        """s that the clock jumped since the last look, forward positive; None where it
        did not."""
        apart = self._wall() - self._monotonic()
        jump, self._apart = apart - self._apart, apart
        return jump if abs(jump) > CLOCK_JUMP_S else None

    def set_now(self) -> bool:
        """True once: when the clock is first seen to have been set by a network."""
        if self._was_synced or not self._synced():
            return False
        self._was_synced = True
        return True

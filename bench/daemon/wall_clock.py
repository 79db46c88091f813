"""The wall clock compared with the monotonic clock: jumps, and the first setting.

Readings are stamped by the monotonic clock, which never jumps; only dates depend on the
wall clock.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

JUMP = 2.0  # s between two looks; less is the clock being slewed
# exists once the clock was set by a network; systemd-timesyncd.service(8)
SYNCED = Path("/run/systemd/timesync/synchronized")


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
        return jump if abs(jump) > JUMP else None

    def set_now(self) -> bool:
        """True once: when the clock is first seen to have been set by a network."""
        if self._was_synced or not self._synced():
            return False
        self._was_synced = True
        return True

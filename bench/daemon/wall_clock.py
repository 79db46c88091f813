"""The machine's clock beside its own count of seconds: whether it jumped, and when it
was first set by a network.

Readings are stamped by the count, which never jumps; only dates hang on the clock.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

JUMP = 2.0  # s between two looks; less is a clock being nudged
SYNCED = Path(
    "/run/systemd/timesync/synchronized"
)  # made when the clock was set, systemd-timesyncd.service(8)


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
        """s by which it jumped since the last look, forward positive; None where it did
        not."""
        apart = self._wall() - self._monotonic()
        jump, self._apart = apart - self._apart, apart
        return jump if abs(jump) > JUMP else None

    def set_now(self) -> bool:
        """True once, when it is first seen to have been set by a network."""
        if self._was_synced or not self._synced():
            return False
        self._was_synced = True
        return True

"""The machine's clock beside its own count of seconds: whether it jumped, and when it was first set by a network.

Readings are stamped by the count, which never jumps; only dates hang on the clock. May import: nothing of the house.
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
        """s by which it jumped since the last look, forward positive; None where it did not."""
        apart = self._wall() - self._monotonic()
        jump, self._apart = apart - self._apart, apart
        return jump if abs(jump) > JUMP else None

    def set_now(self) -> bool:
        """True once, when it is first seen to have been set by a network."""
        if self._was_synced or not self._synced():
            return False
        self._was_synced = True
        return True


def jump_words(jump: float) -> str:
    """`The clock of this machine jumped 1 h back`: a sentence without its end."""
    size = round(abs(jump))
    if size >= 86400:
        much = f"{size / 86400:.1f} days" if size >= 2 * 86400 else f"{size / 3600:.0f} h"
    else:
        much = (
            f"{size / 3600:.1f} h" if size >= 3600 else f"{size / 60:.0f} min" if size >= 60 else f"{size} s"
        )
    return f"The clock of this machine jumped {much} {'forward' if jump > 0 else 'back'}"

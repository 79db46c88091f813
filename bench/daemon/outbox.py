"""Persisted before it is told: what a check says waits for the commit of what it says it about.

Pure but for the two calls it is given. May import: msgspec.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable

import msgspec

PATIENCE = 0.6  # s; a disk that takes longer is in trouble, and the person at the saw must not stand waiting


class Outbox:
    """Holds messages, in order, until the log has saved up to their ticket."""

    def __init__(self, tell: Callable[[msgspec.Struct], None], clock: Callable[[], float]) -> None:
        self._tell = tell
        self._clock = clock
        self._held: deque[tuple[int, float, msgspec.Struct]] = deque()
        self._latest = 0  # ticket of the latest act that must be on the disk first
        self._saved = 0
        self.recording = True

    def act(self, ticket: int) -> int:
        self._latest = max(self._latest, ticket)
        return ticket

    def tell(self, message: msgspec.Struct) -> None:
        if not self._held and (not self.recording or self._latest <= self._saved):
            self._tell(message)
        else:
            self._held.append((self._latest, self._clock(), message))

    def saved(self, upto: int) -> None:
        self._saved = max(self._saved, upto)
        self.release()

    def release(self) -> None:
        """Also called now and then: the log may be in trouble, which is told apart."""
        late = self._clock() - PATIENCE
        while self._held:
            ticket, since, message = self._held[0]
            if self.recording and ticket > self._saved and since > late:
                return
            self._held.popleft()
            self._tell(message)

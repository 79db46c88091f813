"""The raw bytes of a sweep for the log, from a little before it began."""

from __future__ import annotations

from collections import deque

from bench.daemon.acquisition import Batch
from bench.log.writer import LogWriter

# A sweep is seen to begin after it began, so the bytes of so many ns before are its
# own; as long as the sweep detector looks back.
LOOK_BACK_NS = 1_500_000_000


class RawBytes:
    """Keeps the latest blocks of each instrument; once a sweep is recorded, writes
    them and all that follow as its chunks to the log."""

    def __init__(self, log: LogWriter) -> None:
        self._log = log
        self._back: dict[str, deque[tuple[int, bytes, list[float]]]] = {}
        self._recorded: str | None = None  # the sweep whose look-back was written

    def keep(self, name: str, batch: Batch, sweep: str | None) -> None:
        back = self._back.setdefault(name, deque())
        if sweep is None:
            self._recorded = None
            back.append((batch.when, batch.data, batch.came))
            while back and back[0][0] < batch.when - LOOK_BACK_NS:
                back.popleft()
            return
        if sweep != self._recorded:
            self._recorded = sweep
            for other, before in self._back.items():
                for _, data, stamps in before:
                    self._log.chunk(sweep, other, data, [int(t * 1e9) for t in stamps])
                before.clear()
        self._log.chunk(sweep, name, batch.data, [int(t * 1e9) for t in batch.came])

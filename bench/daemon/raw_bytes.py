"""The bytes as they came, kept beside the sweep they belong to, with a little from
before it began."""

from __future__ import annotations

from collections import deque

from bench.daemon.acquisition import Batch
from bench.log.writer import LogWriter

# raw bytes from before a sweep was seen to begin are part of it
LOOK_BACK_NS = 1_500_000_000


class RawBytes:
    """Look-back per instrument while nothing is recorded; chunks to the log while
    something is."""

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

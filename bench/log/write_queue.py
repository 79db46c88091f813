"""Holds the writes that wait for a commit, in order and up to a limit of memory."""

from __future__ import annotations

import sqlite3
import time
from collections import deque
from collections.abc import Callable, Iterator
from typing import NamedTuple

from bench.log import entries
from bench.log.entry import EntryRefused

QUEUE_BYTES = 16 * 2**20  # at 8,000 readings a second over a minute of a stalled disk
# beyond the limit blocks of readings are refused; this is left for ends and findings
QUEUE_RESERVE_BYTES = 4 * 2**20
BATCH_BYTES = 4 * 2**20  # at most, of one commit

# connection in a transaction, number of the opening
Write = Callable[[sqlite3.Connection, int], object]


class ReadingBlock(NamedTuple):
    """Bytes of a running sweep; the blocks of one commit are written as one."""

    sweep: str
    instrument: str
    raw: bytes
    arrival_us: list[int]


class QueuedWrite(NamedTuple):
    """since: monotonic s. size: bytes of memory. urgent: it does not wait for others.
    sweep, finding: what the commit names as saved."""

    ticket: int
    since: float
    size: int
    urgent: bool
    write: Write | ReadingBlock
    sweep: str | None
    finding: str | None


def refuse_without_room(db: sqlite3.Connection, boot_key: int) -> None:
    """Stands for a write that did not fit, so that its ticket is told as refused."""
    raise EntryRefused("the memory for what waits was full")


class WriteQueue:
    """Not locked: the committer holds its own lock around each call."""

    def __init__(self) -> None:
        self._writes: deque[QueuedWrite] = deque()
        self._bytes = 0
        self._urgent = 0

    def __len__(self) -> int:
        return len(self._writes)

    @property
    def urgent(self) -> bool:
        """Whether a write in it does not wait for others."""
        return self._urgent > 0

    def fits(self, size: int, reserve: bool) -> bool:
        limit = QUEUE_BYTES + (QUEUE_RESERVE_BYTES if reserve else 0)
        return self._bytes + size <= limit

    def waits_longer_than(self, seconds: float) -> bool:
        return bool(self) and time.monotonic() - self._writes[0].since > seconds

    def add(
        self,
        ticket: int,
        size: int,
        urgent: bool,
        write: Write | ReadingBlock,
        sweep: str | None,
        finding: str | None,
    ) -> None:
        now = time.monotonic()
        queued = QueuedWrite(ticket, now, size, urgent, write, sweep, finding)
        self._writes.append(queued)
        self._bytes += size
        self._urgent += urgent

    def batch(self) -> list[QueuedWrite]:
        """The first writes, as many as one commit takes; they stay in the queue."""
        batch: list[QueuedWrite] = []
        size = 0
        for write in self._writes:
            size += write.size
            if batch and size > BATCH_BYTES:
                break
            batch.append(write)
        return batch

    def remove(self, count: int) -> None:
        """Take out the first ones, which are committed."""
        for _ in range(count):
            write = self._writes.popleft()
            self._bytes -= write.size
            self._urgent -= write.urgent


def merged(batch: list[QueuedWrite], done: int) -> Iterator[tuple[list[int], Write]]:
    """The writes after the ticket `done`, each with its tickets. The blocks of a sweep
    are put together up to the next other write."""
    blocks: dict[tuple[str, str], list[tuple[int, ReadingBlock]]] = {}
    for queued in batch:
        if queued.ticket <= done:
            continue
        if isinstance(queued.write, ReadingBlock):
            block = queued.write
            blocks.setdefault((block.sweep, block.instrument), []).append(
                (queued.ticket, block)
            )
            continue
        yield from map(_one_block, blocks.values())
        blocks.clear()
        yield [queued.ticket], queued.write
    yield from map(_one_block, blocks.values())


def _one_block(blocks: list[tuple[int, ReadingBlock]]) -> tuple[list[int], Write]:
    sweep, instrument, _, _ = blocks[0][1]
    raw = b"".join(block.raw for _, block in blocks)
    arrival_us = [arrival for _, block in blocks for arrival in block.arrival_us]
    return (
        [ticket for ticket, _ in blocks],
        lambda db, _: entries.chunk(db, sweep, instrument, raw, arrival_us),
    )

"""Holds the writes that wait for a commit, in order and up to a limit of memory."""

from __future__ import annotations

import itertools
import sqlite3
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from math import inf
from typing import NamedTuple

from bench.log import entries
from bench.log.entry import EntryRefused

QUEUE_BYTES = 16 * 2**20  # at 8,000 readings a second over a minute of a stalled disk
# beyond the limit blocks of readings are refused; this is left for ends and findings
QUEUE_RESERVE_BYTES = 4 * 2**20
NOT_QUEUED = -1  # the ticket of a write for which there was no room; it is never saved
BATCH_BYTES = 4 * 2**20  # at most, of one commit
GROUP_S = 0.25  # a write that is not urgent waits this long for others
# Blocks of readings wait longer: nobody was told of them, a pass ends sooner as a rule,
# and each commit writes some 30 KiB to the card whatever is in it. A cut of the power
# costs so much of the pass that it interrupts anyway.
BLOCK_GROUP_S = 5.0

# A sweep is seen to begin after it began, so the bytes of so many ns before are its
# own; as long as the sweep detector looks back.
LOOK_BACK_NS = 1_500_000_000

# connection in a transaction, number of the opening
Write = Callable[[sqlite3.Connection, int], object]


class ReadingBlock(NamedTuple):
    """Bytes of a running sweep; the blocks of one commit are written as one."""

    sweep: str
    instrument: str
    raw: bytes
    arrival_us: list[int]


class QueuedWrite(NamedTuple):
    """urgent: it does not wait for others. size: bytes of memory. sweep, finding: what
    the commit names as saved. due: monotonic s, when it is to be committed without
    waiting any longer."""

    write: Write | ReadingBlock
    urgent: bool = True
    size: int = 500
    sweep: str | None = None
    finding: str | None = None
    ticket: int = 0
    due: float = 0.0


def refuse_without_room(db: sqlite3.Connection, boot_key: int) -> None:
    """Stand for a write that did not fit, so that its ticket is told as refused."""
    raise EntryRefused("the memory for what waits was full")


class WriteQueue:
    """Whoever calls a method holds `wake`; only `put` takes it itself.

    ticket: of the latest write. awaited: the latest that somebody may be told of (not
    of raw bytes, nor of what is not urgent). closed: nothing more is taken. dropped:
    readings without room, by sweep.
    """

    def __init__(self, on_full: Callable[[], None]) -> None:
        self.wake = threading.Condition()
        self.ticket = self.awaited = 0
        self.closed = False
        self.dropped: Counter[str] = Counter()
        self._on_full = on_full
        self._writes: deque[QueuedWrite] = deque()
        self._bytes = 0
        self._due = inf  # the earliest of the writes, monotonic s

    def __len__(self) -> int:
        return len(self._writes)

    @property
    def wait_s(self) -> float:
        """How long its writes may wait for others; negative when one is late."""
        return self._due - time.monotonic()

    def put(self, queued: QueuedWrite, *, reserve: bool = True) -> int:
        """Queue a write; returns its ticket, or NOT_QUEUED where there is no room (or
        all is closed). reserve: it may use what is kept free for the few writes that
        matter most."""
        with self.wake:
            limit = QUEUE_BYTES + (QUEUE_RESERVE_BYTES if reserve else 0)
            fits = self._bytes + queued.size <= limit
            if not fits:
                self._on_full()
                queued = QueuedWrite(refuse_without_room, queued.urgent, size=0)
            if fits or reserve:
                # A write that does not fit has a ticket too, so that nobody is told
                # that it was saved.
                self.ticket += 1
                if queued.urgent:
                    self.awaited = self.ticket
                if not self.closed:
                    self._add(queued)
            return self.ticket if fits and not self.closed else NOT_QUEUED

    def put_block(
        self, sweep: str, instrument: str, raw: bytes, arrival_ns: Iterable[int]
    ) -> int:
        """Bytes of a running sweep; arrival_ns: monotonic, one for each record in them
        (stored in whole us)."""
        times = [arrival // 1000 for arrival in arrival_ns]
        block = ReadingBlock(sweep, instrument, raw, times)
        size = len(raw) + 8 * len(times) + 300
        queued = QueuedWrite(block, urgent=False, size=size)
        ticket = self.put(queued, reserve=False)
        if ticket == NOT_QUEUED:
            self.dropped[sweep] += len(times)
        return ticket

    def _add(self, queued: QueuedWrite) -> None:
        is_block = isinstance(queued.write, ReadingBlock)
        wait = 0.0 if queued.urgent else BLOCK_GROUP_S if is_block else GROUP_S
        due = time.monotonic() + wait
        self._due = min(self._due, due)
        self._writes.append(queued._replace(ticket=self.ticket, due=due))
        self._bytes += queued.size
        # The thread waits for blocks' company already where others are queued.
        if queued.urgent or not is_block or len(self._writes) == 1:
            self.wake.notify_all()

    def batch(self) -> list[QueuedWrite]:
        """The first writes, as many as one commit takes; they stay in the queue."""
        sizes = itertools.accumulate(write.size for write in self._writes)
        fits = sum(1 for _ in itertools.takewhile(BATCH_BYTES.__ge__, sizes))
        return [*itertools.islice(self._writes, max(1, fits))]

    def remove(self, count: int) -> None:
        """Take out the first ones, which are committed."""
        for _ in range(count):
            write = self._writes.popleft()
            self._bytes -= write.size
        self._due = min((write.due for write in self._writes), default=inf)


class SweepBytes:
    """The raw bytes of a sweep, from a little before it began: keeps the latest blocks
    of each instrument, and writes them and all that follow once one is recorded."""

    def __init__(self, queue: WriteQueue) -> None:
        self._queue = queue
        self._back: dict[str, deque[tuple[int, bytes, list[float]]]] = {}
        self._recorded: str | None = None  # the sweep whose look-back was written

    def keep(
        self,
        name: str,
        when: int,
        data: bytes,
        came: list[float],
        sweep: str | None,
    ) -> None:
        """A block of bytes arrived at `when` (monotonic ns); came: monotonic s of each
        of its readings; sweep: the one that is recorded."""
        back = self._back.setdefault(name, deque())
        if sweep is None:
            self._recorded = None
            back.append((when, data, came))
            while back and back[0][0] < when - LOOK_BACK_NS:
                back.popleft()
            return
        if sweep != self._recorded:
            self._recorded = sweep
            for other, before in self._back.items():
                for _, old, stamps in before:
                    self._put(sweep, other, old, stamps)
                before.clear()
        self._put(sweep, name, data, came)

    def _put(self, sweep: str, name: str, data: bytes, came: list[float]) -> None:
        self._queue.put_block(sweep, name, data, [int(at * 1e9) for at in came])


def merged(batch: list[QueuedWrite], done: int) -> Iterator[tuple[list[int], Write]]:
    """The writes after the ticket `done`, each with its tickets. The blocks of a sweep
    are put together up to the next other write."""
    blocks: dict[tuple[str, str], list[tuple[int, ReadingBlock]]] = {}
    for queued in batch:
        if queued.ticket <= done:
            continue
        if isinstance(block := queued.write, ReadingBlock):
            key = block.sweep, block.instrument
            blocks.setdefault(key, []).append((queued.ticket, block))
            continue
        yield from map(_one_block, blocks.values())
        blocks.clear()
        yield [queued.ticket], block
    yield from map(_one_block, blocks.values())


def _one_block(blocks: list[tuple[int, ReadingBlock]]) -> tuple[list[int], Write]:
    sweep, instrument, _, _ = blocks[0][1]
    raw = b"".join(block.raw for _, block in blocks)
    arrival_us = [arrival for _, block in blocks for arrival in block.arrival_us]
    return (
        [ticket for ticket, _ in blocks],
        lambda db, _: entries.chunk(db, sweep, instrument, raw, arrival_us),
    )

"""Takes an export into a log, piece by piece: no more of it is in memory than a line.

Whoever gives the pieces writes what `read` returns, waits for the disk, and gives the
next; so that a file of any size costs the memory of its longest line.
"""

from __future__ import annotations

import itertools
import sqlite3
import uuid
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from functools import partial
from typing import NamedTuple

import msgspec

from bench import __version__
from bench.gear import LONGEST_NAME
from bench.log.entry import refusal
from bench.log.export_line import EventLine, ExportLine, UnusableLine, read_line
from bench.log.import_entries import (
    Link,
    import_boot,
    import_event,
    import_line,
    import_link,
)
from bench.log.rows import now
from bench.log.write_queue import Write
from bench.log.writer import LogWriter
from bench.procedure.status_message import StatusMessage
from bench.protocol import LogImported
from hw.patience import LOG_ASKED_FLUSH_S

# bytes of a line; passes of an hour are not as long
LONGEST_LINE = 8 * 2**20
LINKS_AT_ONCE = 200
MOST_TOLD = 200  # problems told one by one; more are counted


class SizedWrite(NamedTuple):
    write: Write
    size: int  # bytes of memory


class Importer:
    """One import, whose pieces are given in order. problems: what there is to tell,
    since it was last told."""

    def __init__(self) -> None:
        self._session = uuid.uuid4().hex[:12]
        self._program = f"sweepgauge {__version__}"
        self._buffer = bytearray()
        self._number = 0  # of the line
        self._skipping = False  # the rest of a line that is too long
        self.problems: list[StatusMessage] = []
        self._told = 0
        # by line: a write that has to be repeated is counted once
        self._states: dict[int, str] = {}
        self._bad: set[int] = set()
        self._unknown: Counter[str] = Counter()
        self._links: dict[Link, int] = {}  # and the line that it stood in

    def take(self, log: LogWriter, piece: bytes, *, last: bool) -> LogImported:
        """Write the lines that end in this piece, and wait until the disk has them.
        last: the file ends. Raises OSError where the log takes nothing."""
        _write(log, self.read(piece, last=last))
        if last:
            _write(log, self.end())
            counts = msgspec.structs.replace(self._taken(), problems=[])
            log.event(None, "imported", msgspec.to_builtins(counts), urgent=True)
            _write(log, ())
        taken, self.problems = self._taken(), []
        return taken

    def _taken(self) -> LogImported:
        states = Counter(self._states.values())
        return LogImported(
            lines=len(self._bad | self._states.keys()),
            taken=states["taken"],
            known=states["known"] + states["differs"],
            events=states["event"],
            left_out=len(self._bad),
            problems=self.problems,
        )

    def read(self, piece: bytes, *, last: bool = False) -> Iterator[SizedWrite]:
        """The writes of the lines that end in this piece. last: the file ends."""
        self._buffer += piece
        while (end := self._buffer.find(b"\n")) >= 0 or (last and self._buffer):
            text = bytes(self._buffer[:end] if end >= 0 else self._buffer)
            del self._buffer[: end + 1 if end >= 0 else len(self._buffer)]
            self._number += 1
            if len(text) > LONGEST_LINE and not self._skipping:
                self._too_long(self._number)
            elif text.strip() and not self._skipping:
                yield from self._line(text)
            self._skipping = False
        if len(self._buffer) > LONGEST_LINE:
            if not self._skipping:
                self._too_long(self._number + 1)
            self._skipping = True
            self._buffer.clear()

    def _too_long(self, number: int) -> None:
        values = {"number": number, "most": LONGEST_LINE // 2**20}
        self._tell(number, StatusMessage("import-too-long", values))

    def end(self) -> Iterator[SizedWrite]:
        """What joins results to later ones, which may have stood further on. To be
        called when all that `read` gave is written."""
        links = iter(self._links.items())
        while some := [*itertools.islice(links, LINKS_AT_ONCE)]:
            yield SizedWrite(partial(self._join, some), 100 * len(some))
        for field, count in self._unknown.items():
            values = {"field": field, "lines": count}
            self.problems.append(StatusMessage("import-unknown", values))

    def _line(self, text: bytes) -> Iterator[SizedWrite]:
        try:
            read = read_line(text)
        except UnusableLine as error:
            self._leave_out(self._number, error)
            return
        number = self._number
        for field in {field[:LONGEST_NAME] for field in read.unknown}:
            if field in self._unknown or len(self._unknown) < MOST_TOLD:
                self._unknown[field] += 1
        if read.without is not None:
            values = {"number": number, "why": read.without}
            self._tell(number, StatusMessage("import-without", values))
        line = read.line
        yield SizedWrite(partial(self._take, number, line), len(text))
        if isinstance(line, EventLine):
            return
        if line.superseded_by is not None:
            link = Link("superseded", line.finding.id, line.superseded_by)
            self._links[link] = number
        for move in line.moves:
            if move.verified_by is not None:
                self._links[Link("verified", move.move, move.verified_by)] = number

    def _take(
        self,
        number: int,
        line: ExportLine | EventLine,
        db: sqlite3.Connection,
        boot_key: int,
    ) -> None:
        def write() -> None:
            boot = self._boot(db)
            if isinstance(line, EventLine):
                self._states[number] = import_event(db, boot, line.event)
            else:
                self._states[number] = import_line(db, boot, line)

        error = refusal(db, write)
        if error is not None:
            self._leave_out(number, error)
        elif isinstance(line, ExportLine) and self._states[number] == "differs":
            values = {"number": number, "id": line.finding.id}
            self._tell(number, StatusMessage("import-differs", values))

    def _join(
        self, links: list[tuple[Link, int]], db: sqlite3.Connection, boot_key: int
    ) -> None:
        for link, number in links:
            if not import_link(db, self._boot(db), now(), link):
                values = {"number": number, "later": link.later}
                self._tell(number, StatusMessage("import-unlinked", values))

    def _boot(self, db: sqlite3.Connection) -> Callable[[], int]:
        return partial(import_boot, db, self._session, self._program, now())

    def _leave_out(self, number: int, error: Exception) -> None:
        values = {"number": number, "why": str(error)}
        self._tell(number, StatusMessage("import-left-out", values))

    def _tell(self, number: int, problem: StatusMessage) -> None:
        self._bad.add(number)
        self._told += 1
        if self._told <= MOST_TOLD:
            self.problems.append(problem)


def _write(log: LogWriter, writes: Iterable[SizedWrite]) -> None:
    for write, size in writes:
        log.put(write, urgent=False, size=size)
    while not log.flush(LOG_ASKED_FLUSH_S):
        if log.trouble is not None:
            raise OSError(log.trouble)

"""Takes an export into a log, piece by piece: no more of it is in memory than a line.

Whoever gives the pieces writes what `read` returns, waits for the disk, and gives the
next; so that a file of any size costs the memory of its longest line. Every line is
taken by its id and never twice. Rows of an import belong to an opening of their own,
whose boot has no clock, so that no date of theirs is put right by this machine's clock.
"""

from __future__ import annotations

import itertools
import sqlite3
import uuid
from collections import Counter
from collections.abc import Iterable, Iterator
from functools import partial
from typing import NamedTuple

import msgspec

from bench import __version__
from bench.checks.model import Evidence
from bench.finding import Finding
from bench.gear import LONGEST_NAME
from bench.log import entries
from bench.log.dates import IMPORTED
from bench.log.entry import Entry, as_json, refusal
from bench.log.export_line import (
    EventLine,
    ExportedEvent,
    ExportLine,
    UnusableLine,
    read_line,
)
from bench.log.findings import with_remarks
from bench.log.moves import MoveRow
from bench.log.rows import Stamp, now
from bench.log.write_queue import Write
from bench.log.writer import LogWriter
from bench.procedure.status_message import StatusMessage
from bench.protocol import LogImported
from hw.patience import LOG_ASKED_FLUSH_S

# bytes of a line; passes of an hour are not as long
LONGEST_LINE = 8 * 2**20
LINKS_AT_ONCE = 200
MOST_TOLD = 200  # problems told one by one; more are counted

SizedWrite = tuple[Write, int]  # and its bytes of memory


class Link(NamedTuple):
    """What joins a result, or a move, of this name to a later result."""

    what: str  # "superseded" or "verified"
    name: str
    later: str


class Importer:
    """One import, whose pieces are given in order. problems: what there is to tell,
    since it was last told."""

    def __init__(self) -> None:
        self._boot_id = IMPORTED + uuid.uuid4().hex[:12]
        self._buffer = bytearray()
        self._number = 0  # of the line
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
        """The writes of the lines that end in this piece. last: the file ends. Raises
        OSError for a line that is too long."""
        self._buffer += piece + b"\n" * last
        while (end := self._buffer.find(b"\n")) >= 0:
            text = bytes(self._buffer[:end])
            del self._buffer[: end + 1]
            self._number += 1
            if text.strip():
                yield from self._line(text)
        if len(self._buffer) > LONGEST_LINE:
            most = LONGEST_LINE // 2**20
            raise OSError(
                f"line {self._number + 1} is longer than {most} MiB: this is no export"
            )

    def end(self) -> Iterator[SizedWrite]:
        """What joins results to later ones, which may have stood further on. To be
        called when all that `read` gave is written."""
        links = iter(self._links.items())
        while some := [*itertools.islice(links, LINKS_AT_ONCE)]:
            yield partial(self._join, some), 100 * len(some)
        for field, count in self._unknown.items():
            values = {"field": field, "lines": count}
            self.problems.append(StatusMessage("import-unknown", values))

    def _line(self, text: bytes) -> Iterator[SizedWrite]:
        number = self._number
        try:
            line, unknown = read_line(text)
        except UnusableLine as error:
            self._tell(number, "import-left-out", why=str(error))
            return
        for field in {field[:LONGEST_NAME] for field in unknown}:
            if field in self._unknown or len(self._unknown) < MOST_TOLD:
                self._unknown[field] += 1
        if isinstance(line, ExportLine) and line.damaged is not None:
            self._tell(number, "import-without", why=line.damaged)
        yield partial(self._take, number, line), len(text)
        if isinstance(line, ExportLine):
            self._links |= dict.fromkeys(_links(line), number)

    def _take(
        self,
        number: int,
        line: ExportLine | EventLine,
        db: sqlite3.Connection,
        boot_key: int,
    ) -> None:
        def write() -> None:
            if isinstance(line, EventLine):
                self._states[number] = self._event(db, line.event)
            else:
                self._states[number] = self._result(db, line)

        if (error := refusal(db, write)) is not None:
            self._tell(number, "import-left-out", why=str(error))
        elif self._states[number] == "differs" and isinstance(line, ExportLine):
            self._tell(number, "import-differs", id=line.finding.id)

    def _entry(self, db: sqlite3.Connection, wall_s: float, synced: bool) -> Entry:
        """With the opening that the rows of this import belong to, recorded where it is
        first needed."""
        query = "SELECT boot_key FROM boot WHERE boot_id = ?"
        row = db.execute(query, (self._boot_id,)).fetchone()
        program = f"sweepgauge {__version__}"
        key = (
            row[0] if row else entries.record_boot(db, self._boot_id, program, now(), 0)
        )
        return Entry(db, key, Stamp(0, wall_s, synced))

    def _event(self, db: sqlite3.Connection, event: ExportedEvent) -> str:
        """Known is one that was said at the same moment of the same thing."""
        wall = event.wall_s or 0.0
        query = "SELECT 1 FROM event WHERE kind = ? AND wall_s = ? AND data_json = ?"
        if db.execute(query, (event.kind, wall, as_json(event.data))).fetchone():
            return "event-known"
        self._entry(db, wall, event.clock_synced).event(None, event.kind, event.data)
        return "event"

    def _result(self, db: sqlite3.Connection, line: ExportLine) -> str:
        """Its moves are taken where the log lacks them."""
        wall, synced = line.wall_s or 0.0, line.clock_synced
        state = _known(db, line.finding)
        if state == "taken":
            _new_result(self._entry(db, wall, synced), line)
        for move in line.moves if state != "differs" else ():
            planned, made = _what_is_new(db, move)
            if planned:
                at = wall if move.planned_wall_s is None else move.planned_wall_s
                entry = self._entry(db, at, synced)
                entries.move_planned(entry, move.move, line.finding.id, move.plan)
            if made:
                at = wall if move.made_wall_s is None else move.made_wall_s
                entries.move_made(self._entry(db, at, synced), move.move, move.made)
        return state

    def _join(
        self, links: list[tuple[Link, int]], db: sqlite3.Connection, boot_key: int
    ) -> None:
        for link, number in links:
            key = _number(db, link.later)
            if key is None:
                self._tell(number, "import-unlinked", later=link.later)
            elif link.what == "superseded":
                db.execute(
                    "UPDATE finding SET superseded_by = coalesce(superseded_by, ?)"
                    " WHERE finding = ?",
                    (key, link.name),
                )
            elif _is_unverified(db, link.name):
                at = now()
                entry = self._entry(db, at.wall_s, at.synced)
                entries.move_verified(entry, link.name, link.later)

    def _tell(self, number: int, code: str, **values: object) -> None:
        self._bad.add(number)
        self._told += 1
        if self._told <= MOST_TOLD:
            self.problems.append(StatusMessage(code, {"number": number, **values}))


def _write(log: LogWriter, writes: Iterable[SizedWrite]) -> None:
    for write, size in writes:
        log.put(write, urgent=False, size=size)
    while not log.flush(LOG_ASKED_FLUSH_S):
        if log.trouble is not None:
            raise OSError(log.trouble)


def _links(line: ExportLine) -> Iterator[Link]:
    if line.superseded_by is not None:
        yield Link("superseded", line.finding.id, line.superseded_by)
    for move in line.moves:
        if move.verified_by is not None:
            yield Link("verified", move.move, move.verified_by)


def _known(db: sqlite3.Connection, finding: Finding) -> str:
    """ "differs" for a result of that id that says something else: the log's own
    stays."""
    query = "SELECT finding_json FROM finding WHERE finding = ?"
    row = db.execute(query, (finding.id,)).fetchone()
    if row is None:
        return "taken"
    here = with_remarks(msgspec.json.decode(row[0], type=Finding))
    # its date may have been put right since
    here = msgspec.structs.replace(here, at=finding.at)
    return "known" if here == with_remarks(finding) else "differs"


def _new_result(entry: Entry, line: ExportLine) -> None:
    finding, run = line.finding, str(line.run)
    evidence = line.evidence or Evidence(finding.check)
    query = "SELECT 1 FROM check_run WHERE run = ?"
    if entry.db.execute(query, (run,)).fetchone() is None:
        entries.begin_check(
            entry,
            run,
            finding.check,
            jig=finding.jig,
            saw=finding.saw,
            options=evidence.options,
            gear=evidence.gear,
            instrument=line.instrument,
            hold=line.hold,
        )
        entries.finish(entry, run)
    entries.finding(entry, run, finding, evidence, None)


def _what_is_new(db: sqlite3.Connection, move: MoveRow) -> tuple[bool, bool]:
    """Whether the log lacks the move, and that it was made."""
    query = "SELECT made_json FROM move WHERE move = ?"
    row = db.execute(query, (move.move,)).fetchone()
    return row is None, move.made is not None and (row is None or row[0] is None)


def _number(db: sqlite3.Connection, finding: str) -> int | None:
    query = "SELECT finding_key FROM finding WHERE finding = ?"
    row = db.execute(query, (finding,)).fetchone()
    return None if row is None else int(row[0])


def _is_unverified(db: sqlite3.Connection, move: str) -> bool:
    query = "SELECT 1 FROM move WHERE move = ? AND verified_by IS NULL"
    return db.execute(query, (move,)).fetchone() is not None

"""Takes an export into a log, piece by piece: no more of it is in memory than a line.

The lines of a piece are one write, and the next piece is taken when the disk has it; so
that a file of any size costs the memory of its longest line. Every line is taken by its
id and never twice. Rows of an import belong to an opening of their own,
whose boot has no clock, so that no date of theirs is put right by this machine's clock.
"""

from __future__ import annotations

import itertools
import sqlite3
import time
import uuid
from collections import Counter
from collections.abc import Iterator, Sequence
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
from bench.log.export import (
    EventLine,
    ExportLine,
    UnusableLine,
    read_line,
)
from bench.log.findings import with_remarks
from bench.log.rows import Stamp, now
from bench.log.write_queue import Write
from bench.log.writer import LogWriter
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import LogImported, take_lines
from hw.timeouts import LOG_ASKED_FLUSH_S

# bytes of a line; passes of an hour are not as long
LONGEST_LINE_BYTES = 8 * 2**20
LINKS_AT_ONCE = 200  # in one write
MOST_TOLD = 200  # problems told one by one; more are counted


class Link(NamedTuple):
    """A link from a result, or a move, of this name to a later result."""

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
        self._lines = 0  # that are not empty
        self._states = Counter[str]()  # what became of their events and results
        # of the piece being written, by line: a write may have to be repeated
        self._written: dict[int, str] = {}
        self._bad: set[int] = set()
        self._unknown: Counter[str] = Counter()
        self._links: list[tuple[Link, int]] = []  # and the line that it stood in

    def take(self, log: LogWriter, piece: bytes, *, last: bool) -> LogImported:
        """Write the lines that end in this piece, and wait until the disk has them.
        last: the file ends; what joins results to later ones, which may have stood
        further on, is written then. Raises OSError where the log takes nothing, or for
        a line that is too long."""
        if lines := [*self.read(piece, last=last)]:
            _write(log, partial(self._take, lines), 2 * len(piece))
            self._states.update(self._written.values())
        if last:
            links = iter(self._links)
            while some := [*itertools.islice(links, LINKS_AT_ONCE)]:
                _write(log, partial(self._join, some), 100 * len(some))
            self.problems += [
                status("import-unknown", field=field, lines=count)
                for field, count in self._unknown.items()
            ]
            counts = msgspec.structs.replace(self._taken(), problems=[])
            log.event(None, "imported", msgspec.to_builtins(counts), urgent=True)
            _flush(log)
        taken, self.problems = self._taken(), []
        return taken

    def _taken(self) -> LogImported:
        states = self._states
        return LogImported(
            lines=self._lines,
            taken=states["taken"],
            known=states["known"] + states["differs"],
            events=states["event"],
            left_out=len(self._bad),
            problems=self.problems,
        )

    def read(
        self, piece: bytes, *, last: bool = False
    ) -> Iterator[tuple[int, ExportLine | EventLine]]:
        """The lines that end in this piece and can be taken, by their numbers."""
        self._buffer += piece + b"\n" * last
        for text in take_lines(self._buffer):
            self._number += 1
            if not text.strip():
                continue
            self._lines += 1
            if (line := self._line(self._number, text)) is not None:
                yield self._number, line
        if len(self._buffer) > LONGEST_LINE_BYTES:
            most = LONGEST_LINE_BYTES // 2**20
            raise OSError(
                f"line {self._number + 1} is longer than {most} MiB: this is no export"
            )

    def _line(self, number: int, text: bytes) -> ExportLine | EventLine | None:
        try:
            line, unknown = read_line(text)
        except UnusableLine as error:
            self._tell(number, "import-left-out", why=str(error))
            return None
        for field in {field[:LONGEST_NAME] for field in unknown}:
            if field in self._unknown or len(self._unknown) < MOST_TOLD:
                self._unknown[field] += 1
        if isinstance(line, ExportLine):
            self._links += [(link, number) for link in _links(line)]
            if line.damaged is not None:
                self._tell(number, "import-without", why=line.damaged)
        return line

    def _take(
        self,
        lines: Sequence[tuple[int, ExportLine | EventLine]],
        db: sqlite3.Connection,
        boot_key: int,
    ) -> None:
        self._written = {}
        for number, line in lines:
            if isinstance(line, EventLine):
                write = partial(self._event, db, number, line)
            else:
                write = partial(self._result, db, number, line)
            if (error := refusal(db, write)) is not None:
                self._tell(number, "import-left-out", why=str(error))

    def _entry(self, db: sqlite3.Connection, wall_s: float, synced: bool) -> Entry:
        """An entry of the opening that the rows of this import belong to, which is
        recorded where it is first needed."""
        query = "SELECT boot_key FROM boot WHERE boot_id = ?"
        row = db.execute(query, (self._boot_id,)).fetchone()
        program = f"sweepgauge {__version__}"
        key = (
            row[0] if row else entries.record_boot(db, self._boot_id, program, now(), 0)
        )
        return Entry(db, key, Stamp(0, wall_s, synced))

    def _event(self, db: sqlite3.Connection, number: int, line: EventLine) -> None:
        """Take an event that was not said at the same moment of the same thing
        already."""
        event, wall = line.event, line.event.wall_s or 0.0
        query = "SELECT 1 FROM event WHERE kind = ? AND wall_s = ? AND data_json = ?"
        here = db.execute(query, (event.kind, wall, as_json(event.data))).fetchone()
        if here is None:
            entry = self._entry(db, wall, event.clock_synced)
            entry.event(None, event.kind, event.data)
        self._written[number] = "event" if here is None else "event-known"

    def _result(self, db: sqlite3.Connection, number: int, line: ExportLine) -> None:
        """Its moves are taken where the log lacks them."""
        wall, synced = line.wall_s or 0.0, line.clock_synced
        state = _known(db, line.finding)
        if state == "taken":
            _new_result(self._entry(db, wall, synced), line)
        if state == "differs":
            self._tell(number, "import-differs", id=line.finding.id)
        for move in line.moves if state != "differs" else ():
            made_here = db.execute(
                "SELECT made_json IS NOT NULL FROM move WHERE move = ?", (move.move,)
            ).fetchone()
            if made_here is None:
                at = wall if move.planned_wall_s is None else move.planned_wall_s
                entry = self._entry(db, at, synced)
                entries.move_planned(entry, move.move, line.finding.id, move.plan)
            if move.made is not None and made_here != (1,):
                at = wall if move.made_wall_s is None else move.made_wall_s
                entries.move_made(self._entry(db, at, synced), move.move, move.made)
        self._written[number] = state

    def _join(
        self,
        links: Sequence[tuple[Link, int]],
        db: sqlite3.Connection,
        boot_key: int,
    ) -> None:
        query = "SELECT finding_key FROM finding WHERE finding = ?"
        unverified = "SELECT 1 FROM move WHERE move = ? AND verified_by IS NULL"
        for link, number in links:
            later = db.execute(query, (link.later,)).fetchone()
            if later is None:
                self._tell(number, "import-unlinked", later=link.later)
            elif link.what == "superseded":
                db.execute(
                    "UPDATE finding SET superseded_by = coalesce(superseded_by, ?)"
                    " WHERE finding = ?",
                    (*later, link.name),
                )
            elif db.execute(unverified, (link.name,)).fetchone() is not None:
                entry = self._entry(db, time.time(), False)
                entries.move_verified(entry, link.name, link.later)

    def _tell(self, number: int, code: str, **values: object) -> None:
        self._bad.add(number)
        self._told += 1
        if self._told <= MOST_TOLD:
            self.problems.append(status(code, number=number, **values))


def _write(log: LogWriter, write: Write, size: int) -> None:
    log.put(write, urgent=False, size=size)
    _flush(log)


def _flush(log: LogWriter) -> None:
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
    """A result of that id that says something else differs: the log's own stays."""
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

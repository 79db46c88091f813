"""A CSV file with a header row, to rows of named cells with their lines.

A file that is not one is refused. Values stay text here; what a column means is the
caller's.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from pathlib import Path

import msgspec

# an hour of the fastest instrument; more is no recorded passes
MOST_BYTES = 64 * 1024 * 1024
UTF16_MARKS = ("\xff\xfe", "\xfe\xff")  # how 16-bit text begins, read as single bytes


class RecordedError(ValueError):
    """A file or row that cannot be read; the message names file and line."""


class FileLine(msgspec.Struct, frozen=True):
    """A file, and the line in it where one is meant."""

    file: str
    line: int | None = None

    def wrong(self, problem: str) -> RecordedError:
        where = self.file if self.line is None else f"{self.file}:{self.line}"
        return RecordedError(f"{where}: {problem}")


class CsvRow(FileLine, frozen=True):
    """cells: one for each name of the header, without blanks around it. line: where the
    row ends, from 1."""

    cells: dict[str, str] = {}

    def filled(self, column: str, hint: str = "") -> str:
        if not (cell := self.cells[column]):
            raise self.wrong(f"the column {column} is empty{hint}")
        return cell


class CsvTable(msgspec.Struct, frozen=True):
    """header: its place. names: of the header row, lower case. rows: at least one."""

    header: FileLine
    names: tuple[str, ...]
    rows: list[CsvRow]


def read_table(path: Path) -> CsvTable:
    """The whole file. Raises RecordedError: missing, a folder, not text, not CSV,
    empty, uneven rows.

    A byte order mark and any line ends will do. Blank lines may only stand at the end.
    """
    return table_of(_text(path), str(path))


def table_of(text: str, name: str) -> CsvTable:
    """The same from text; `name` stands for the file in messages."""
    if not text.strip():
        raise FileLine(name).wrong(
            "is empty; it wants a header row and readings under it"
        )
    lines = _lines(text, name)
    header, place = next(lines)
    names = _names(header, place)
    rows: list[CsvRow] = []
    blank: FileLine | None = None  # the first; such may only stand at the end
    for fields, place in lines:
        if not "".join(fields).strip() and len(fields) <= 1:
            blank = blank or place
        else:
            rows.append(_row(fields, place, names, blank))
    if not rows:
        raise FileLine(name).wrong("holds no readings, only a header row")
    return CsvTable(FileLine(name, 1), names, rows)


def _row(
    fields: Sequence[str], place: FileLine, names: Sequence[str], blank: FileLine | None
) -> CsvRow:
    cells = [field.strip() for field in fields]
    if blank is None and len(fields) != len(names):
        raise place.wrong(_uneven(fields, len(names)))
    if blank is not None or not any(cells):
        where = blank or place
        raise where.wrong("the row is empty; take it out or fill it in")
    return CsvRow(place.file, place.line, dict(zip(names, cells, strict=True)))


def _lines(text: str, name: str) -> Iterator[tuple[list[str], FileLine]]:
    """Rows of a CSV text with the line each ends on."""
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    try:
        for fields in reader:
            yield fields, FileLine(name, reader.line_num)
    except csv.Error as error:
        place = FileLine(name, reader.line_num)
        raise place.wrong(f"is not CSV ({error})") from error


def _text(path: Path) -> str:
    file = str(path)
    try:
        with path.open("rb") as source:
            data = source.read(MOST_BYTES + 1)
    except OSError as error:
        why = error.strerror or error
        raise FileLine(file).wrong(f"cannot be read ({why})") from error
    except ValueError as error:  # a NUL in the name
        raise FileLine(repr(file)).wrong(f"is no name of a file ({error})") from error
    return _decoded(data, file)


def _decoded(data: bytes, file: str) -> str:
    if len(data) > MOST_BYTES:
        most = MOST_BYTES // 2**20
        raise FileLine(file).wrong(f"is larger than {most} MiB: no recorded passes")
    if data[:2].decode("latin-1") in UTF16_MARKS:
        raise FileLine(file, 1).wrong("is 16-bit text; save it as CSV in UTF-8")
    before, zero, _ = data.partition(b"\0")
    if zero:
        place = FileLine(file, before.count(b"\n") + 1)
        raise place.wrong("is not text; it holds a zero byte")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        place = FileLine(file, data.count(b"\n", 0, error.start) + 1)
        raise place.wrong(f"is not text in UTF-8 ({error.reason})") from error


def _names(header: Sequence[str], place: FileLine) -> tuple[str, ...]:
    names = tuple(field.strip().lower() for field in header)
    for sign, called in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
        if len(names) == 1 and sign in names[0]:
            raise place.wrong(
                f"the columns are parted by {called}; part them by commas, with a point"
                " in the numbers"
            )
    if not any(names):
        raise place.wrong("the header row is empty")
    twice = sorted({n for n in names if n and names.count(n) > 1})
    if twice:
        raise place.wrong(f"the column {short(twice[0])} is there twice")
    if names.count("") > 1:
        raise place.wrong(f"{names.count('')} columns have no name")
    return names


def _uneven(fields: Sequence[str], wanted: int) -> str:
    hint = ""
    if len(fields) == 1 and ";" in fields[0]:
        hint = "; part them by commas, not semicolons"
    elif len(fields) > wanted and any(
        f.strip().lstrip("+-").isdigit() for f in fields[1:]
    ):
        hint = "; if the numbers have a comma, write a point"
    return f"{len(fields)} fields, the header has {wanted}{hint}"


def short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")

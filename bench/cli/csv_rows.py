"""A CSV file with a header row, to rows of named cells with their lines.

A file that is not one is refused. Values stay text here; what a column means is the
caller's.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

# an hour of the fastest instrument; more is not a recorded sweep
MOST_BYTES = 64 * 1024 * 1024
MARKS = ("\xff\xfe", "\xfe\xff")  # how 16-bit text begins, read as single bytes


class RecordedError(ValueError):
    """A file or row that cannot be read; the message names file and line."""


@dataclass(frozen=True, slots=True)
class Row:
    """cells: one for each name of the header, without blanks around it. line: where the
    row ends, from 1."""

    line: int
    cells: dict[str, str]


@dataclass(frozen=True, slots=True)
class Table:
    """names: of the header row, lower case. rows: at least one."""

    names: tuple[str, ...]
    rows: list[Row]


def read_table(path: Path) -> Table:
    """The whole file. Raises RecordedError: missing, a folder, not text, not CSV,
    empty, uneven rows.

    A byte order mark and any line ends will do. Blank lines may only stand at the end.
    """
    return table_of(_text(path), str(path))


def table_of(text: str, name: str) -> Table:
    """The same from text; `name` stands for the file in messages."""
    if not text.strip():
        raise RecordedError(
            f"{name}: is empty; it wants a header row and readings under it"
        )
    reader = _Lines(text, name)
    header, line = next(reader)
    names = _names(header, name, line)
    rows: list[Row] = []
    blank: int | None = None
    for fields, line in reader:
        if not "".join(fields).strip() and len(fields) <= 1:
            blank = blank or line
            continue
        if blank is not None:
            raise RecordedError(
                f"{name}:{blank}: the row is empty; take it out or fill it in"
            )
        if len(fields) != len(names):
            raise RecordedError(f"{name}:{line}: {_uneven(fields, len(names))}")
        cells = [field.strip() for field in fields]
        if not any(cells):
            raise RecordedError(
                f"{name}:{line}: the row is empty; take it out or fill it in"
            )
        rows.append(Row(line, dict(zip(names, cells, strict=True))))
    if not rows:
        raise RecordedError(f"{name}: holds no readings, only a header row")
    return Table(names, rows)


class _Lines:
    """Rows of a CSV text with the line each ends on; a fault of the text is a
    RecordedError naming it."""

    def __init__(self, text: str, name: str) -> None:
        self._reader = csv.reader(io.StringIO(text, newline=""), strict=True)
        self._name = name

    def __iter__(self) -> Iterator[tuple[list[str], int]]:
        return self

    def __next__(self) -> tuple[list[str], int]:
        try:
            fields = next(self._reader)
        except csv.Error as error:
            raise RecordedError(
                f"{self._name}:{self._reader.line_num}: is not CSV ({error})"
            ) from error
        return fields, self._reader.line_num


def _text(path: Path) -> str:
    try:
        with path.open("rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise RecordedError(
            f"{path}: cannot be read ({error.strerror or error})"
        ) from error
    except ValueError as error:  # a NUL in the name
        raise RecordedError(f"{str(path)!r}: is no name of a file ({error})") from error
    if len(data) > MOST_BYTES:
        raise RecordedError(
            f"{path}: is larger than {MOST_BYTES // 2**20} MiB: not a recorded sweep"
        )
    if data[:2].decode("latin-1") in MARKS:
        raise RecordedError(f"{path}:1: is 16-bit text; save it as CSV in UTF-8")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise RecordedError(
            f"{path}:{line}: is not text in UTF-8 ({error.reason})"
        ) from error
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise RecordedError(f"{path}:{line}: is not text; it holds a zero byte")
    return text


def _names(header: Sequence[str], name: str, line: int) -> tuple[str, ...]:
    names = tuple(field.strip().lower() for field in header)
    if len(names) == 1:
        for sign, called in ((";", "semicolons"), ("\t", "tabs"), ("|", "bars")):
            if sign in names[0]:
                raise RecordedError(
                    f"{name}:{line}: the columns are parted by {called}; part them by"
                    " commas, with a point in the numbers"
                )
    if not any(names):
        raise RecordedError(f"{name}:{line}: the header row is empty")
    twice = sorted({n for n in names if n and names.count(n) > 1})
    if twice:
        raise RecordedError(
            f"{name}:{line}: the column {_short(twice[0])} is there twice; name each"
            " once"
        )
    if names.count("") > 1:
        raise RecordedError(f"{name}:{line}: {names.count('')} columns have no name")
    return names


def _uneven(fields: Sequence[str], wanted: int) -> str:
    words = f"{len(fields)} fields, the header has {wanted}"
    if len(fields) == 1 and ";" in fields[0]:
        return words + "; part them by commas, not semicolons"
    if len(fields) > wanted and any(
        field.strip().lstrip("+-").isdigit() for field in fields[1:]
    ):
        return words + "; if the numbers have a comma, write a point"
    return words


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")

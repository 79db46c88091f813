"""The number rules that every ASCII profile shares, and the line of profile `plain`.

    + 2.1380, MM        sign, blanks, digits, point, digits, comma or blanks, unit
    +0012.345           no unit: the option default_unit, said in the flags
    -0,125 mm           a decimal comma: there is no point, a digit follows directly
    ERR0                the instrument's own error word -> a status
    -----               three dashes or more alone: no reading
    +1.250>             judged: the instrument's tolerance mark comes last,
                        below < within = above >

A line is read whole or not at all: nothing may be left over, and "the first number in
it" is never searched.
"""

from __future__ import annotations

import re
from typing import NamedTuple

from hw.formats.shared.lengths import to_mm
from hw.reading import Record, Unit

UNIT_OF: dict[str, Unit] = {
    "mm": "mm",
    "MM": "mm",
    "in": "inch",
    "IN": "inch",
    "inch": "inch",
    '"': "inch",
}
JUDGED = {"<": "judge_under", "=": "judge_go", ">": "judge_over"}
UNIT_WORDS = 'mm MM in IN inch "'
ERRORS = {
    "0": "sensor_error",
    "1": "bad_command",
    "2": "parity_error",
    "3": "out_of_range",
}

_WITH_POINT = re.compile(r"([+-]?) *([0-9]*)\.([0-9]+)")
_WITH_COMMA = re.compile(r"([+-]?) *([0-9]*),([0-9]+)")
_WITHOUT = re.compile(r"([+-]?) *([0-9]+)")
_DASHES = re.compile(r"-{3,}")
_ERROR = re.compile(r"ERR([0-9])")


class Fault(Exception):
    """Why a line is rejected, in plain words; the decoder catches it."""


class Number(NamedTuple):
    """A number as it stands in a line: where, and what it says.

    start, end: the first place after the sign, and the place after the last digit.
    separator: the place of the point or comma; -1 when there is none.
    """

    negative: bool
    start: int
    separator: int
    end: int
    digits: int
    decimals: int


class Measure(NamedTuple):
    """A number with its unit."""

    number: Number
    unit: Unit
    flags: tuple[str, ...]

    def mm(self) -> float:
        return to_mm(self.number.digits, self.number.decimals, self.unit == "inch")


def ascii_text(line: bytes, parity: bool = False) -> str:
    """The line as text; Fault for a byte of 0x80 or more, or a control byte.

    parity: bytes whose parity failed have been marked as 0xff.
    """
    for place, byte in enumerate(line):
        if byte >= 0x80 and parity:
            raise Fault(f"wrong parity in byte {place + 1}")
        if byte >= 0x80:
            raise Fault(
                f"byte {place + 1} is 0x{byte:02x}, not ASCII (where many are, try"
                " parity7=even)"
            )
        if byte < 0x20 or byte == 0x7F:
            raise Fault(f"byte {place + 1} is the control byte 0x{byte:02x}")
    return line.decode("ascii")


def find_number(text: str, start: int, decimals: int | None) -> Number:
    """The number that begins at `start`: optional sign, optional blanks, digits, one
    separator, digits.

    A comma is a decimal comma only if the text has no point and a digit follows
    directly. decimals: places of an instrument that sends no separator; None when it
    must send one.
    """
    pattern = _WITH_POINT if "." in text else _WITH_COMMA
    found = pattern.match(text, start)
    if found is None:
        return _find_whole(text, start, decimals)
    sign, whole, fraction = found.groups()
    size = int(whole + fraction)
    digits = -size if sign == "-" else size
    point, places = found.start(3) - 1, len(fraction)
    return Number(sign == "-", found.end(1), point, found.end(), digits, places)


def _find_whole(text: str, start: int, decimals: int | None) -> Number:
    """A number that stands there without a separator."""
    found = _WITHOUT.match(text, start)
    if found is None:
        raise Fault("no number where one should stand")
    rest = text[found.end() :]
    if rest.startswith("."):
        raise Fault("no digit after the point")
    if rest.startswith(",") and "." in rest:
        raise Fault("both a comma and a point: which parts the decimals?")
    if decimals is None:
        raise Fault(
            "a number without a decimal point (decimals=N is for instruments that send"
            " none)"
        )
    sign, size = found[1], int(found[2])
    digits = -size if sign == "-" else size
    return Number(sign == "-", found.end(1), -1, found.end(), digits, decimals)


def find_measure(text: str, decimals: int | None, default_unit: Unit) -> Measure:
    """The whole text as a number with or without its unit; Fault for anything left
    over."""
    number = find_number(text, len(text) - len(text.lstrip(" ")), decimals)
    rest = text[number.end :].strip(" ")
    if not rest:
        return Measure(number, default_unit, ("default_unit",))
    if rest[0] == "," and rest[1:2].isdigit() and "." not in text:
        raise Fault("a second decimal comma")
    if rest[0] == ".":
        raise Fault("a second decimal point")
    field = rest[1:].lstrip(" ") if rest[0] == "," else rest
    unit = UNIT_OF.get(field)
    if unit is None:
        raise Fault(_left_over(rest, field))
    return Measure(number, unit, ())


def _left_over(rest: str, field: str) -> str:
    """Why what follows the number is no unit. field: of it, without its comma."""
    if field[-1:] in JUDGED and field[:-1].rstrip(" ") in ("", *UNIT_OF):
        return (
            f"{field[-1]!r} is left over after the number: a tolerance mark, which"
            " judged=true reads"
        )
    return f"{rest!r} is left over after the number; a unit is one of {UNIT_WORDS}"


def status_word(text: str) -> str | None:
    """What `plain` says in place of a value; None when it is no status word."""
    if _DASHES.fullmatch(text):
        return "no_reading"
    error = _ERROR.fullmatch(text)
    if error is None:
        return None
    if error[1] not in ERRORS:
        raise Fault(f"the unknown error word {text}; known are ERR0 to ERR3")
    return ERRORS[error[1]]


def read_plain(
    text: str, decimals: int | None, default_unit: Unit, judged: bool = False
) -> tuple[Record, Measure | None]:
    """A line of profile `plain` as a record (without raw), and its measure when it
    holds a value.

    judged: a tolerance mark may stand last.
    """
    bare = text.strip(" ")
    if not bare:
        raise Fault("nothing but blanks")
    status = status_word(bare)
    if status is not None:
        return Record(status=status), None
    mark = JUDGED.get(bare[-1]) if judged else None
    number = text.rstrip(" ")[:-1] if mark else text
    measure = find_measure(number, decimals, default_unit)
    if mark:
        measure = measure._replace(flags=(*measure.flags, mark))
    return Record(value=measure.mm(), unit=measure.unit, flags=measure.flags), measure

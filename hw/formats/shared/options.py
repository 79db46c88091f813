"""Options of the formats: their kinds, read from command-line text or typed settings.

The options that several formats have stand at the end.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping, Sequence
from typing import NamedTuple

from hw.reading import FormatError

Reader = Callable[[object], object]
LEAST_TIMEOUT = 0.02  # s; chosen, no source
_WHOLE_TEXT = re.compile(r"\s*-?[0-9]{1,18}\s*")


class FormatOption(NamedTuple):
    """One option of a format.

    default: the value when it is not given, already in its own type (None: not set).
    words: one line for help. read: turns text or a typed value into the option's own
    type; raises ValueError saying what would do.
    """

    name: str
    default: object
    words: str
    read: Reader


def choice(*known: str, also: Mapping[str, str] | None = None) -> Reader:
    """One of `known`; `also` maps further spellings onto them."""
    spellings = {name: name for name in known} | dict(also or {})

    def read(given: object) -> str:
        if isinstance(given, str) and given in spellings:
            return spellings[given]
        raise ValueError("one of " + ", ".join(spellings))

    return read


def boolean(given: object) -> bool:
    """true or false."""
    if isinstance(given, bool):
        return given
    if isinstance(given, str) and given in {"true", "false"}:
        return given == "true"
    raise ValueError("true or false")


def integer(low: int, high: int) -> Reader:
    """A whole number from low to high."""

    def read(given: object) -> int:
        if isinstance(given, str) and _WHOLE_TEXT.fullmatch(given):
            given = int(given)
        if isinstance(given, bool) or not isinstance(given, int):
            given = None
        if given is None or not low <= given <= high:
            raise ValueError(f"a whole number from {low} to {high}")
        return given

    return read


def _real(given: object) -> float:
    """Not a number where it is none, or is not finite."""
    if isinstance(given, str) and ("_" in given or not given.isascii()):
        return math.nan
    if isinstance(given, bool) or not isinstance(given, int | float | str):
        return math.nan
    try:
        number = float(given)
    except (ValueError, OverflowError):
        return math.nan
    return number if math.isfinite(number) else math.nan


def seconds(high: float) -> Reader:
    """A time-out in seconds, at most high."""

    def read(given: object) -> float:
        if not LEAST_TIMEOUT <= (number := _real(given)) <= high:
            raise ValueError(f"seconds, from {LEAST_TIMEOUT:g} to {high:g}")
        return number

    return read


def exact_ratio(given: object) -> tuple[int, int]:
    """A number above zero, at most 1000, as (numerator, denominator), exact to the
    decimal text: "0.001" is (1, 1000)."""
    # a count of 32 bits stays within the range of a float
    if not 0 < _real(given) <= 1000:
        raise ValueError("a number above zero and at most 1000, such as 0.001")
    from fractions import Fraction  # it takes longer to import than all the rest

    return Fraction(str(given).strip()).as_integer_ratio()


def span(given: object) -> tuple[float, float]:
    """LO,HI or [LO, HI], the lower first."""
    parts = given.split(",") if isinstance(given, str) else given
    if isinstance(parts, list | tuple) and len(parts) == 2:
        low, high = map(_real, parts)
        if low <= high:
            return low, high
    raise ValueError("two numbers in mm, the lower first: LO,HI")


def read_all(
    what: str, known: Sequence[FormatOption], given: Mapping[str, object]
) -> dict[str, object]:
    """Every option of `known` with its value or default; FormatError names a wrong key
    or value."""
    by_name = {option.name: option for option in known}
    values = {option.name: option.default for option in known}
    for name, value in given.items():
        option = by_name.get(name)
        if option is None:
            raise FormatError(
                f"{what} has no option {name!r}; it has {', '.join(by_name)}"
            )
        try:
            values[name] = option.read(value)
        except ValueError as error:
            raise FormatError(
                f"option {name} of {what} is {value!r}; it takes {error}"
            ) from None
    return values


RANGE = FormatOption("range_mm", None, "LO,HI: a value outside is rejected", span)
DEFAULT_UNIT = FormatOption(
    "default_unit",
    "mm",
    "unit when the instrument sends none: mm or in",
    choice("mm", "inch", also={"in": "inch"}),
)
DECIMALS = FormatOption(
    "decimals",
    None,
    "places of an instrument that sends no decimal point",
    integer(0, 9),
)

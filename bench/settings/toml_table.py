"""Takes one table of a TOML file apart key by key, and names in one line what is wrong.

Lengths are in mm, angles and slopes in rad, times in s once read.
"""

from __future__ import annotations

import math
import os
import tomllib
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

import msgspec

from bench.gear import MOST_LENGTHS
from bench.settings.paths import SettingsError
from bench.units import System, angle_words, length_words, share_words, slope_words
from bench.units.parsing import (
    UnitsError,
    parse_angle,
    parse_length,
    parse_share,
    parse_slope,
    parse_time,
)

# rad; a tolerance or toe beyond this is a slip of the pen, not a slope of a saw
STEEPEST_RAD = 0.1
LARGEST_FILE_BYTES = 1_000_000  # far more than anybody writes by hand
MOST_TILT_RAD = 0.5  # beyond it no plunger stands on a face
LONGEST_MM = 10_000.0  # nothing on a table saw is longer


class WrittenFigure(msgspec.Struct, frozen=True):
    """One figure as the user wrote it and as it was understood (mm, rad, s or a plain
    ratio)."""

    file: str
    key: str
    text: str
    kind: str  # of `_FIGURE_KINDS`
    value: float | tuple[float, ...]

    def understood(self, system: System) -> str:
        """In words, in the user's own system."""
        values = self.value if isinstance(self.value, tuple) else (self.value,)
        return ", ".join(
            _FIGURE_KINDS[self.kind].words(value, system) for value in values
        )


class _FigureKind(NamedTuple):
    """A kind of figure: how it is read and said, the unit of an example, its range
    (above `low`, up to `high`) and what would do."""

    parse: Callable[[str], float]
    words: Callable[[float, System], str]
    unit: str
    low: float
    high: float
    would_do: str


_BELOW_ZERO = -1e-12  # so that zero itself will do
_FIGURE_KINDS = {
    "length": _FigureKind(
        *(parse_length, length_words, "mm", 0, LONGEST_MM),
        "more than 0 mm and at most 10 m would do",
    ),
    "place": _FigureKind(
        *(parse_length, length_words, "mm", _BELOW_ZERO, LONGEST_MM),
        "0 mm or more and at most 10 m would do",
    ),
    "slope": _FigureKind(
        *(parse_slope, slope_words, "mm per 300 mm", 0, STEEPEST_RAD),
        "more than nothing and at most 100 mm per 1 m would do",
    ),
    "angle": _FigureKind(
        *(parse_angle, lambda value, _: angle_words(value), "deg"),
        *(_BELOW_ZERO, MOST_TILT_RAD),
        f"from 0 deg to {angle_words(MOST_TILT_RAD)} would do",
    ),
    "share": _FigureKind(
        *(parse_share, lambda value, _: share_words(value), "%", _BELOW_ZERO, 0.1),
        "from 0 % to 10 % would do",
    ),
    "time": _FigureKind(
        *(parse_time, lambda value, _: f"{value:g} s", "s", _BELOW_ZERO, math.inf),
        "from 0 s to {high:g} s would do",
    ),
}


def _found(value: object) -> str:
    if value is None:
        return "nothing"
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        return f'"{value}"'
    if isinstance(value, dict):
        return "a table"
    return repr(value)


def is_number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def alternatives(choices: Iterable[str]) -> str:
    names = [f'"{choice}"' for choice in choices]
    return names[0] if len(names) == 1 else ", ".join(names[:-1]) + " or " + names[-1]


class Table:
    """One table of a file: takes keys out one by one; what is left at the end is an
    error."""

    def __init__(
        self, file: str, key: str, values: Any, written: list[WrittenFigure]
    ) -> None:
        self.file, self.key, self.written = file, key, written
        if not isinstance(values, dict):
            raise self.wrong(None, values, f"a table would do, such as [{key}]")
        self.left: dict[str, Any] = dict(values)
        self.known: list[str] = []

    def path(self, key: str | None) -> str:
        if key is None:
            return self.key
        return f"{self.key}.{key}" if self.key else key

    def wrong(self, key: str | None, found: object, would_do: str) -> SettingsError:
        return SettingsError(
            f"{self.file}: {self.path(key)}: found {_found(found)}; {would_do}"
        )

    def take(self, key: str) -> Any:
        self.known.append(key)
        return self.left.pop(key, None)

    def checked(self, key: str, is_right: Callable[[Any], bool], would_do: str) -> Any:
        """The value of a key, which may be absent."""
        value = self.take(key)
        if value is not None and not is_right(value):
            raise self.wrong(key, value, would_do)
        return value

    def text(self, key: str, example: str) -> str | None:
        def is_text(value: object) -> bool:
            return (
                isinstance(value, str) and value.isprintable() and value.strip() != ""
            )

        value: str | None = self.checked(
            key, is_text, f'a text would do, such as "{example}"'
        )
        return value

    def choice(self, key: str, choices: tuple[str, ...]) -> Any:
        would_do = f"{alternatives(choices)} would do"
        return self.checked(key, lambda value: value in choices, would_do)

    def whole(self, key: str, low: int, high: int) -> int | None:
        would_do = f"a whole number from {low} to {high} would do"
        value: int | None = self.checked(
            key, lambda value: type(value) is int and low <= value <= high, would_do
        )
        return value

    def number(self, key: str, low: float, high: float) -> float | None:
        would_do = f"a number from {low:g} to {high:g} would do"
        value = self.checked(
            key, lambda value: is_number(value) and low <= value <= high, would_do
        )
        return None if value is None else float(value)

    def yes_no(self, key: str) -> bool | None:
        value: bool | None = self.checked(
            key, lambda value: isinstance(value, bool), "true or false would do"
        )
        return value

    def _parsed(
        self, key: str, value: object, kind: _FigureKind, high: float | None = None
    ) -> float:
        if is_number(value):
            would_do = f'it needs its unit, in quotes, such as "{value:g} {kind.unit}"'
            raise self.wrong(key, value, would_do)
        if not isinstance(value, str):
            would_do = 'a text with a unit would do, such as "0.05 mm"'
            raise self.wrong(key, value, would_do)
        try:
            number = kind.parse(value)
        except UnitsError as error:
            raise SettingsError(f"{self.file}: {self.path(key)}: {error}") from None
        if not math.isfinite(number):
            raise self.wrong(key, value, "a number of ordinary size would do")
        most = kind.high if high is None else high
        if not kind.low < number <= most:
            raise self.wrong(key, value, kind.would_do.format(high=most))
        return number

    def figure(self, key: str, name: str, high: float | None = None) -> float | None:
        """A figure with its unit. name: of its kind; high: the most, where it is not
        that of the kind."""
        value = self.take(key)
        if value is None:
            return None
        number = self._parsed(key, value, _FIGURE_KINDS[name], high)
        self.written.append(
            WrittenFigure(self.file, self.path(key), value, name, number)
        )
        return number

    def length(self, key: str) -> float | None:
        return self.figure(key, "length")

    def slope(self, key: str) -> float | None:
        return self.figure(key, "slope")

    def time(self, key: str, high: float) -> float | None:
        return self.figure(key, "time", high)

    def lengths(self, key: str, name: str = "length") -> tuple[float, ...] | None:
        """A list of lengths, or of places, which may be nothing."""
        values = self.take(key)
        if values is None:
            return None
        if not isinstance(values, list):
            would_do = 'a list of lengths would do, such as ["0.05 mm", "0.10 mm"]'
            raise self.wrong(key, values, would_do)
        if len(values) > MOST_LENGTHS:
            would_do = f"at most {MOST_LENGTHS} would do"
            raise self.wrong(key, f"{len(values)} lengths", would_do)
        out = tuple(
            self._parsed(f"{key}[{n}]", value, _FIGURE_KINDS[name])
            for n, value in enumerate(values)
        )
        text = f"[{', '.join(values)}]"
        self.written.append(WrittenFigure(self.file, self.path(key), text, name, out))
        return out

    def values(self, readers: Readers) -> dict[str, Any]:
        """The keys that were written, each read as it is declared; the rest keeps its
        type's own default."""
        return without_none(**{key: read(self, key) for key, read in readers.items()})

    def done(self) -> None:
        """Nothing may be left over."""
        for key, value in self.left.items():
            import difflib

            close = difflib.get_close_matches(key, self.known, n=2, cutoff=0.5)
            names = close or sorted(self.known)
            shown = (
                "" if isinstance(value, dict) else f" (with the value {_found(value)})"
            )
            raise SettingsError(
                f"{self.file}: {self.path(key)}: found a key that means nothing"
                f" here{shown}; {alternatives(names)} would do"
            )


# how each key of a table is read
Readers = Mapping[str, Callable[[Table, str], Any]]


def one_of(*choices: str) -> Callable[[Table, str], Any]:
    return lambda table, key: table.choice(key, choices)


def figure(name: str, high: float | None = None) -> Callable[[Table, str], Any]:
    return lambda table, key: table.figure(key, name, high)


def read_toml(path: Path | None) -> dict[str, Any]:
    """The file's contents, empty for an absent one. Raises SettingsError."""
    if path is None:
        return {}
    try:
        # not waiting for whoever would write into a pipe of that name
        with open(
            path, "rb", opener=lambda name, flags: os.open(name, flags | os.O_NONBLOCK)
        ) as file:
            data = file.read(LARGEST_FILE_BYTES + 1)
        if len(data) > LARGEST_FILE_BYTES:
            raise SettingsError(
                f"{path}: more than {LARGEST_FILE_BYTES} bytes; a text file of ordinary"
                " size would do"
            )
        return tomllib.loads(data.decode("utf-8-sig"))
    except FileNotFoundError:
        return {}
    except OSError as error:
        raise SettingsError(
            f"{path}: cannot be read: {error.strerror}; a readable text file would do"
        ) from None
    except UnicodeDecodeError as error:
        raise SettingsError(
            f"{path}: byte {error.start + 1} is not text; a file saved as UTF-8"
            " would do"
        ) from None
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise SettingsError(
            f'{path}: not TOML: {error}; lines such as units = "mm" would do'
        ) from None


def without_none(**values: Any) -> dict[str, Any]:
    """Only what was written; the rest keeps the type's own default."""
    return {key: value for key, value in values.items() if value is not None}

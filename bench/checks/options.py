"""A check's options: declared once, validated where they enter, read as plain values.

The socket, the screen, the command line and `evaluate` all go through `validated`.
Lengths in mm, angles and slopes in rad.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from typing import Any, Literal, Protocol

import msgspec

from bench.units.parsing import UnitsError, parse_angle, parse_length, parse_slope

OptionValue = str | float | int | bool | None
OptionValues = Mapping[str, OptionValue]  # by name, validated

PARSERS = {"angle": parse_angle, "slope": parse_slope}
UNITS = {"length": "mm", "angle": "rad", "slope": "rad"}
STEEPEST = 0.1  # rad, that anything on a saw may lean by; common practice, no source
LONGEST_FOUND = 60  # characters of a wrong value that an error repeats
_WHOLE = re.compile(r"\s*[+-]?[0-9]{1,9}\s*")


class OptionError(ValueError):
    """An option that a check has not, or a value that is none of its values.

    problem: what was found and what would do, to stand behind the option's name.
    """

    def __init__(self, check: str, option: str, problem: str) -> None:
        super().__init__(f"{check}: {option.replace('_', ' ')} {problem}")
        self.check, self.option, self.problem = check, option, problem


class Option(msgspec.Struct, frozen=True):
    """A command-line option, a row of a form and an entry in the log at once.

    low, high: the range, both included, of a number in mm, rad or pieces. needs: the
    option without which this one says nothing; unless: the option beside which it says
    nothing. sweeps: where it is given, passes are swept. recorded: it says how a
    recorded file was taken, and is not asked of a check that is taken now. of_sled: the
    sled's field of this name answers it in every check; it is asked where a sled is
    described, and of a check while its sled says nothing.
    """

    name: str
    kind: Literal["length", "angle", "slope", "count", "choice"]
    words: str
    default: OptionValue = None
    choices: tuple[str, ...] = ()
    low: float | None = None
    high: float | None = None
    needs: str = ""
    unless: str = ""
    sweeps: bool = False
    recorded: bool = False
    of_sled: bool = False

    @property
    def takes(self) -> str:
        """The values that are accepted, in words."""
        if self.kind == "choice":
            return " or ".join(self.choices)
        what = {"count": "a whole number", "angle": "an angle"}.get(
            self.kind, f"a {self.kind}"
        )
        if self.low is None or self.high is None:
            return what
        unit = f" {UNITS[self.kind]}" if self.kind in UNITS else ""
        return f"{what} from {self.low:g} to {self.high:g}{unit}"

    def read(self, given: object, check: str = "") -> OptionValue:
        """The value of what was typed or sent. Raises OptionError."""
        try:
            value = self._value(given)
        except UnitsError as error:
            raise OptionError(
                check, self.name, f"takes {self.takes}: {error}"
            ) from None
        if value is None:
            raise OptionError(
                check, self.name, f"takes {self.takes}, not {_found(given)}"
            )
        return value

    def _value(self, given: object) -> OptionValue:
        """None where it is none of the option's values. Raises UnitsError for a
        text."""
        if self.kind == "choice":
            return given if isinstance(given, str) and given in self.choices else None
        try:
            number = self._number(given)
            if number is None or not math.isfinite(number):
                return None
        except OverflowError:
            return None
        within = (self.low is None or self.low <= number) and (
            self.high is None or number <= self.high
        )
        return number if within else None

    def _number(self, given: object) -> float | None:
        if isinstance(given, bool) or not isinstance(given, str | int | float):
            return None
        if self.kind == "count":
            whole = (
                _WHOLE.fullmatch(given)
                if isinstance(given, str)
                else given == given // 1
            )
            return int(given) if whole else None
        if isinstance(given, str) and self.kind == "length":
            return parse_length(given)
        try:
            # an angle without a unit is in rad, as findings have it
            return float(given)
        except ValueError:
            return PARSERS[self.kind](str(given))


def _found(given: object) -> str:
    try:
        found = repr(given)
    except ValueError:  # a number of thousands of digits
        return "that number"
    return found if len(found) <= LONGEST_FOUND else f"{found[:LONGEST_FOUND]}..."


class HasOptions(Protocol):
    """A check, or what the daemon says of one."""

    @property
    def kind(self) -> str: ...
    @property
    def options(self) -> Sequence[Option]: ...


def validated(
    check: HasOptions, given: Mapping[str, object], *, recorded: bool = False
) -> dict[str, OptionValue]:
    """Plain values of what was given, the declared defaults beside them; null is not
    given. recorded: of a recorded file. Raises OptionError."""
    own = {o.name: o for o in check.options if recorded or not o.recorded}
    values: dict[str, OptionValue] = {
        name: o.default for name, o in own.items() if o.default is not None
    }
    for name, what in given.items():
        if name not in own:
            there = ", ".join(own) or "none"
            raise OptionError(
                check.kind, name, f"is not an option of {check.kind}; it has {there}"
            )
        if what is not None:
            values[name] = own[name].read(what, check.kind)
    return values


def understood(
    check: HasOptions, stored: Mapping[str, object]
) -> tuple[dict[str, OptionValue], list[OptionError]]:
    """The values of options from a log, which an earlier version did not validate, that
    can still be read, and what is wrong with the others. What the check has never asked
    for says nothing."""
    values: dict[str, OptionValue] = {}
    wrong: list[OptionError] = []
    for option in check.options:
        if stored.get(option.name) is not None:
            try:
                values[option.name] = option.read(stored[option.name], check.kind)
            except OptionError as error:
                wrong.append(error)
    return values, wrong


def given_number(options: OptionValues, name: str) -> float | None:
    """The value of a validated length, angle or count; None where it was not given."""
    value = options.get(name)
    return None if value is None else float(value)


def given_text(options: OptionValues, name: str) -> str | None:
    """The value of a validated choice; None where it was not given."""
    return str(options.get(name) or "") or None


def number(options: OptionValues, name: str, default: float) -> float:
    value = given_number(options, name)
    return default if value is None else value


def length(name: str, words: str, within: tuple[float, float], **more: Any) -> Option:
    """within: mm, both included."""
    low, high = within
    return Option(name, "length", words, low=low, high=high, **more)


def angle(name: str, words: str, low: float, **more: Any) -> Option:
    return Option(name, "angle", words, low=low, high=STEEPEST, **more)


def choice(
    name: str,
    words: str,
    choices: Sequence[str],
    default: str | None = None,
    **more: Any,
) -> Option:
    return Option(name, "choice", words, default, tuple(choices), **more)


_WALL = "Against which wall of the slots the sled is held"
HOLD = choice("hold", _WALL, ("left", "right"), of_sled=True)
_STOOD = "How the indicator stood, if not as usual"
MOUNT = choice("mount", _STOOD, ("standing", "carried"), recorded=True)
_SIDE = "On which side of the surface the indicator first stood"
SIDE = choice("side", _SIDE, ("left", "right"), recorded=True)

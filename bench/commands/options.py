"""A check's declared options as options of the command line. May import: click, bench.checks, bench.units."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

from bench.checks import UnknownCheck, checks, find
from bench.checks.model import Check, Option, OptionValue
from bench.commands.common import Complaint
from bench.units import UnitsError, parse_angle, parse_length, parse_slope

F = TypeVar("F", bound=Callable[..., Any])

PLACES = {"front_at", "rear_at"}  # along the travel, either side of its zero
MAY_BE_NONE = {"touch_away", "end_float", "slot_straight", "straightedge", "clearance_least"}
STEEPEST = 0.1  # rad
TAKEN = {"socket", "settings", "log", "json", "jig", "saw", "square", "sweeps", "lean", "tap", "beat"}


def the_check(kind: str) -> Check:
    try:
        return find(kind)
    except UnknownCheck as error:
        raise Complaint(str(error)) from error


def declared(command: F) -> F:
    """Add every option that any check declares, once each by name."""
    names: dict[str, Option] = {}
    of: dict[str, list[str]] = {}
    for check in checks().values():
        for option in check.options:
            if option.name not in TAKEN:
                names.setdefault(option.name, option)
                of.setdefault(option.name, []).append(check.kind)
    for name, option in reversed(names.items()):
        words = f"{option.words} ({', '.join(of[name])})."
        metavar = "|".join(option.choices) if option.kind == "choice" else option.kind.upper()
        command = click.option(f"--{name.replace('_', '-')}", name, metavar=metavar, help=words)(command)
    return command


def read_options(check: Check, given: Mapping[str, Any]) -> dict[str, OptionValue]:
    """What was typed, in mm and rad. Raises Complaint for an option that is not this check's, or a bad value."""
    own = {option.name: option for option in check.options}
    values: dict[str, OptionValue] = {o.name: o.default for o in check.options if o.default is not None}
    for name, text in given.items():
        if text is None:
            continue
        if name not in own:
            raise Complaint(f"--{name.replace('_', '-')} is not an option of {check.kind}")
        values[name] = _value(own[name], str(text))
    return values


def _value(option: Option, text: str) -> OptionValue:
    name = f"--{option.name.replace('_', '-')}"
    try:
        if option.kind == "length":
            return _size(option.name, name, text, parse_length(text))
        if option.kind in ("angle", "slope"):
            try:
                value = float(text)  # rad, as findings have it
            except ValueError:
                value = parse_angle(text) if option.kind == "angle" else parse_slope(text)
            return _turn(option.name, name, text, value)
        if option.kind == "count":
            return int(text)
    except UnitsError as error:
        raise Complaint(f"{name}: {error}") from error
    except ValueError:
        raise Complaint(f"{name} takes a whole number, not {text!r}") from None
    if option.choices and text not in option.choices:
        raise Complaint(f"{name} takes {' or '.join(option.choices)}, not {text!r}")
    return text


def _size(of: str, name: str, text: str, value: float) -> float:
    if of in PLACES or value > 0.0 or (value == 0.0 and of in MAY_BE_NONE):
        return value
    least = "cannot be less than nothing" if of in MAY_BE_NONE else "must be more than nothing"
    raise Complaint(f"{name} {least}, not {text!r}")


def _turn(of: str, name: str, text: str, value: float) -> float:
    """rad. A text such as nan is a number to Python and an answer to nobody."""
    if not abs(value) <= STEEPEST:
        raise Complaint(
            f"{name} takes an angle of at most {STEEPEST:g} rad, not {text!r}: nothing on a saw leans so far"
        )
    if of.endswith("uncertainty") and value < 0.0:
        raise Complaint(f"{name} cannot be less than nothing, not {text!r}")
    return value

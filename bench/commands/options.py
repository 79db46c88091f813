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
            return parse_length(text)
        if option.kind in ("angle", "slope"):
            try:
                return float(text)  # rad, as findings have it
            except ValueError:
                return parse_angle(text) if option.kind == "angle" else parse_slope(text)
        if option.kind == "count":
            return int(text)
    except UnitsError as error:
        raise Complaint(f"{name}: {error}") from error
    except ValueError:
        raise Complaint(f"{name} takes a whole number, not {text!r}") from None
    if option.choices and text not in option.choices:
        raise Complaint(f"{name} takes {' or '.join(option.choices)}, not {text!r}")
    return text

"""A check's declared options as options of the command line, and the shop's air."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

from bench.checks import checks
from bench.checks.model import Check
from bench.checks.options import Option, OptionError, OptionValue, validated
from bench.cli.common import Complaint, complaining
from bench.finding import Climate

F = TypeVar("F", bound=Callable[..., Any])


def gear_options(command: F) -> F:
    """Which of the user's gear is meant."""
    for name, words in (
        ("square", "The square; the only one by default."),
        ("saw", "The saw; the sled's, else the only one."),
        ("jig", "The sled; the only one by default."),
    ):
        command = click.option(f"--{name}", metavar="NAME", help=words)(command)
    return command


def declared(command: F, *, recorded: bool = False) -> F:
    """Add every option that any check declares, once each by name; recorded: those of
    recorded files too."""
    by_name: dict[str, list[tuple[Check, Option]]] = {}
    for check in checks().values():
        for option in check.options:
            if recorded or not option.recorded:
                by_name.setdefault(option.name, []).append((check, option))
    for name, found in reversed(by_name.items()):
        choices = dict.fromkeys(choice for _, each in found for choice in each.choices)
        metavar = "|".join(choices) or found[0][1].kind.upper()
        shape: dict[str, Any] = {"metavar": metavar}
        if len(choices) == 1:  # there is nothing to choose: it is a switch
            shape = {"flag_value": metavar}
        flag = f"--{name.replace('_', '-')}"
        command = click.option(flag, name, help=_help(found), **shape)(command)
    return command


def _help(found: list[tuple[Check, Option]]) -> str:
    kinds: dict[str, list[str]] = {}
    for check, option in found:
        kinds.setdefault(option.words, []).append(check.kind)
    words = (f"{said} ({', '.join(those)})" for said, those in kinds.items())
    return f"{'; '.join(words)}."


def read_options(
    check: Check, given: Mapping[str, Any], *, recorded: bool = False
) -> dict[str, OptionValue]:
    """What was typed, in mm and rad. Raises Complaint for an option that is not this
    check's, or a bad value."""
    try:
        typed = {name: text for name, text in given.items() if text is not None}
        return validated(check, typed, recorded=recorded)
    except OptionError as error:
        option = f"--{error.option.replace('_', '-')}"
        raise Complaint(f"{check.kind}: {option} {error.problem}") from error


_TEMPERATURE = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?) *(?:DEG *|° *)?([CF]?)")


def typed_climate(temperature: str | None, humidity: str | None) -> Climate | None:
    """None where neither was typed. Raises Complaint."""
    from bench.units import UnitsError, parse_share

    if temperature is None and humidity is None:
        return None
    with complaining(UnitsError, words=lambda error: f"--humidity: {error}"):
        share = None if humidity is None else parse_share(humidity)
    return Climate(None if temperature is None else _celsius(temperature), share)


def _celsius(text: str) -> float:
    found = _TEMPERATURE.fullmatch(text.strip().upper())
    if found is None:
        raise Complaint(f'--temperature: {text!r} is none; "21 C" or "70 F" would do')
    number = float(found[1].replace(",", "."))
    return (number - 32) / 1.8 if found[2] == "F" else number

"""A check's declared options as options of the command line, and the shop's air."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any, TypeVar

import click

from bench.checks import checks
from bench.checks.model import Check
from bench.checks.options import Option, OptionError, OptionValue, validated
from bench.cli.common import CommandError, command_errors
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


def check_options(command: F, *, recorded: bool = False) -> F:
    """Add every option that any check declares, once each by name; recorded: those of
    recorded files too."""
    by_name: dict[str, list[Option]] = {}
    for check in checks().values():
        for option in check.options:
            if recorded or not option.recorded:
                by_name.setdefault(option.name, []).append(option)
    for name, found in reversed(by_name.items()):
        choices = dict.fromkeys(choice for each in found for choice in each.choices)
        metavar = "|".join(choices) or found[0].kind.upper()
        shape: dict[str, Any] = {"metavar": metavar}
        if len(choices) == 1:  # there is nothing to choose: it is a switch
            shape = {"flag_value": metavar}
        flag = f"--{name.replace('_', '-')}"
        command = click.option(flag, name, help=found[0].words, **shape)(command)
    return command


class CommandOfKinds(click.Command):
    """A command on a kind of check: its help lists the kinds, and below each the
    options that are for it alone."""

    def format_options(
        self, ctx: click.Context, formatter: click.HelpFormatter
    ) -> None:
        options = [p for p in self.get_params(ctx) if isinstance(p, click.Option)]
        of_kinds = {
            option.name for kind in checks().values() for option in kind.options
        }
        own = [option for option in options if option.name not in of_kinds]
        with formatter.section("Options"):
            formatter.write_dl([o.get_help_record(ctx) or ("", "") for o in own])
        offered = {o.name for o in options}
        for kind in checks().values():
            rows = [
                (_typed(o), f"{o.words}.") for o in kind.options if o.name in offered
            ]
            with formatter.section(f"{kind.question} {kind.kind}"):
                formatter.write_dl(rows or [("", "")])


def _typed(option: Option) -> str:
    choices = option.choices
    metavar = "" if len(choices) == 1 else "|".join(choices) or option.kind.upper()
    return f"--{option.name.replace('_', '-')} {metavar}".strip()


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
        raise CommandError(f"{check.kind}: {option} {error.problem}") from error


_TEMPERATURE = re.compile(r"([+-]?[0-9]+(?:[.,][0-9]+)?) *(?:DEG *|° *)?([CF]?)")


def typed_climate(temperature: str | None, humidity: str | None) -> Climate | None:
    """None where neither was typed. Raises Complaint."""
    from bench.units.parsing import UnitsError, parse_share

    if temperature is None and humidity is None:
        return None
    with command_errors(UnitsError, words=lambda error: f"--humidity: {error}"):
        share = None if humidity is None else parse_share(humidity)
    return Climate(None if temperature is None else _celsius(temperature), share)


def _celsius(text: str) -> float:
    found = _TEMPERATURE.fullmatch(text.strip().upper())
    if found is None:
        raise CommandError(
            f'--temperature: {text!r} is none; "21 C" or "70 F" would do'
        )
    number = float(found[1].replace(",", "."))
    return (number - 32) / 1.8 if found[2] == "F" else number

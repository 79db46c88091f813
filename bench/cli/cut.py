"""`sweepgauge cut`: how square the parts come out; asks the daemon, or reads a log with
--log FILE."""

from __future__ import annotations

from typing import Any

import click

from bench.checks.options import OptionError
from bench.cli.common import CommandError, LogSource, json_option, log_source, tell
from bench.cut.conditions import CUT_OPTIONS, read_conditions
from bench.cut.forecast import GOOD_SHARE
from bench.protocol import CutForecast, Document
from bench.render.cut import forecast_lines, sled_lines


def _sheet_options(command: Any) -> Any:
    """An option for each thing that may be said of the cut."""
    for option in reversed(CUT_OPTIONS):
        metavar = "|".join(option.choices) or option.kind.upper()
        command = click.option(
            f"--{option.name}", metavar=metavar, help=f"{option.words}."
        )(command)
    return command


@click.command()
@log_source
@json_option
@click.option("--jig", metavar="NAME", help="The sled.")
@_sheet_options
def cut(
    source: LogSource, as_json: bool, jig: str | None, **options: str | None
) -> int:
    """How square the parts come out, and what to put right first.
    Exit 1 when less than 95 of 100 parts are good enough.

    Example:  sweepgauge cut --jig big-sled --board "400 mm"
    """
    given = {name: text for name, text in options.items() if text is not None}
    try:
        read_conditions(given, None)
    except OptionError as error:
        raise CommandError(f"cut: --{error.option} {error.problem}") from error
    reply, units = source.ask(CutForecast(jig, given), Document)
    document = reply.document
    lines = sled_lines if "sleds" in document else forecast_lines
    tell(document, lines(document, units), as_json)
    forecasts = document.get("sleds", [document])
    return 1 if any(one["good_share"] < GOOD_SHARE for one in forecasts) else 0

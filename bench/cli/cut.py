"""`sweepgauge cut`: how square the parts come out; asks the daemon, or reads a log with
--log FILE."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from bench.cli.common import Complaint, json_option, request, socket_option
from bench.cut.sheet import OPTIONS

if TYPE_CHECKING:
    from bench.units import System


def _sheet_options(command: Any) -> Any:
    """An option for each thing that may be said of the cut."""
    for option in reversed(OPTIONS):
        metavar = "|".join(option.choices) or option.kind.upper()
        command = click.option(
            f"--{option.name}", metavar=metavar, help=f"{option.words}."
        )(command)
    return command


@click.command()
@socket_option
@click.option(
    "--log",
    "log_path",
    metavar="FILE",
    help="Read this file instead of asking the daemon.",
)
@json_option
@click.option("--jig", metavar="NAME", help="The sled.")
@_sheet_options
def cut(
    socket_path: str | None,
    log_path: str | None,
    as_json: bool,
    jig: str | None,
    **options: str | None,
) -> int:
    """How square the parts come out, with give or take, and what to put right first.
    Exit 1 when less than 95 of 100 parts are good enough.

    Example:  sweepgauge cut --jig big-sled --board "400 mm"
    """
    from bench.cut.forecast import GOOD_SHARE
    from bench.render.cut import forecast_lines, sled_lines

    given = {name: text for name, text in options.items() if text is not None}
    document, units = _forecast(socket_path, log_path, jig, given)
    sleds = document.get("sleds")
    if as_json:
        import msgspec

        click.echo(msgspec.json.encode(document))
    else:
        lines = forecast_lines if sleds is None else sled_lines
        for line in lines(document, units):
            click.echo(line)
    forecasts = [document] if sleds is None else sleds
    return 1 if any(one["good_share"] < GOOD_SHARE for one in forecasts) else 0


def _forecast(
    socket: str | None, log_path: str | None, jig: str | None, given: dict[str, str]
) -> tuple[dict[str, Any], System]:
    if log_path is None:
        from bench.protocol import CutForecast, Document

        reply, units = request(socket, CutForecast(jig, dict(given)), Document)
        return reply.document, units
    import time
    from pathlib import Path

    from bench.checks.options import OptionError
    from bench.log.cut_forecast import cut_forecast
    from bench.log.rows import LogError

    try:
        return cut_forecast(Path(log_path), jig, given, now=time.time()), "mm"
    except LogError as error:
        raise Complaint(str(error)) from error
    except OptionError as error:
        raise Complaint(f"cut: --{error.option} {error.problem}") from error

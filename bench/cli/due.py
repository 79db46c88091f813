"""`sweepgauge due`: what should be checked again, when and why; asks the daemon, or
reads a log with --log FILE."""

from __future__ import annotations

import click

from bench.cli.common import json_option, socket_option
from bench.cli.drift import document_of, told


@click.command()
@socket_option
@click.option(
    "--log",
    "log_path",
    metavar="FILE",
    help="Read this file instead of asking the daemon.",
)
@json_option
@click.option("--at", metavar="DATE", help="Ask for that day; today by default.")
@click.option(
    "--remind",
    is_flag=True,
    help="One line of what is due now, and the lamp blinks: for the daily review.",
)
def due(
    socket_path: str | None,
    log_path: str | None,
    as_json: bool,
    at: str | None,
    remind: bool,
) -> int:
    """What should be checked again, when and why. Exit 1 when something is due now.

    Example:  sweepgauge due --at 2026-03-01
    """
    from bench.cli.common import Complaint
    from bench.protocol import Due
    from bench.upkeep.dates import day_of

    if remind and log_path is not None:
        raise Complaint("--remind asks the daemon, which has the lamp: leave --log out")
    try:
        at is None or day_of(at)
    except ValueError as error:
        raise Complaint(f"--at: {at!r} is no date; 2026-03-01 would do") from error
    document, _ = document_of(
        socket_path,
        log_path,
        Due(at=at, remind=remind),
        lambda upkeep, path: upkeep.due_of_log(path, at),
    )
    if not as_json:
        from bench.render.upkeep import due_lines, reminder

        for line in [reminder(document)] if remind else due_lines(document):
            click.echo(line)
    status = told(document, as_json)
    return 1 if any(row["state"] == "now" for row in document["due"]) else status

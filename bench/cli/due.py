"""`sweepgauge due`: what should be checked again, when and why; asks the daemon, or
reads a log with --log FILE."""

from __future__ import annotations

import click

from bench.cli.common import Complaint, LogSource, echo_lines, json_option, whose_log
from bench.cli.drift import told


@click.command()
@whose_log
@json_option
@click.option("--at", metavar="DATE", help="Ask for that day; today by default.")
@click.option(
    "--remind",
    is_flag=True,
    help="One line of what is due now, and the lamp blinks: for the daily review.",
)
def due(source: LogSource, as_json: bool, at: str | None, remind: bool) -> int:
    """What should be checked again, when and why. Exit 1 when something is due now.

    Example:  sweepgauge due --at 2026-03-01
    """
    from bench.protocol import Document, Due

    if remind and source.file is not None:
        raise Complaint("--remind asks the daemon, which has the lamp: leave --log out")
    document = source.ask(Due(at=at, remind=remind), Document)[0].document
    if not as_json:
        from bench.render.upkeep import due_lines, reminder

        echo_lines([reminder(document)] if remind else due_lines(document))
    status = told(document, as_json)
    return 1 if any(row["state"] == "now" for row in document["due"]) else status

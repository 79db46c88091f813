"""`sweepgauge drift` and `due`: has what was squared stayed so, and what should be
checked again."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import click
import msgspec

from bench.cli.common import (
    CommandError,
    LogSource,
    check_filter,
    jig_filter,
    json_option,
    log_source,
    tell,
    tell_unread,
)
from bench.cli.log import refuse_unknown_kind
from bench.finding import UnreadableRecord
from bench.protocol import Document, Drift, Due, LogList, LogRows
from bench.render.result import dangers
from bench.render.upkeep import drift_lines, due_lines, reminder

DANGER_RESULTS = 100  # of the latest ones, among which a danger is looked for


@click.command()
@log_source
@json_option
@jig_filter
@check_filter
def drift(source: LogSource, as_json: bool, jig: str | None, kind: str | None) -> int:
    """How results have changed without a move, and when to look again. Exit 1 when one
    has.

    Example:  sweepgauge drift --jig big-sled
    """
    refuse_unknown_kind(kind)
    reply, units = source.ask(Drift(jig=jig, check=kind), Document)
    document = reply.document
    alarm = any(series["alarm"] for series in document["series"])
    return _answer(document, drift_lines(document, units), as_json, alarm)


@click.command()
@log_source
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
    if remind and source.file is not None:
        raise CommandError(
            "--remind asks the daemon, which has the lamp: leave --log out"
        )
    document = source.ask(Due(at=at, remind=remind), Document)[0].document
    lines = [reminder(document)] if remind else due_lines(document)
    if not as_json:
        rows, units = source.ask(LogList(most=DANGER_RESULTS), LogRows)
        lines = [*dangers(rows.findings, units), *lines]
    now = any(row["state"] == "now" for row in document["due"])
    return _answer(document, lines, as_json, now)


def _answer(
    document: dict[str, Any], lines: Iterable[str], as_json: bool, bad: bool
) -> int:
    """Tell it, and what could not be read; the exit status."""
    tell(document, lines, as_json)
    return (
        tell_unread(msgspec.convert(document["unread"], list[UnreadableRecord])) or bad
    )

"""`sweepgauge report`: one page that prints, or the card for the wall by the saw; asks
the daemon, or reads a log and the settings."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

import click
import msgspec

from bench.cli.common import (
    CommandError,
    LogSource,
    command_errors,
    jig_filter,
    load_settings,
    log_source,
    paths,
    say,
    settings_option,
)
from bench.cli.log import list_results
from bench.protocol import Document, LogRows, ReportParts
from bench.render.finding import unread_words
from bench.render.report.page import card_html, report_html
from bench.render.report.source import ReportSource
from bench.units import System

MOST_REPORTED = 10_000  # results; more than ten years of daily checks


@click.command()
@log_source
@settings_option
@jig_filter
@click.option("--out", metavar="FILE.html", help="Write here, not to standard output.")
@click.option("--card", is_flag=True, help="The small card for the wall by the saw.")
def report(
    settings_path: str | None,
    out: str | None,
    card: bool,
    source: LogSource,
    jig: str | None,
) -> int:
    """Results, moves and charts as one page that prints. Or the card for the wall.

    One HTML file that stands alone: open it in any browser and print it from there.

    Example:  sweepgauge report --jig big-sled --out big-sled.html
    """
    parts, units = report_source(source, settings_path, jig)
    html = (card_html if card else report_html)(parts, units)
    if out is None:
        click.echo(html)
    else:
        with command_errors(
            OSError, words=lambda error: f"{out} cannot be written: {error.strerror}"
        ):
            Path(out).write_text(html, encoding="utf-8")
        say(f"The {'card' if card else 'report'} is in {out}.")
    for words in parts.left_out:
        say(words)
    return 1 if parts.left_out else 0


def report_source(
    source: LogSource, settings_path: str | None, jig: str | None
) -> tuple[ReportSource, System]:
    """In the units of the daemon, or else of the settings. Raises Complaint."""
    rows, _ = list_results(source, jig, None, MOST_REPORTED)
    settings = None
    if source.file is not None:
        settings = load_settings(paths(settings=settings_path, log=source.file))
    parts, units = source.ask(ReportParts(), Document, settings)
    found = _source(rows, dict(parts.document), jig)
    if jig is not None and not found.subjects():
        raise CommandError(f"nothing was measured with a sled called {jig!r} yet")
    return found, units


def _source(rows: LogRows, document: dict[str, Any], jig: str | None) -> ReportSource:
    gone = set(rows.superseded)
    for name, part in (("drift", "series"), ("due", "due")) if jig is not None else ():
        those = [row for row in document[name][part] if row["jig"] == jig]
        document[name] = {**document[name], part: those}
    today = datetime.now().astimezone().date().isoformat()
    return msgspec.structs.replace(
        msgspec.convert({**document, "at": today, "findings": []}, ReportSource),
        findings=[one for one in rows.findings if one.id not in gone],
        moves=rows.moves,
        distances=rows.distances,
        left_out=[unread_words(rows.unread)] if rows.unread else [],
    )

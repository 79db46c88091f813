"""`sweepgauge report`: one page that prints, or the card for the wall by the saw."""

from __future__ import annotations

from pathlib import Path

import click

from bench.cli.common import (
    Complaint,
    LogSource,
    only_jig_option,
    say,
    settings_option,
    whose_log,
)


@click.command()
@whose_log
@settings_option
@only_jig_option
@click.option("--out", metavar="FILE.html", help="Write here, not to standard output.")
@click.option("--card", is_flag=True, help="The small card for the wall by the saw.")
def report(
    source: LogSource,
    settings_path: str | None,
    jig: str | None,
    out: str | None,
    card: bool,
) -> int:
    """Results, moves and charts as one page that prints. Or the card for the wall.

    One HTML file that stands alone: open it in any browser and print it from there.

    Example:  sweepgauge report --jig big-sled --out big-sled.html
    """
    from bench.cli.report_source import report_source
    from bench.render.report.page import card_html, report_html

    parts, units = report_source(source, settings_path, jig)
    html = (card_html if card else report_html)(parts, units)
    if out is None:
        click.echo(html)
    else:
        try:
            Path(out).write_text(html, encoding="utf-8")
        except OSError as error:
            raise Complaint(f"{out} cannot be written: {error.strerror}") from error
        say(f"The {'card' if card else 'report'} is in {out}.")
    for words in parts.left_out:
        say(words)
    return 1 if parts.left_out else 0

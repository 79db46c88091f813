"""One series of the drift document: its chart, and sentences beside it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from bench.checks import checks
from bench.render.names import quantity_name, spaced, upper_first
from bench.render.report.chart import chart
from bench.render.report.figures import Scale
from bench.render.report.sentences import report_text
from bench.render.report.source import ReportSource
from bench.render.template import in_a_row
from bench.render.upkeep import drift_lines, series_ways
from bench.units import System

Document = Mapping[str, Any]


def chart_views(
    source: ReportSource, jig: str | None, saw: str | None, units: System
) -> Iterator[dict[str, Any]]:
    """One for each series that has a result, those of a verdict first."""
    rows = source.rows("drift", jig, saw)
    for row in sorted(rows, key=lambda row: row["tolerance"] is None):
        if any(period["results"] for period in row["baselines"]):
            yield _view(source, row, units)


def _view(source: ReportSource, row: Document, units: System) -> dict[str, Any]:
    """title, description: for whoever cannot see the chart. alarm: something has to be
    answered. lines: what there is to say, as the command says it."""
    results = [one for period in row["baselines"] for one in period["results"]]
    largest = max(abs(one["value"]) + one["uncertainty"] for one in results)
    board = source.board(row["check"], row["jig"])
    scale = Scale.of(row["unit"], units, board, max(largest, row["tolerance"] or 0.0))
    ways = series_ways(row)
    subject = row["jig"] or row["saw"] or "the saw"
    known = checks().get(row["check"])
    what = spaced(row["check"])
    if known is not None and row["quantity"] != known.quantities[0]:
        what = f"{quantity_name(row['quantity'])} ({what})"
    title = upper_first(report_text("chart-title", what=what, subject=subject))
    return dict(
        id=f"{row['check']}-{row['quantity']}",
        title=title,
        description=" ".join(_description(row, results, scale, ways)),
        chart=chart(row, scale, ways),
        alarm=row["alarm"],
        lines=[*drift_lines({"series": [row], "left_out": []}, units)],
    )


def _sided(value: float, size: str, ways: tuple[str, str]) -> str:
    way = ways[0] if value > 0 else ways[1]
    return f"{way}, {size}" if way else size


def _description(
    row: Document,
    results: list[Document],
    scale: Scale,
    ways: tuple[str, str],
) -> Iterator[str]:
    first, last = results[0], results[-1]
    if len(results) == 1:
        yield report_text("chart-one", first=first["at"][:10])
    else:
        span = {"first": first["at"][:10], "last": last["at"][:10]}
        yield report_text("chart-results", count=len(results), **span)
    value = abs(last["value"]) if ways[0] else last["value"]
    latest = scale.give_or_take(value, last["uncertainty"])
    yield report_text("chart-latest", latest=_sided(last["value"], latest, ways))
    if row["tolerance"] is not None:
        yield report_text("chart-limit", limit=scale.size(row["tolerance"]))
    events = [
        f"{report_text('event-' + period['reason'])} {period['from']}"
        for period in row["baselines"][1:]
    ]
    if events:
        yield report_text("chart-events", events=in_a_row(events))
    if row["season"] is not None and row["season"]["kept"]:
        yield report_text("chart-season")
    if alarms := sum(one["alarm"] is not None for one in results):
        yield report_text("chart-alarms", count=alarms)

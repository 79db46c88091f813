"""The report and the card as HTML, from templates that escape whatever they show."""

from __future__ import annotations

import shlex
from collections.abc import Iterator, Sequence
from functools import cache
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined

from bench.checks import checks
from bench.checks.shared.cautions import COUNT_OFF, MANUAL, UNPLUG
from bench.finding import Finding
from bench.render.names import spaced, upper_first
from bench.render.report.section import (
    SIGNS,
    View,
    due_view,
    latest_of_each,
    section,
)
from bench.render.report.sentences import report_text
from bench.render.report.source import Document, ReportSource
from bench.render.result import (
    danger,
    dangers,
    judged,
    limit,
    short_sentence,
    verdict_words,
)
from bench.render.upkeep import left_out_lines
from bench.units import System

ORDER = ("now", "never-checked", "soon", "later")


@cache
def _templates() -> Environment:
    return Environment(
        loader=PackageLoader("bench.render.report"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )


def report_html(source: ReportSource, units: System) -> str:
    subjects = source.subjects()
    sections = [
        section(source, number, jig, saw, units)
        for number, (jig, saw) in enumerate(subjects, 1)
    ]
    due: Sequence[Document] = source.due.get("due", ())
    rows = sorted(due, key=lambda row: (ORDER.index(row["state"]), row["by"]))
    return _page(
        "report.html",
        title="Sleds and saws" if len(sections) != 1 else sections[0]["title"],
        source=source,
        dangers=[*dangers(source.findings, units)],
        left_out=[*source.left_out, *left_out_lines(source.drift)],
        due=[due_view(row) for row in rows],
        sections=sections,
        always=[UNPLUG.words, COUNT_OFF.words, MANUAL.words],
    )


def card_html(source: ReportSource, units: System) -> str:
    cards = [*_cards(source, units)]
    return _page(
        "card.html",
        title="Cards for the wall" if len(cards) != 1 else f"Sled {cards[0]['jig']}",
        source=source,
        cards=cards,
        always=[UNPLUG.words, COUNT_OFF.words, MANUAL.words],
    )


def _page(template: str, **values: Any) -> str:
    return _templates().get_template(template).render(values)


def _cards(source: ReportSource, units: System) -> Iterator[View]:
    """The cards that hang by the saw: one for each sled."""
    jigs = [jig for jig, _ in source.subjects() if jig is not None]
    for number, jig in enumerate(jigs, 1):
        last = _of_fence(source.of(jig, None))
        rows = source.rows("due", jig, None)
        first = min(rows, key=lambda row: str(row["by"]), default=None)
        coming = None if first is None else due_view(first)
        of_fence = last is not None and checks()[last.check].turns_fence
        check = last.check if last is not None and of_fence else _of_fences()
        yield dict(
            id=f"card-{number}",
            jig=jig,
            limit=_limit(source, last, units),
            quick=any(option.name == "quick" for option in checks()[check].options),
            sign="" if last is None else SIGNS[last.verdict],
            kind="measured" if last is None else last.verdict or "measured",
            last=report_text("card-none")
            if last is None
            else _last(source, last, units),
            last_of="" if last is None else f"{spaced(last.check)}, {last.at[:10]}",
            next=_next(coming),
            why="" if coming is None else coming["why"],
            command=f"sweepgauge check {check} --jig {shlex.quote(jig)}",
        )


def _of_fences() -> str:
    """The check that a sled fence without any result is due for."""
    return next(kind for kind, check in checks().items() if check.turns_fence)


def _of_fence(findings: list[Finding]) -> Finding | None:
    """The newest that judges the sled fence, else the newest of the first check."""
    known = checks()
    for one in findings:
        if one.check in known and known[one.check].turns_fence and not one.doubts:
            return one
    latest = latest_of_each(findings)
    return latest[0] if latest else None


def _limit(source: ReportSource, last: Finding | None, units: System) -> str:
    if last is None:
        return ""
    return limit(judged(last), units, source.board(last.check, last.jig))


def _last(source: ReportSource, last: Finding, units: System) -> str:
    board = source.board(last.check, last.jig)
    words = short_sentence(last, units, board)
    if last.verdict == "inside" or danger(last, units) is not None:
        return words
    return f"{upper_first(verdict_words(last.verdict))}. {words}"


def _next(coming: View | None) -> str:
    if coming is None:
        return report_text("card-no-date")
    return report_text("card-next", when=coming["when"])

"""One sled, or one saw, as a report shows it: what is, what was done, what is due."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from bench.checks import checks
from bench.checks.model import EvidenceGear
from bench.finding import Finding, Verdict
from bench.render.cut import forecast_lines
from bench.render.finding import shown_way, size
from bench.render.names import part_name, spaced, upper_first
from bench.render.remarks import remark_words
from bench.render.report.drift_view import chart_views
from bench.render.report.sentences import report_text
from bench.render.report.source import Document, ReportSource
from bench.render.result import (
    LEAST_SHARE,
    danger_remark,
    headline,
    judged,
    move_distance,
    next_act,
    part_size,
    verdict_words,
)
from bench.render.upkeep import why_words
from bench.units import (
    System,
    give_or_take,
    length_words,
    nominal_words,
    slope_words,
)

View = dict[str, Any]  # what a template shows, by its names
MOST_ROWS = 40  # in the table of one section; the others are counted
MOST_MOVES = 20
ACT_VERDICTS = ("outside", "cannot-tell")  # after these there is something to do
SIGNS: dict[Verdict | None, str] = {
    "inside": "✓",
    "outside": "✗",
    "cannot-tell": "?",
    None: "·",
}


def section(
    source: ReportSource, number: int, jig: str | None, saw: str | None, units: System
) -> View:
    """states: the latest result of each check, with what may make it wrong."""
    findings = source.of(jig, saw)
    latest = latest_of_each(findings)
    subject = jig or saw or "the saw"
    limiting = next((one for one in latest if one.budget), None)
    gear = source.gear.get(subject)
    return dict(
        id=f"section-{number}",
        title=upper_first(f"sled {jig}" if jig else f"saw {saw}" if saw else "the saw"),
        states=[_state(source, one, units) for one in latest],
        due=[due_view(row) for row in source.rows("due", jig, saw)],
        charts=[*chart_views(source, jig, saw, units)],
        results_title=_results_title(source, findings, units),
        results=[_row(source, one, units) for one in findings[:MOST_ROWS]],
        moves=[*_moves(source, findings, units)][:MOST_MOVES],
        budget_title="" if limiting is None else _budget_title(limiting, subject),
        budget=[] if limiting is None else [*_budget(source, limiting, units)],
        cut=cut_lines(source.cuts.get(jig or ""), units),
        gear=[] if gear is None else [*_gear(gear, units)],
        cautions=_cautions(latest),
    )


def latest_of_each(findings: list[Finding]) -> list[Finding]:
    """The newest of each check, in the order in which checks are listed; those that
    contradict themselves too, for they have no verdict."""
    newest: dict[str, Finding] = {}
    for one in findings:
        newest.setdefault(one.check, one)
    known = checks()
    return sorted(
        newest.values(),
        key=lambda one: known[one.check].rank if one.check in known else 1000,
    )


def _state(source: ReportSource, one: Finding, units: System) -> View:
    """kind: of the verdict, for its colour. act: what to do now. notes: what may make
    the answer wrong, or forbids one."""
    moved = source.moves.get(one.id) in ("made", "verified")
    return dict(
        check=upper_first(spaced(one.check)),
        at=one.at[:10],
        verdict=verdict_words(one.verdict),
        sign=SIGNS[one.verdict],
        kind=one.verdict or "measured",
        headline=headline(one, units, source.board(one.check, one.jig)),
        act=next_act(one, units) if one.verdict in ACT_VERDICTS and not moved else "",
        notes=[
            remark_words(remark, units)
            for remark in (*one.doubts, *one.remarks)
            if remark.severity in ("doubt", "warning")
            and remark is not danger_remark(one)
        ],
    )


def due_view(row: Document) -> View:
    return dict(
        subject=row["jig"] or row["saw"] or "the saw",
        check=spaced(row["check"]),
        state=row["state"],
        when=report_text(f"due-{row['state']}", by=row["by"]),
        why=f"{upper_first(why_words(row))}." * (row["state"] != "never-checked"),
    )


def _results_title(source: ReportSource, findings: list[Finding], units: System) -> str:
    boards = {source.board(one.check, one.jig) for one in findings} - {None}
    words = report_text("results")
    if boards:
        board = " or ".join(nominal_words(mm or 0.0, units) for mm in boards)
        words = report_text("results-board", board=board)
    older = len(findings) - MOST_ROWS
    return f"{words} {report_text('older', count=older)}" if older > 0 else words


def _row(source: ReportSource, one: Finding, units: System) -> View:
    q = judged(one)
    board = source.board(one.check, one.jig)
    if q.unit == "rad" and board is not None:
        much = give_or_take(abs(q.value) * board, q.uncertainty * board, units)
    else:
        much = size(q, units, None)
    return dict(
        at=one.at[:10],
        check=spaced(one.check),
        way=shown_way(q),
        size=much,
        verdict=verdict_words(one.verdict),
        sign=SIGNS[one.verdict],
        kind=one.verdict or "measured",
    )


def _moves(
    source: ReportSource, findings: list[Finding], units: System
) -> Iterator[View]:
    for one in findings:
        became = source.moves.get(one.id)
        if one.move is None or became is None:
            continue
        advised = {
            "end": one.move.end,
            "way": one.move.way,
            "distance": move_distance(one.move, units),
        }
        far = source.distances.get(one.id)
        if far is None and became != "planned":
            words = report_text(f"move-{became}-unknown")
        else:
            distance = "" if far is None else length_words(far, units)
            words = report_text(f"move-{became}", distance=distance)
        move = upper_first(report_text("move", **advised))
        yield dict(at=one.at[:10], advised=move, became=words)


def _budget_title(one: Finding, subject: str) -> str:
    return report_text(
        "budget", at=one.at[:10], subject=subject, check=spaced(one.check)
    )


def _budget(source: ReportSource, one: Finding, units: System) -> Iterator[View]:
    board = source.board(one.check, one.jig)
    unit = one.quantities[0].unit  # a budget is that of the first quantity
    rows = [row for row in one.budget if row.share >= LEAST_SHARE]
    for row in sorted(rows, key=lambda row: row.share, reverse=True):
        much = part_size(row.standard_uncertainty, unit, units, board)
        part = upper_first(part_name(row.part))
        yield dict(part=part, size=much, share=round(100 * row.share))


def cut_lines(document: Document | None, units: System) -> list[str]:
    """The forecast of the cut in its own words."""
    if document is None:
        return []
    lines = forecast_lines({**document, "jig": None}, units)
    return [line.strip() for line in lines if line]


def _gear(gear: EvidenceGear, units: System) -> Iterator[tuple[str, str]]:
    jig, square = gear.jig, gear.square
    if jig is not None:
        yield report_text("gear-fence"), report_text(f"gear-fence-{jig.fence}")
        yield (
            report_text("gear-pivot"),
            report_text("gear-pivot-at", pivot=jig.pivot),
        )
        lengths = {
            "gear-pivot-blade": jig.pivot_to_blade,
            "gear-pivot-screw": jig.pivot_to_screw,
            "gear-pivot-stop": jig.pivot_to_stop,
            "gear-board": jig.widest_board,
        }
        for code, mm in lengths.items():
            if mm is not None:
                yield report_text(code), nominal_words(mm, units)
        yield report_text("gear-tolerance"), slope_words(jig.tolerance, units)
    if gear.saw is not None:
        yield report_text("gear-saw"), gear.saw.name
    if square is not None:
        yield report_text("gear-square"), square.name
    if gear.indicator.resolution is not None:
        mm = gear.indicator.resolution
        yield report_text("gear-resolution"), length_words(mm, units)
    if gear.leaves:
        leaves = ", ".join(length_words(leaf, units) for leaf in gear.leaves)
        yield report_text("gear-leaves"), leaves


def _cautions(latest: list[Finding]) -> list[str]:
    """Of the checks that were taken, each once."""
    known = checks()
    words = [
        caution.words
        for one in latest
        if one.check in known
        for caution in known[one.check].cautions
    ]
    return list(dict.fromkeys(words))

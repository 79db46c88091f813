"""A whole result as the command line prints it, a line each."""

from __future__ import annotations

from bench.finding import Finding
from bench.render.finding import NO_VERDICT, VERDICTS, quantity_words, settle_words
from bench.render.names import part_name, spaced, upper_first
from bench.render.remarks import leading_remark, move_words, notes_of, remark_words
from bench.render.result import (
    THROWN_BACK,
    act_remark,
    danger,
    danger_remark,
    is_exact_zero,
    next_act,
    short_sentence,
)
from bench.units import System


def result_lines(
    finding: Finding, units: System, board: float | None = None
) -> list[str]:
    """The whole result for the command line: a danger first, then all that is known."""
    shown = [danger_remark(finding), leading_remark(finding), act_remark(finding)]
    lines = [remark_words(said, units) for said in shown[1:2] if said is not None]
    if finding.quantities:
        if (warning := danger(finding, units)) is not None:
            lines = [warning, THROWN_BACK, *lines]
        elif finding.verdict == "inside":
            lines.append(short_sentence(finding, units, board))
    verdict = VERDICTS.get(finding.verdict or "", NO_VERDICT)
    of = upper_first(spaced(finding.check)) + f" of {finding.jig}" * bool(finding.jig)
    open_ = finding.verdict == "cannot-tell"
    settled = f" {settle_words(finding, units)}" if open_ else ""
    lines.append(f"{of}: {verdict}.{settled}")
    lines += [
        f"  {quantity_words(q, units, None if place else board)}"
        for place, q in enumerate(finding.quantities)
        if not is_exact_zero(q)
    ]
    if act := _act_line(finding, units):
        lines.append(f"  {act}")
    if finding.budget:
        top = finding.budget[0]
        part, share = part_name(top.part), f"{top.share:.0%}"
        lines.append(f"  What limits this answer most: {part} ({share} of it).")
    notes = notes_of(finding, units, but=shown)
    return [*lines, *(f"  Note: {note}" for note in notes)]


def _act_line(finding: Finding, units: System) -> str:
    """The act, the whole move in its steps; empty where nothing is to be done."""
    if finding.proposed is not None:
        return move_words(finding.proposed, units)
    if finding.verdict == "outside" or act_remark(finding) is not None:
        return next_act(finding, units)
    if finding.verdict != "inside":
        return ""
    out = any(q.verdict == "outside" for q in finding.quantities)
    return "" if out else "Stop: nothing to move."

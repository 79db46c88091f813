"""Do the test board and the sweep say the same, and if not, why most likely?

Pure. Rotations in rad, counter-clockwise positive; uncertainties are expanded.
"""

from __future__ import annotations

import math

import msgspec

from bench.checks.model import Evidence, SweepHistory
from bench.checks.options import given_number
from bench.finding import Comparison, Remark, RemarkValue, note, warning
from bench.uncertainty import agreement

LIKELY_TURNS = 6  # more turns nobody makes
MOST_CAUSES = 4  # that are named


class Agreement(msgspec.Struct, frozen=True):
    """e_n: without sign. causes: the likeliest first; empty where they agree."""

    e_n: float
    agree: bool
    causes: tuple[Remark, ...]


def compare(
    board: float,
    board_expanded: float,
    sweep: float,
    sweep_expanded: float,
    turns: int = 4,
) -> Agreement:
    """The board's rotation beside the sweep's, for the same width of board.

    E_n = |a1 - a2| / sqrt(U1^2 + U2^2), agreed while it is not above 1 (ISO 13528:2022,
    9.7). A slip that would make the two agree is named before what can always be: the
    order is that of how well it explains them.
    """
    e_n = agreement(board, board_expanded, sweep, sweep_expanded)
    if e_n <= 1.0:
        return Agreement(e_n, True, ())
    causes: list[tuple[float, Remark]] = []
    both = math.hypot(board_expanded, sweep_expanded)
    if abs(board + sweep) <= both < 2 * abs(sweep):
        causes.append((abs(board + sweep), note("cause-ends-mixed")))
    for other in range(1, LIKELY_TURNS + 1):
        told = board * turns / other
        if other != turns and abs(told - sweep) <= both < 2 * abs(sweep):
            how_well = abs(told - sweep) + 0.1 * both * abs(other - turns)
            causes.append((how_well, note("cause-turns", turns=other, said=turns)))
    named = [cause for _, cause in sorted(causes, key=lambda pair: pair[0])]
    named += [
        note("cause-wall"),
        note("cause-bow"),
        note("cause-chip"),
        note("cause-cut"),
        note("cause-moved"),
        note("cause-square"),
    ]
    return Agreement(e_n, False, tuple(named))


def agreement_remarks(found: Agreement, day: str = "") -> list[Remark]:
    """Whether they agree; where not, the likeliest causes in order. day: of the passes,
    as ISO 8601, empty where they have none."""
    values: dict[str, RemarkValue] = {"dated": float(bool(day)), "day": day}
    if found.agree:
        return [note("agrees-with-passes", **values)]
    differs = warning("differs-from-passes", **values)
    return [differs, *found.causes[:MOST_CAUSES]]


def beside_passes(
    evidence: Evidence, a: float, expanded: float, turns: int
) -> tuple[list[Remark], Comparison | None]:
    """Beside the passes that were named, else beside the latest in the log; what is
    said of it comes first."""
    sweep = passes_beside(evidence)
    if sweep is None:
        return [], None
    found = compare(a, expanded, sweep.fence, sweep.expanded, turns)
    remarks = agreement_remarks(found, sweep.at[:10])
    options = evidence.options
    if "sweep_fence" in options and "sweep_fence_uncertainty" not in options:
        remarks.append(note("pass-exact"))
    comparison = Comparison(
        at=sweep.at or None,
        value=sweep.fence,
        uncertainty=sweep.expanded,
        e_n=found.e_n if math.isfinite(found.e_n) else None,
        agrees=found.agree,
    )
    return remarks, comparison


def passes_beside(evidence: Evidence) -> SweepHistory | None:
    named = given_number(evidence.options, "sweep_fence")
    if named is None:
        return evidence.known.sweep
    return SweepHistory(
        named, given_number(evidence.options, "sweep_fence_uncertainty") or 0.0
    )

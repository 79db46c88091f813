"""What a test board is held against: the passes of the log, and the scatter of cuts.

Pure. Rotations in rad, counter-clockwise positive; uncertainties are expanded.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from bench.checks.model import Evidence, SweepHistory
from bench.checks.options import given_number
from bench.checks.shared.results import wall_of
from bench.finding import Comparison, Remark, RemarkValue, note, warning
from bench.uncertainty import Combined, Part, agreement, combine
from bench.uncertainty.budget import SEAT

LIKELY_TURNS = 6  # more turns nobody makes
MOST_CAUSES = 4  # that are named
Source = Literal["given", "log", "held", "play", "usual"]
# rad, standard deviation of one cut: with the sled held against one wall (seating and
# hold), and where nothing at all is known; common practice, no source
HELD_CUT, FREE_CUT = 60e-6, 100e-6
# rad, a sled that is held and a board that is seated with care: what measuring may
# show; found by simulation of sleds, no source
CAREFUL_CUT = 30e-6
ROW = "scatter of the cuts"


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


class CutScatter(msgspec.Struct, frozen=True):
    """of_one_cut: standard deviation, rad. degrees_of_freedom: None where it was only
    stated."""

    of_one_cut: float
    degrees_of_freedom: float | None
    source: Source
    passes: int = 0  # of the log that it rests on

    def row(self, turns: int, of_one_cut: float | None = None) -> Part:
        """The budget's row of a board that was turned so often."""
        each = self.of_one_cut if of_one_cut is None else of_one_cut
        seen = self.degrees_of_freedom
        kind: Literal["A", "B"] = "B" if seen is None else "A"
        return Part(ROW, kind, each / math.sqrt(turns), seen)


def cut_scatter(evidence: Evidence) -> CutScatter:
    """As said; else as the passes of this sled scatter in the log, under the same hold;
    else what hold or play leave open.

    A cut is made as a pass is: the sled is held anew and pushed along the same slots.
    """
    known, held = evidence.known, wall_of(evidence) is not None
    given = given_number(evidence.options, "cut_scatter")
    if given is not None:
        return CutScatter(given, None, "given")
    if known.passes is not None and known.passes.degrees_of_freedom > 0:
        pool = known.passes
        deviation = math.sqrt(pool.variance)
        return CutScatter(deviation, pool.degrees_of_freedom, "log", pool.passes)
    if held:
        return CutScatter(HELD_CUT, None, "held")
    seat = known.seat_scatter if known.seat_scatter is not None else SEAT
    if known.yaw_play is not None:
        return CutScatter(math.hypot(known.yaw_play / 12**0.5, seat), None, "play")
    return CutScatter(math.hypot(FREE_CUT, seat), None, "usual")


def of_cuts(
    cuts: CutScatter, turns: int, rows: Sequence[Part], combined: Combined
) -> list[Remark]:
    """What the scatter of the cuts rests on; where nothing is known, what knowing it
    would gain."""
    if cuts.source == "log":
        return [note("cuts-as-passes", scatter=cuts.of_one_cut, passes=cuts.passes)]
    if cuts.source == "play" and cuts.of_one_cut > CAREFUL_CUT:
        return [note("cuts-in-the-play")]
    if cuts.source not in ("held", "usual"):
        return []
    rest = [row for row in rows if row.name != ROW]
    careful = combine([cuts.row(turns, CAREFUL_CUT), *rest], combined.confidence)
    values = {
        "usual": cuts.of_one_cut,
        "now": combined.expanded,
        "then": careful.expanded,
    }
    if cuts.source == "held":
        return [note("cuts-held-usual", **values)]
    return [note("cuts-unknown", **values)]

"""The comparison of a test board with the passes of the log, and the scatter of its
cuts.

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
from bench.finding import Comparison, Remark, note, warning
from bench.uncertainty.budget import SEAT, Budget, Part, combine
from bench.uncertainty.verdicts import agreement

MOST_TURNS = 4  # one more cuts the first edge of the strip anew
MOST_CAUSES = 4  # that are named
GENERAL_CAUSES = (  # what can always be
    note("cause-wall"),
    note("cause-bow"),
    note("cause-chip"),
    note("cause-cut"),
    note("cause-moved"),
    note("cause-square"),
)
Source = Literal["given", "log", "held", "play", "usual"]
# rad, standard deviation of one cut: with the sled held against one wall (seating and
# hold), and where nothing at all is known; common practice, no source
HELD_CUT, FREE_CUT = 60e-6, 100e-6
# rad, a sled that is held and a board that is seated with care: what measuring may
# show; found by simulation of sleds, no source
CAREFUL_CUT = 30e-6
CUTS_ROW = "scatter of the cuts"


def compare_with_passes(
    evidence: Evidence, a: float, expanded: float, turns: int
) -> tuple[list[Remark], Comparison | None]:
    """The board's rotation beside that of the passes that were named, else of the
    latest in the log, for the same width of board; what is said of it comes first.

    E_n = |a1 - a2| / sqrt(U1^2 + U2^2), agreed while it is not above 1 (ISO 13528:2022,
    9.7).
    """
    options, sweep = evidence.options, evidence.known.sweep
    named = given_number(options, "sweep_fence")
    if named is not None:
        give = given_number(options, "sweep_fence_uncertainty")
        sweep = SweepHistory(named, give or 0.0)
    if sweep is None:
        return [], None
    e_n = agreement(a, expanded, sweep.fence, sweep.expanded)
    day = sweep.at[:10]
    dated = float(bool(day))
    remarks = [note("agrees-with-passes", dated=dated, day=day)]
    if e_n > 1.0:
        differs = warning("differs-from-passes", dated=dated, day=day)
        both = math.hypot(expanded, sweep.expanded)
        remarks = [differs, *likely_causes(a, sweep.fence, both, turns)[:MOST_CAUSES]]
    if "sweep_fence" in options and "sweep_fence_uncertainty" not in options:
        remarks.append(note("pass-exact"))
    comparison = Comparison(
        at=sweep.at or None,
        value=sweep.fence,
        uncertainty=sweep.expanded,
        e_n=e_n if math.isfinite(e_n) else None,
        agrees=e_n <= 1.0,
    )
    return remarks, comparison


def likely_causes(
    board: float, sweep: float, both: float, turns: int = 4
) -> list[Remark]:
    """Causes of a difference between the two, the likeliest first. A slip that would
    make them agree within `both` (rad) is named before what can always be: the order is
    that of how well it explains them."""
    slips: list[tuple[float, Remark]] = []
    if abs(board + sweep) <= both < 2 * abs(sweep):
        slips.append((abs(board + sweep), note("cause-ends-mixed")))
    for other in range(1, MOST_TURNS + 1):
        told = board * turns / other
        if other != turns and abs(told - sweep) <= both < 2 * abs(sweep):
            how_well = abs(told - sweep) + 0.1 * both * abs(other - turns)
            slips.append((how_well, note("cause-turns", turns=other, said=turns)))
    likely = [slip for _, slip in sorted(slips, key=lambda pair: pair[0])]
    return [*likely, *GENERAL_CAUSES]


class CutScatter(msgspec.Struct, frozen=True):
    """of_one_cut: standard deviation, rad. degrees_of_freedom: None where it was only
    stated."""

    of_one_cut: float
    degrees_of_freedom: float | None
    source: Source
    passes: int = 0  # of the log that it rests on

    def row(self, turns: int) -> Part:
        """The budget's row of a board that was turned so often."""
        seen = self.degrees_of_freedom
        each = self.of_one_cut / math.sqrt(turns)
        return Part(CUTS_ROW, "B" if seen is None else "A", each, seen)


def cut_scatter(evidence: Evidence) -> CutScatter:
    """The scatter of one cut as said; else as the passes of this sled scatter in the
    log, under the same hold; else what hold or play leave open.

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


def cut_remarks(
    cuts: CutScatter, turns: int, rows: Sequence[Part], budget: Budget
) -> list[Remark]:
    """Remarks on the source of the scatter of the cuts and, where it is unknown, on
    what measuring it would gain."""
    if cuts.source == "log":
        return [note("cuts-as-passes", scatter=cuts.of_one_cut, passes=cuts.passes)]
    if cuts.source == "play" and cuts.of_one_cut > CAREFUL_CUT:
        return [note("cuts-in-the-play")]
    if cuts.source not in ("held", "usual"):
        return []
    careful = msgspec.structs.replace(cuts, of_one_cut=CAREFUL_CUT).row(turns)
    rest = [row for row in rows if row.name != CUTS_ROW]
    then = combine([careful, *rest], budget.confidence).expanded
    values = {"usual": cuts.of_one_cut, "now": budget.expanded, "then": then}
    if cuts.source == "held":
        return [note("cuts-held-usual", **values)]
    return [note("cuts-unknown", **values)]

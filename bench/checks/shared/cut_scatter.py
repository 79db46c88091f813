"""How much the direction of one cut scatters on this sled, from the best that is known
of it. Angles in rad."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Literal

import msgspec

from bench.checks.model import Evidence
from bench.checks.options import given_number
from bench.checks.shared.remarks import wall_of
from bench.finding import Remark, note
from bench.uncertainty import Combined, Part, combine
from bench.uncertainty.budget import SEAT

Source = Literal["given", "log", "held", "play", "usual"]
# rad, standard deviation of one cut: with the sled held against one wall (seating and
# hold), and where nothing at all is known; common practice, no source
HELD_CUT, FREE_CUT = 60e-6, 100e-6
# rad, a sled that is held and a board that is seated with care: what measuring may
# show; found by simulation of sleds, no source
CAREFUL_CUT = 30e-6
ROW = "scatter of the cuts"


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

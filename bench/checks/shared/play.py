"""The set-ups of the side play, and what leaning and twisting have shown so far.

Lengths in mm, angles in rad.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Evidence, EvidenceGear, Focus, Step
from bench.checks.options import OptionValue, given_number
from bench.checks.shared.results import combined, indicator_rows, quantity
from bench.checks.shared.traces import count_of
from bench.finding import Quantity, Remark, warning
from bench.gear import OTHER_SIDE, LeftRight
from bench.uncertainty import Combined, Part, verdict_between

if TYPE_CHECKING:
    from bench.geometry.play import Play

# mm of clearance, both sides together, in wood: less binds, more is loose; common
# practice, no source
BINDS, LOOSE = 0.03, 0.15
# mm, where the runners' length is not said; common practice, no source
USUAL_RUNNER = 450.0
TIMES = 5  # readings a set-up
# mm that the sled moves between two leans; less than any play worth knowing
LEAST_AWAY = 0.015
SET_UPS = {
    "leaned-left": "Indicator standing on the right of the sled, at the runners'"
    " middle. Its tip touches the sled's side. Press the whole sled to the LEFT and"
    " hold it there.",
    "leaned-right": "Leave the indicator. Press the whole sled to the RIGHT and hold it"
    " there.",
    "twisted-left": "Pencil a mark {at:station} from the runners' middle, away from"
    " you. Indicator standing on the right, its tip at the mark. Twist the sled to the"
    " LEFT there and hold it.",
    "twisted-right": "Leave the indicator. Twist the sled to the RIGHT there and hold"
    " it.",
}
PLAY_SET_UPS = tuple(SET_UPS)


def runner_length(
    options: Mapping[str, OptionValue], gear: EvidenceGear
) -> float | None:
    """mm: as given for this check, else as the sled's description has it."""
    given = given_number(options, "runner_length")
    return gear.jig.runner_length if given is None and gear.jig is not None else given


class PlayFindings:
    """What is concluded so far. readings: all of them, mm."""

    def __init__(self, evidence: Evidence, readings: list[float]) -> None:
        self.evidence, self.options = evidence, evidence.options
        self.quantities: list[Quantity] = []
        self.budgets: list[Combined] = []
        self.remarks: list[Remark] = []
        said = runner_length(self.options, evidence.gear)
        self.runner = USUAL_RUNNER if said is None else said
        self.runner_said = said is not None
        self._count = count_of(evidence.gear.indicator, readings)

    @property
    def values(self) -> dict[str, float]:
        return {q.name: q.value for q in self.quantities}

    def add(self, name: str, play: Play, per: float, more: Sequence[Part]) -> None:
        """per: mm of displacement for one unit of the quantity; more: its own rows."""
        u, dof = play.standard_uncertainty, play.degrees_of_freedom
        scatter = None
        if u is not None:
            freedom = dof if math.isfinite(dof) and dof > 0 else None
            scatter = Part("scatter of the leans", "A", u, freedom)
        else:
            self.remarks.append(warning("read-once", quantity=name))
        used = abs(play.value) * per
        own = indicator_rows(self.evidence, used, self._count, per)
        budget = combined(self.evidence, [scatter, *own, *more])
        if name == "side-play":
            found = self._judged(quantity(name, play.value, budget, unit="mm"))
        else:
            found = quantity(name, play.value, budget, over=self.runner)
        self.quantities.append(found)
        self.budgets.append(budget)

    def limits(self) -> tuple[float, float, bool]:
        """The least and the most side play that is good, mm, and whether that was said
        or is common practice."""
        names = ("play_least", "play_most")
        least, most = (given_number(self.options, name) for name in names)
        if least is most is None:
            return BINDS, LOOSE, False
        return least or 0.0, math.inf if most is None else most, True

    def _judged(self, side: Quantity) -> Quantity:
        """By what was said to be good enough; common practice gives no verdict, but is
        told."""
        least, most, said = self.limits()
        top = None if math.isinf(most) else most
        replace = msgspec.structs.replace
        if top is not None:
            side = replace(side, band=(least, top))
        if not said:
            return side
        verdict = verdict_between(side.value, side.uncertainty, least, most)
        return replace(side, tolerance=top, verdict=verdict)


def play_step(placement: str, twist_at: float) -> Step:
    """twist_at: mm from the runners' middle, where a twist is read."""
    how, _, way = placement.partition("-")
    side: LeftRight = "left" if way == "left" else "right"
    leaned, other = how == "leaned", OTHER_SIDE[side]
    again = "Press" if leaned else "Twist"
    return Step(
        *(placement, SET_UPS[placement], "spot", TIMES, "right", "standing"),
        at=0.0 if leaned else twist_at,
        picture="side-play",
        reseat=f"{again} it to the {other}, then to the {way.upper()} again; hold.",
        away=LEAST_AWAY,
        focus=Focus("lean" if leaned else "twist", side=side),
    )

"""What leaning and twisting have shown so far: quantities with their budgets and
verdicts, and what is said of them. Lengths in mm, angles in rad."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Evidence, EvidenceGear
from bench.checks.options import OptionValue, given_number
from bench.checks.shared.counts import count_of
from bench.checks.shared.results import combined, quantity
from bench.finding import Quantity, Remark, Verdict, warning
from bench.uncertainty import Combined, Part, indicator_error

# mm, where the runners' length is not said; common practice, no source
USUAL_RUNNER = 450.0

if TYPE_CHECKING:
    from bench.geometry.play import Play


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
        span = indicator_error(
            abs(play.value) * per,
            self._count,
            short_span_error=self.evidence.gear.indicator.short_span_error,
            rounded=True,
        )
        rounding = self._count / 2 / math.sqrt(3) * math.sqrt(2)
        rows = [
            scatter,
            Part("indicator over the span used", "B", span / per),
            Part("resolution", "B", rounding / per),
            *more,
        ]
        budget = combined(self.evidence, rows)
        if name == "side-play":
            found = self._judged(quantity(name, play.value, budget, unit="mm"))
        else:
            found = quantity(name, play.value, budget, over=self.runner)
        self.quantities.append(found)
        self.budgets.append(budget)

    def _judged(self, side: Quantity) -> Quantity:
        """Where it was said how much side play is good enough."""
        least = given_number(self.options, "play_least")
        most = given_number(self.options, "play_most")
        if least is most is None:
            return side
        low, high = side.value - side.uncertainty, side.value + side.uncertainty
        floor, top = least or 0.0, math.inf if most is None else most
        said: Verdict = "cannot-tell"
        if low >= floor and high <= top:
            said = "inside"
        elif high < floor or low > top:
            said = "outside"
        return msgspec.structs.replace(side, tolerance=most, verdict=said)

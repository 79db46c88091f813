"""What leaning and twisting have shown so far: quantities with their budgets and
verdicts, and what is said of them. Lengths in mm, angles in rad."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from bench.checks.model import Evidence
from bench.checks.options import given_number, number
from bench.checks.shared.counts import count_of
from bench.finding import BudgetRow, Quantity, Remark, Verdict

# mm, where the runners' length is not said; common practice, no source
USUAL_RUNNER = 450.0

if TYPE_CHECKING:
    from bench.geometry.play import Play
    from bench.uncertainty import Part


class PlayFindings:
    """What is concluded so far. readings: all of them, mm."""

    def __init__(self, evidence: Evidence, readings: list[float]) -> None:
        self.quantities: list[Quantity] = []
        self.budget: list[BudgetRow] = []  # of the first quantity
        self.remarks: list[Remark] = []
        self.confidence = 0.99 if evidence.known.looks else 0.95
        self.options = evidence.options
        self._indicator = evidence.gear.indicator
        self._runner = number(self.options, "runner_length", USUAL_RUNNER)
        self._count = count_of(self._indicator, readings)

    @property
    def values(self) -> dict[str, float]:
        return {q.name: q.value for q in self.quantities}

    def add(self, name: str, play: Play, per: float, more: Sequence[Part]) -> None:
        """per: mm of displacement for one unit of the quantity; more: its own rows."""
        from bench.uncertainty import Part, combine, indicator_error

        u, dof = play.standard_uncertainty, play.degrees_of_freedom
        scatter = None
        if u is not None:
            freedom = dof if math.isfinite(dof) and dof > 0 else None
            scatter = Part("scatter of the leans", "A", u, freedom)
        else:
            values = {"quantity": name}
            self.remarks.append(Remark("read-once", values=values, severity="warning"))
        span = indicator_error(
            abs(play.value) * per,
            self._count,
            short_span_error=self._indicator.short_span_error,
            rounded=True,
        )
        rounding = self._count / 2 / math.sqrt(3) * math.sqrt(2)
        rows = [
            scatter,
            Part("indicator over the span used", "B", span / per),
            Part("resolution", "B", rounding / per),
            *more,
        ]
        combined = combine(rows, self.confidence)
        value, unit = float(play.value), "mm" if name == "side-play" else "rad"
        most, said = self._judged(name, value, combined.expanded)
        self.quantities.append(
            Quantity(
                name,
                value,
                "rad" if unit == "rad" else "mm",
                combined.expanded,
                combined.degrees_of_freedom,
                most,
                said,
                over=None if unit == "mm" else self._runner,
            )
        )
        self.budget = self.budget or combined.rows

    def _judged(
        self, name: str, value: float, expanded: float
    ) -> tuple[float | None, Verdict | None]:
        """Judged by the side play, where it was said how much is good enough."""
        least = given_number(self.options, "play_least")
        most = given_number(self.options, "play_most")
        if name != "side-play" or least is most is None:
            return None, None
        low, high = value - expanded, value + expanded
        floor, top = least or 0.0, math.inf if most is None else most
        if low >= floor and high <= top:
            return most, "inside"
        return most, "outside" if high < floor or low > top else "cannot-tell"

"""From values and budgets to what every check hands back: quantities that are judged,
and the finding that holds them."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Literal

from bench.checks.model import Evidence, Pool
from bench.finding import Finding, Quantity, Settle
from bench.uncertainty import (
    LATER,
    Between,
    Combined,
    Group,
    Part,
    between_sweeps,
    combine,
    settle,
    verdict,
)

MOST_READINGS = 12  # at a place; beyond it another change is named


def combined(evidence: Evidence, rows: Iterable[Part | None]) -> Combined:
    """A later look at the same check is judged more strictly than the first."""
    return combine(rows, LATER if evidence.known.looks else 0.95)


def quantity(
    name: str,
    value: float,
    budget: Combined,
    limit: float | None = None,
    way: str | None = None,
    *,
    unit: Literal["rad", "mm"] = "rad",
    over: float | None = None,
) -> Quantity:
    """Judged by its size where it has a limit, in the unit of the value."""
    return Quantity(
        name,
        float(value),
        unit,
        budget.expanded,
        budget.degrees_of_freedom,
        limit,
        None if limit is None else verdict(value, budget.expanded, limit),
        way,
        over,
    )


def scatter_between(
    evidence: Evidence, groups: Sequence[Group], pool: Pool | None = None
) -> Between:
    """Of several passes, with what the log knows of their scatter; pool: in its
    place."""
    known = evidence.known
    return between_sweeps(
        groups, pool or known.pool, known.yaw_play, known.single_sweep_scatter
    )


def settled(
    judged: Quantity,
    budget: Combined,
    between: Between,
    groups: Sequence[Group],
    **more: Any,
) -> Settle | None:
    """What would settle a quantity of several passes, where it cannot be told; more:
    see `bench.uncertainty.settle`."""
    if judged.verdict != "cannot-tell" or judged.tolerance is None:
        return None
    return settle(judged.value, budget, judged.tolerance, between, groups, **more)


def finding(
    evidence: Evidence, quantities: list[Quantity], budget: Combined, **more: Any
) -> Finding:
    """With the verdict of the first quantity that has one. more: its other fields.
    What cannot be told hangs on the largest row, unless `settle` is given."""
    gear = evidence.gear
    verdicts = [q.verdict for q in quantities if q.verdict is not None]
    if verdicts[:1] == ["cannot-tell"] and "settle" not in more:
        more["settle"] = Settle(part=budget.rows[0].part)
    return Finding(
        check=evidence.check,
        jig=gear.jig.name if gear.jig else None,
        saw=gear.saw.name if gear.saw else None,
        quantities=quantities,
        verdict=verdicts[0] if verdicts else None,
        confidence=budget.confidence,
        budget=budget.rows,
        **more,
    )


def more_readings(
    rows: Sequence[Part],
    budget: Combined,
    clear: float,
    now: int,
    places: int,
    freedom: Callable[[int], float],
) -> Settle:
    """Readings in all with which a later look would tell a value that stands `clear` of
    its limit; else the row it hangs on.

    now: readings at each of so many places. freedom: degrees of freedom of the row
    "touches" with so many readings at each.
    """
    fixed = combine([row for row in rows if row.name != "touches"], LATER)
    if fixed.rows and fixed.expanded >= clear:
        return Settle(part=fixed.rows[0].part)
    for touches in (row for row in rows if row.name == "touches"):
        for each in range(now + 1, MOST_READINGS + 1):
            u = touches.standard_uncertainty * math.sqrt(now / each)
            more = Part("touches", "A", u, freedom(each))
            others = [row for row in rows if row is not touches]
            if combine([*others, more], LATER).expanded <= clear:
                return Settle(part="touches", sweeps=places * each)
    return Settle(part=budget.rows[0].part)

"""The result of a check: quantities that are judged, remarks that several checks make,
and the finding that holds them.

Lengths in mm, rotations in rad.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, Literal

from bench.checks.model import Evidence, PriorKnowledge
from bench.finding import Finding, Quantity, Remark, Settle, note, warning
from bench.uncertainty.budget import (
    Budget,
    Part,
    combine,
    resolution,
    span,
    tilt,
    travel_scale,
)
from bench.uncertainty.sweeps import Group, Pool, SweepScatter, between_sweeps
from bench.uncertainty.verdicts import LATER, decidable_tolerance, settle, verdict

MOST_AT_A_PLACE = 12  # at a place; beyond it another change is named
# codes of a finding whose square does not fit what is known of it: perhaps it was not
# turned over
SQUARE_DOUBTED = frozenset(
    {
        "square-changed",
        "square-over-tolerance",
        "square-poor",
        "noted-square-doubted",  # by an earlier version, see `bench.log.findings`
    }
)
STEP_ROWS = ("indicator over the span used", "resolution")
# mm from one pass's level to the next, over which an indicator's own steps scatter
SHIFT = 0.2, 0.5


def budget_of(evidence: Evidence, rows: Iterable[Part | None]) -> Budget:
    """A later look at the same check is judged more strictly than the first."""
    return combine(rows, LATER if evidence.known.looks else 0.95)


def instrument_rows(
    evidence: Evidence,
    used: float,
    length: float,
    count: float,
    spread: float,
    weights: Sequence[float] = (1.0,),
    *,
    preload_moved: bool = False,
) -> list[Part | None]:
    """The indicator's rows of a difference of two readings `used` mm apart, over
    `length` mm for one unit of the answer. count: what it resolves, mm; spread: of
    single readings, mm. weights, preload_moved: see `bench.uncertainty.budget`."""
    rounded = resolution(count, length, spread, weights)
    return [
        rounded,
        span(
            used,
            length,
            count,
            short_span_error=evidence.gear.indicator.short_span_error,
            weights=weights,
            preload_moved=preload_moved,
            rounded=rounded is not None,
        ),
    ]


def direction_rows(
    evidence: Evidence, rotation: float, scale: float | None = None
) -> list[Part]:
    """The rows of a slope along the travel: of the travel's scale, as the gear says
    unless given, and of a plunger that leans."""
    gear = evidence.gear
    return [
        travel_scale(rotation, gear.travel.scale_error if scale is None else scale),
        tilt(rotation, gear.indicator.tilt),
    ]


def quantity(
    name: str,
    value: float,
    budget: Budget,
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
) -> SweepScatter:
    """The scatter between several passes, with what the log knows of it; pool: in place
    of the log's."""
    known = evidence.known
    return between_sweeps(
        groups, pool or known.pool, known.yaw_play, known.single_sweep_scatter
    )


def settled_by(
    judged: Quantity,
    budget: Budget,
    between: SweepScatter,
    groups: Sequence[Group],
    **more: Any,
) -> Settle | None:
    """The change that would settle a quantity of several passes, where it cannot be
    told; more: see `bench.uncertainty.verdicts.settle`."""
    if judged.verdict != "cannot-tell" or judged.tolerance is None:
        return None
    return settle(judged.value, budget, judged.tolerance, between, groups, **more)


def finding(
    evidence: Evidence, quantities: list[Quantity], budget: Budget, **more: Any
) -> Finding:
    """The finding, with the verdict of the first quantity that has one. more: its other
    fields. What cannot be told hangs on the largest row, unless `settle` is given."""
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
    judged: Quantity,
    rows: Sequence[Part],
    budget: Budget,
    now: int,
    places: int,
    freedom: Callable[[int], float],
) -> Settle | None:
    """Readings in all with which a later look would tell a quantity of single readings
    that cannot be told; else the row it hangs on. now: readings at each of so many
    places. freedom: degrees of freedom of the row "touches" with so many readings at
    each."""
    if judged.verdict != "cannot-tell" or judged.tolerance is None:
        return None
    clear = abs(abs(judged.value) - judged.tolerance)
    others = [row for row in rows if row.name != "touches"]
    touches = [row.standard_uncertainty for row in rows if row.name == "touches"]
    fixed = combine(others, LATER)
    if fixed.rows and fixed.expanded >= clear:
        return Settle(part=fixed.rows[0].part)
    for each in range(now + 1, MOST_AT_A_PLACE + 1 if touches else 0):
        u = math.hypot(*touches) * math.sqrt(now / each)
        more = Part("touches", "A", u, freedom(each))
        if combine([*others, more], LATER).expanded <= clear:
            return Settle(part="touches", sweeps=places * each)
    return Settle(part=budget.rows[0].part)


def sweep_remarks(evidence: Evidence, between: SweepScatter) -> list[Remark]:
    """One pass only, more scatter than ever before, walls that change."""
    remarks = []
    known = evidence.known
    in_log = known.pool is not None or known.single_sweep_scatter is not None
    if between.single:
        play = "play" if known.yaw_play is not None else "usual"
        source = "log" if in_log else play
        remarks.append(note("one-pass", source=source))
    if between.asks_for_more:
        remarks.append(warning("scatter-grew"))
    holds = sorted(
        {trace.hold for trace in evidence.traces if trace.push and trace.hold}
    )
    declared = wall_of(evidence)
    if len(holds) > 1:
        remarks.append(warning("walls-mixed", walls=holds))
    elif holds or declared:
        remarks.append(note("wall", wall=holds[0] if holds else declared or ""))
    return remarks


def wall_of(evidence: Evidence) -> str | None:
    """Against which wall the sled is held: as said for this check, else as the sled's
    description says once and for all; None where neither says."""
    jig = evidence.gear.jig
    said = evidence.options.get("hold") or (jig.hold if jig is not None else None)
    return str(said) if said else None


def hold_remarks(evidence: Evidence) -> list[Remark]:
    """A remark where it was not said against which wall the sled is held."""
    if wall_of(evidence) is not None or all(t.hold for t in evidence.traces if t.push):
        return []
    play = evidence.known.yaw_play
    if play is None:
        return [note("yaw-unknown")]
    return [note("hold-unsaid", play=play)]


def history_remarks(known: PriorKnowledge, *, pooled: bool) -> list[Remark]:
    """Remarks on what of the log the give or take rests on."""
    passes = known.pool.passes if known.pool is not None and pooled else 0
    checks = known.set_ups.checks if known.set_ups is not None else 0
    if not passes and not checks:
        return [note("set-ups-usual")]
    return [note("rests-on-log", passes=passes, checks=checks)]


def tolerance_remarks(budget_of: Budget, tolerance: float | None) -> list[Remark]:
    """The tolerance this can decide, where the one that is set is beyond it."""
    least = decidable_tolerance(budget_of)
    if tolerance is None or least <= tolerance:
        return []
    return [note("limit-too-fine", least=least, limit=tolerance)]


def step_remarks(budget_of: Budget, said: str | None) -> list[Remark]:
    """A remark on how to take a coarse instrument's steps out, where they are why
    nothing can be told."""
    if (
        said != "cannot-tell"
        or not budget_of.rows
        or budget_of.rows[0].part not in STEP_ROWS
    ):
        return []
    return [note("shift-stand", low=SHIFT[0], high=SHIFT[1])]

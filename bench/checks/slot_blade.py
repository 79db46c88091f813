"""Does the blade run with the slot? The indicator rides in the slot and touches the
blade body.

First choice, one spot: a marked spot touched at the front, the blade turned by hand
until the same spot stands at the rear, touched again: b = -(X_rear - X_front) / D,
immune to tilt, warp and dish. The indicator is slid to and fro between the touches, so
that their scatter holds the float of carriage and arbor. Second, sweeps over the blade
body at even turns: their mean cancels tilt.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence

from bench.checks.model import Check, Evidence
from bench.checks.options import MOUNT, SIDE, Option, choice, length
from bench.checks.shared.blade import (
    CARRIAGE_FLOAT,
    END_FLOAT,
    SPOTS,
    accepts,
    mount_of,
    plan,
    slot_side,
    spot_readings,
    spot_rows,
    swept_step,
)
from bench.checks.shared.cautions import AT_BLADE
from bench.checks.shared.placement_fit import turn_factor
from bench.checks.shared.plausibility import spot_doubts
from bench.checks.shared.results import (
    budget_of,
    finding,
    more_readings,
    quantity,
    scatter_between,
    settled_by,
    sweep_remarks,
    tolerance_remarks,
)
from bench.checks.shared.sweep_fits import fit_placements, shared_rows
from bench.checks.shared.turns import are_even, swing_of, turn_of
from bench.finding import EvidenceError, Finding, Quantity, Remark, note, warning
from bench.gear import Saw
from bench.uncertainty.budget import Budget, Part, rectangular

# mm between front and rear under which a small blade or a slip is likely
SPOTS_NEAR = 100.0


def evaluate(evidence: Evidence) -> Finding:
    names = {t.placement for t in evidence.traces}
    if names & set(SPOTS):
        if names != set(SPOTS):
            raise EvidenceError(
                "one spot wants front and rear, both and nothing beside them; there is"
                f" {', '.join(sorted(names))}"
            )
        return _one_spot(evidence)
    return _turns(evidence)


def _one_spot(evidence: Evidence) -> Finding:
    read = spot_readings(evidence)
    side, mount = slot_side(evidence.options), mount_of(evidence.options)
    b, apart = turn_factor(mount, side) * read.lean / read.apart, abs(read.apart)
    rows, stated = spot_rows(evidence, read, b)
    budget = budget_of(evidence, rows)
    blade = _blade(evidence, b, apart, budget)
    touches = max(len(readings) for readings in read.readings.values())
    near = [note("spots-near", apart=apart)] if apart < SPOTS_NEAR else []
    return finding(
        evidence,
        [blade],
        budget,
        settle=more_readings(
            blade, rows, budget, touches, 2, lambda each: 2.0 * (each - 1)
        ),
        remarks=[note("one-spot"), *stated, *near, *_saw_remarks(evidence, budget)],
        doubts=spot_doubts(read.readings),
    )


def _turns(evidence: Evidence) -> Finding:
    from bench.checks.shared.mean_turn import mean_turn, scatter_of_turns

    remarks: list[Remark] = []
    names = evidence.placements
    degrees = [d for name in names if (d := turn_of(name)) is not None]
    if len(degrees) != len(names) or not names:
        raise EvidenceError("placements are front and rear, or turns such as turn-90")
    side, mount = slot_side(evidence.options), mount_of(evidence.options)
    steps = [swept_step(name, side, mount) for name in names]
    placed, sweeps = fit_placements(evidence, steps, remarks)
    weights = [1 / len(placed)] * len(placed)
    b, groups = mean_turn(placed)
    of_turns = scatter_of_turns(placed, degrees, evidence.known.pool)
    between = scatter_between(evidence, groups, of_turns)
    over = statistics.fmean(p.length for p in placed)
    of_plate, told = _plate_rows(evidence.gear.saw, degrees, over)
    shared = shared_rows(evidence, placed, weights, b, common=True)
    budget = budget_of(evidence, [*between.parts, *shared, *of_plate])
    blade = _blade(evidence, b, over, budget)
    remarks += [*told, *sweep_remarks(evidence, between)]
    if of_turns is not None:
        remarks = [r for r in remarks if r.code != "one-pass"]
        remarks.append(note("turns-once", turns=len(placed)))
    return finding(
        evidence,
        [blade],
        budget,
        settle=settled_by(blade, budget, between, groups, length=over),
        sweeps=sweeps,
        single_sweep=between.single,
        remarks=[*remarks, note("dished-plate"), *_saw_remarks(evidence, budget)],
    )


def _plate_rows(
    saw: Saw | None, degrees: Sequence[float], over: float
) -> tuple[list[Part], list[Remark]]:
    """Rows and remarks for what is left of the plate's own form where the turns are few
    or uneven."""
    swing = swing_of(saw)
    rows: list[Part] = []
    remarks: list[Remark] = []
    if len(degrees) == 1:
        rows.append(rectangular("plate tilt", swing / over))
        remarks.append(warning("one-turn"))
    elif len(degrees) == 2:
        rows.append(rectangular("plate warp", swing / 2 / over))
        remarks.append(note("two-turns"))
    if len(degrees) > 1 and not are_even(degrees):
        rows.append(rectangular("turns not even", swing / 2 / over))
        remarks.append(warning("turns-uneven"))
    return rows, remarks


def _blade(evidence: Evidence, b: float, over: float, budget: Budget) -> Quantity:
    saw = evidence.gear.saw
    limit = saw.parallel if saw is not None else None
    return quantity("blade", b, budget, limit, rear_way(b, saw), over=over)


def _saw_remarks(evidence: Evidence, budget: Budget) -> list[Remark]:
    saw = evidence.gear.saw
    if saw is None:
        return [note("no-saw-blade")]
    return tolerance_remarks(budget, saw.parallel)


def rear_way(b: float, saw: Saw | None) -> str:
    """Counter-clockwise the rear, far from the operator, goes left."""
    way = "left" if b > 0 else "right"
    if saw is None:
        return f"rear leans {way}"
    toward = "toward" if saw.rip_fence == way else "away from"
    return f"rear leans {way}, {toward} the rip fence"


CHECK = Check(
    kind="slot-blade",
    question="Does the blade run with the slot?",
    plan=plan,
    evaluate=evaluate,
    quantities=("blade",),
    cautions=AT_BLADE,
    options=(
        choice(
            "slot",
            "In which slot the indicator rides",
            ("left", "right"),
            default="right",
        ),
        Option(
            "turns",
            "count",
            "Passes at so many turns of the blade, not on one spot",
            low=1,
            high=72,
            sweeps=True,
        ),
        length(
            "front_at",
            "Place of the spot at the front, along the travel",
            (-5000.0, 5000.0),
            unless="turns",
        ),
        length(
            "rear_at",
            "Place of the spot at the rear",
            (-5000.0, 5000.0),
            unless="turns",
        ),
        length(
            "end_float",
            f"How far the arbor floats either way ({END_FLOAT:g} mm unless said)",
            (0.0, 10.0),
            unless="turns",
        ),
        length(
            "carriage_float",
            "How far a slid indicator rests elsewhere"
            f" ({CARRIAGE_FLOAT:g} mm unless said)",
            (0.0, 1.0),
            unless="turns",
            recorded=True,
        ),
        MOUNT,
        SIDE,
    ),
    needs=("saw",),
    rank=2,
    turns_saw="blade",
    accepts=accepts,
)

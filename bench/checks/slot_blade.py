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
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import (
    Check,
    Evidence,
    EvidenceError,
)
from bench.checks.options import MOUNT, SIDE, Option
from bench.checks.shared.blade_spots import (
    CARRIAGE_FLOAT,
    END_FLOAT,
    SPOTS,
    more_touches,
    spot_readings,
    spot_rows,
)
from bench.checks.shared.blade_steps import (
    accepts,
    mount_of,
    plan,
    slot_side,
    swept_step,
)
from bench.checks.shared.cautions import COUNT_OFF, MANUAL, STILL_TEETH, UNPLUG
from bench.checks.shared.mean_turn import mean_turn, scatter_of_turns
from bench.checks.shared.placed import turn_factor
from bench.checks.shared.remarks import of_sweeps, undecided
from bench.checks.shared.slips import uneven_spots
from bench.checks.shared.slopes import place, shared_rows
from bench.checks.shared.turns import are_even, turn_of
from bench.finding import Finding, Quantity, Remark, Settle, SweepRow
from bench.gear import Saw

if TYPE_CHECKING:
    from bench.uncertainty import Combined

SHORT = 100.0  # mm between front and rear under which a small blade or a slip is likely


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
    from bench.uncertainty import combine

    read = spot_readings(evidence)
    factor = turn_factor(
        mount_of(evidence.options), slot_side(evidence.options), "pushed-in"
    )
    b = factor * read.lean / read.apart
    rows, stated = spot_rows(evidence, read, b)
    confidence = 0.99 if evidence.known.looks else 0.95
    combined = combine(rows, confidence)
    remarks = [Remark("one-spot"), *stated]
    if (apart := abs(read.apart)) < SHORT:
        remarks.append(Remark("spots-near", values={"apart": apart}))
    settled = None
    limit = evidence.gear.saw.parallel if evidence.gear.saw is not None else None
    if limit is not None and _is_open(b, combined, limit):
        touches = max(len(readings) for readings in read.readings.values())
        settled = more_touches(rows, combined, abs(abs(b) - limit), touches)
    found = _finding(
        evidence, b, apart, combined, confidence, [], remarks, settled, single=False
    )
    return msgspec.structs.replace(
        found,
        doubts=uneven_spots(
            {
                name: [r for v in visits for r in v]
                for name, visits in read.visits.items()
            }
        ),
    )


def _turns(evidence: Evidence) -> Finding:
    from bench.uncertainty import between_sweeps, combine, rectangular, settle

    remarks: list[Remark] = []
    names = list(dict.fromkeys(t.placement for t in evidence.traces))
    degrees = [d for name in names if (d := turn_of(name)) is not None]
    if len(degrees) != len(names) or not names:
        raise EvidenceError(
            "placements are front and rear, or turns of the blade such as turn-90"
        )
    side, mount = slot_side(evidence.options), mount_of(evidence.options)
    placed, sweeps = place(
        evidence, [swept_step(name, side, mount) for name in names], remarks
    )
    weights = [1 / len(placed)] * len(placed)
    together = mean_turn(placed) if len(placed) > 1 else None
    groups = (
        together.groups(placed)
        if together is not None
        else [p.group(w) for p, w in zip(placed, weights, strict=True)]
    )
    known, saw = evidence.known, evidence.gear.saw
    of_turns = scatter_of_turns(placed, degrees, known.pool)
    between = between_sweeps(
        groups, of_turns or known.pool, known.yaw_play, known.single_sweep_scatter
    )
    b = (
        together.rotation
        if together is not None
        else statistics.fmean(p.rotation for p in placed)
    )
    length = statistics.fmean(p.length for p in placed)
    rows = [*between.parts, *shared_rows(evidence, placed, weights, b, common=True)]
    swing = saw.wobble if saw is not None else 0.05
    if len(placed) == 1:
        rows.append(rectangular("plate tilt", swing / length))
        remarks.append(Remark("one-turn", severity="warning"))
    elif len(placed) == 2:
        rows.append(rectangular("plate warp", swing / 2 / length))
        remarks.append(Remark("two-turns"))
    if len(degrees) > 1 and not are_even(degrees):
        rows.append(rectangular("turns not even", swing / 2 / length))
        remarks.append(Remark("turns-uneven", severity="warning"))
    told = of_sweeps(evidence, between)
    if of_turns is not None:
        told = [r for r in told if r.code != "one-pass"]
        told.append(Remark("turns-once", values={"turns": len(placed)}))
    remarks.extend(told)
    remarks.append(Remark("dished-plate"))
    confidence = 0.99 if known.looks else 0.95
    combined = combine(rows, confidence)
    settled = None
    if saw is not None and _is_open(b, combined, saw.parallel):
        settled = settle(b, combined, saw.parallel, between, groups, length=length)
    return _finding(
        evidence,
        b,
        length,
        combined,
        confidence,
        sweeps,
        remarks,
        settled,
        single=between.single,
    )


def _is_open(b: float, combined: Combined, limit: float) -> bool:
    return abs(b) - combined.expanded <= limit < abs(b) + combined.expanded


def _finding(
    evidence: Evidence,
    b: float,
    over: float,
    combined: Combined,
    confidence: float,
    sweeps: list[SweepRow],
    remarks: list[Remark],
    settled: Settle | None,
    *,
    single: bool,
) -> Finding:
    from bench.uncertainty import verdict

    saw, jig = evidence.gear.saw, evidence.gear.jig
    limit = saw.parallel if saw is not None else None
    said = verdict(b, combined.expanded, limit) if limit is not None else None
    remarks = [*remarks, *undecided(combined, limit)]
    if saw is None:
        remarks.append(Remark("no-saw-blade"))
    quantity = Quantity(
        "blade",
        b,
        "rad",
        combined.expanded,
        combined.degrees_of_freedom,
        limit,
        said,
        rear_way(b, saw),
        over=over,
    )
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=saw.name if saw else None,
        quantities=[quantity],
        verdict=said,
        confidence=confidence,
        settle=settled,
        sweeps=sweeps,
        budget=combined.rows,
        single_sweep=single,
        remarks=remarks,
    )


def rear_way(b: float, saw: Saw | None) -> str:
    """Counter-clockwise the rear, far from the operator, goes left."""
    way = "left" if b > 0 else "right"
    if saw is None:
        return f"rear leans {way}"
    toward = "toward" if saw.rip_fence == way else "away from"
    return f"rear leans {way}, {toward} the rip fence"


KIND = "slot-blade"

CHECK = Check(
    kind=KIND,
    question="Does the blade run with the slot?",
    plan=plan,
    evaluate=evaluate,
    quantities=("blade",),
    cautions=(UNPLUG, STILL_TEETH, COUNT_OFF, MANUAL),
    options=(
        Option(
            "slot",
            "choice",
            "In which slot the indicator rides",
            "right",
            ("left", "right"),
        ),
        Option(
            "turns",
            "count",
            "Passes at so many turns of the blade, not on one spot",
            low=1,
            high=72,
            sweeps=True,
        ),
        Option(
            "front_at",
            "length",
            "Place of the spot at the front, along the travel",
            low=-5000.0,
            high=5000.0,
            unless="turns",
        ),
        Option(
            "rear_at",
            "length",
            "Place of the spot at the rear",
            low=-5000.0,
            high=5000.0,
            unless="turns",
        ),
        Option(
            "end_float",
            "length",
            f"How far the arbor floats either way ({END_FLOAT:g} mm unless said)",
            low=0.0,
            high=10.0,
            unless="turns",
        ),
        Option(
            "carriage_float",
            "length",
            "How far a slid indicator rests elsewhere"
            f" ({CARRIAGE_FLOAT:g} mm unless said)",
            low=0.0,
            high=1.0,
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

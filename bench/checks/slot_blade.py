"""Does the blade run with the slot? The indicator rides in the slot and touches the
blade body.

First choice, one spot: a marked spot touched at the front, the blade turned by hand
until the same spot stands at the rear, touched again: b = -(X_rear - X_front) / D,
immune to tilt, warp and dish. Second, sweeps over the blade body at even turns: their
mean cancels tilt.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import (
    Check,
    Evidence,
    EvidenceError,
    EvidenceGear,
    Focus,
    Mount,
    Step,
)
from bench.checks.options import MOUNT, SIDE, Option, OptionValue, given_number, number
from bench.checks.shared.cautions import COUNT_OFF, MANUAL, STILL_TEETH, UNPLUG
from bench.checks.shared.counts import count_of
from bench.checks.shared.mean_turn import mean_turn
from bench.checks.shared.placed import turn_factor
from bench.checks.shared.remarks import of_sweeps, undecided
from bench.checks.shared.slips import uneven_spots
from bench.checks.shared.slopes import place, shared_rows
from bench.checks.shared.turns import are_even, even_turns, turn_of
from bench.finding import Finding, Quantity, Remark, Settle, SweepRow
from bench.gear import LeftRight, Saw

if TYPE_CHECKING:
    from bench.uncertainty import Combined, Part

TOUCHES = 3
MOST_TOUCHES = 12  # an end; beyond it another change is named
AGAIN = "Lift the plunger and let it down again."
# mm, half-width of the arbor's float along its axis; common practice, no source
END_FLOAT = 0.005
SHORT = 100.0  # mm between front and rear under which a small blade or a slip is likely
SPOTS = ("front", "rear")
# mm along the travel, live, unless said; common practice, no source
FRONT_AT, REAR_AT = 0.0, 160.0


def _side(options: Mapping[str, OptionValue]) -> LeftRight:
    """The slot's side: in the right slot the indicator stands on the right of the
    blade."""
    given = options.get("side") or options.get("slot") or "right"
    return "left" if given == "left" else "right"


def _mount(options: Mapping[str, OptionValue]) -> Mount:
    return "standing" if options.get("mount") == "standing" else "carried"


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    del gear
    side, mount = _side(options), _mount(options)
    if (turns := given_number(options, "turns")) is not None:
        return tuple(_swept(name, side, mount) for name in even_turns(int(turns)))
    words = (
        f"Indicator riding in the {side.upper()} slot, held against one wall. Mark a"
        " spot on the blade body below the gullets. Tip on that spot, at the FRONT."
    )
    at_front, at_rear = (
        number(options, "front_at", FRONT_AT),
        number(options, "rear_at", REAR_AT),
    )

    def spot(name: str, text: str, at: float) -> Step:
        return Step(
            name,
            text,
            "spot",
            TOUCHES,
            side,
            mount,
            at,
            "slot-blade",
            AGAIN,
            focus=Focus("end", side="front" if name == "front" else "rear"),
        )

    return (
        spot("front", words, at_front),
        spot(
            "rear",
            "Lift the plunger. Turn the blade by hand: the spot to the REAR, as high."
            " Slide the indicator there and let the plunger down.",
            at_rear,
        ),
    )


def _swept(name: str, side: LeftRight, mount: Mount) -> Step:
    return Step(
        name,
        "Lift the plunger. Turn the blade by hand to"
        f" {name.removeprefix('turn-')} degrees. Indicator in the {side.upper()} slot,"
        " at the front of the blade body. It passes inside the gullets, as far before"
        " the arbor as behind.",
        "sweep",
        side=side,
        mount=mount,
        picture="slot-blade-turn",
        straight=False,  # a plate has a form of its own, which even turns take out
        pushed="indicator",
        focus=Focus("turn", math.radians(turn_of(name) or 0.0)),
    )


def accepts(
    placement: str, options: Mapping[str, OptionValue], gear: EvidenceGear
) -> Step | None:
    if placement in SPOTS:
        spots = plan({**options, "turns": None}, gear)
        return next((s for s in spots if s.placement == placement), None)
    return (
        _swept(placement, _side(options), _mount(options))
        if turn_of(placement) is not None
        else None
    )


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
    from bench.uncertainty import (
        Part,
        combine,
        indicator_error,
        rectangular,
        tilt,
        travel_scale,
    )

    factor = turn_factor(_mount(evidence.options), _side(evidence.options), "pushed-in")
    where: dict[str, list[float]] = {name: [] for name in SPOTS}
    depth: dict[str, list[float]] = {name: [] for name in SPOTS}
    for trace in evidence.traces:
        if trace.placement in SPOTS:
            where[trace.placement].extend(trace.travel)
            depth[trace.placement].extend(trace.reading)
    for name in SPOTS:
        if len(depth[name]) < TOUCHES:
            raise EvidenceError(
                f"{name} was touched {len(depth[name])} times; {TOUCHES} touches at"
                " least"
            )
    apart = statistics.fmean(where["rear"]) - statistics.fmean(where["front"])
    if abs(apart) < 10.0:
        raise EvidenceError(
            f"front and rear are {apart:.1f} mm apart in travel; give the place of each"
            " in the travel"
        )
    lean = statistics.fmean(depth["rear"]) - statistics.fmean(depth["front"])
    b = factor * lean / apart
    indicator = evidence.gear.indicator
    count = count_of(indicator, [r for name in SPOTS for r in depth[name]])
    variances = [statistics.variance(depth[name]) for name in SPOTS]
    sizes = [len(depth[name]) for name in SPOTS]
    dof = sum(n - 1 for n in sizes)
    pooled = sum(v * (n - 1) for v, n in zip(variances, sizes, strict=True)) / dof
    length = abs(apart)
    rounded = math.sqrt(pooled) < count / 3
    span = indicator_error(
        lean, count, short_span_error=indicator.short_span_error, rounded=rounded
    )
    end_float = number(evidence.options, "end_float", END_FLOAT)
    rows: list[Part | None] = [
        (
            Part(
                "touches",
                "A",
                math.sqrt(pooled * sum(1 / n for n in sizes)) / length,
                dof,
            )
            if pooled > 0
            else None
        ),
        rectangular("arbor end float", end_float / length),
        (
            Part("resolution", "B", count / 2 / math.sqrt(3) * math.sqrt(2) / length)
            if rounded
            else None
        ),
        Part("indicator over the span used", "B", span / length),
        travel_scale(b, evidence.gear.travel.scale_error),
        tilt(b, indicator.tilt),
    ]
    confidence = 0.99 if evidence.known.looks else 0.95
    combined = combine(rows, confidence)
    remarks = [Remark("one-spot")]
    if evidence.options.get("end_float") is None:
        remarks.append(Remark("end-float-usual", values={"float": END_FLOAT}))
    if abs(apart) < SHORT:
        remarks.append(Remark("spots-near", values={"apart": length}))
    settled = None
    limit = evidence.gear.saw.parallel if evidence.gear.saw is not None else None
    if (
        limit is not None
        and abs(b) - combined.expanded <= limit < abs(b) + combined.expanded
    ):
        settled = _more_touches(rows, combined, abs(abs(b) - limit), max(sizes))
    found = _finding(
        evidence, b, combined, confidence, [], remarks, settled, single=False
    )
    return msgspec.structs.replace(
        found, doubts=uneven_spots({name: depth[name] for name in SPOTS})
    )


def _more_touches(
    rows: Sequence[Part | None], combined: Combined, clear: float, touches: int
) -> Settle:
    """Touches in all with which it would be told at the confidence of a later look;
    else the row it hangs on."""
    from bench.uncertainty import LATER, Part, combine

    fixed = [row for row in rows if row is not None and row.name != "touches"]
    ones = [row for row in rows if row is not None and row.name == "touches"]
    if ones and combine(fixed, LATER).expanded < clear:
        u = ones[0].standard_uncertainty
        for each in range(touches + 1, MOST_TOUCHES + 1):
            more = Part("touches", "A", u * math.sqrt(touches / each), 2.0 * (each - 1))
            if combine([*fixed, more], LATER).expanded <= clear:
                return Settle(part="touches", sweeps=2 * each)
    if fixed and combine(fixed, LATER).expanded >= clear:
        return Settle(part=max(fixed, key=lambda row: row.standard_uncertainty).name)
    return Settle(part=combined.rows[0].part)


def _turns(evidence: Evidence) -> Finding:
    from bench.uncertainty import between_sweeps, combine, rectangular, settle

    remarks: list[Remark] = []
    names = list(dict.fromkeys(t.placement for t in evidence.traces))
    degrees = [d for name in names if (d := turn_of(name)) is not None]
    if len(degrees) != len(names) or not names:
        raise EvidenceError(
            "placements are front and rear, or turns of the blade such as turn-90"
        )
    side, mount = _side(evidence.options), _mount(evidence.options)
    placed, sweeps = place(
        evidence, [_swept(name, side, mount) for name in names], remarks
    )
    weights = [1 / len(placed)] * len(placed)
    together = mean_turn(placed) if len(placed) > 1 else None
    groups = (
        together.groups(placed)
        if together is not None
        else [p.group(w) for p, w in zip(placed, weights, strict=True)]
    )
    known, saw = evidence.known, evidence.gear.saw
    between = between_sweeps(
        groups, known.pool, known.yaw_play, known.single_sweep_scatter
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
    remarks.extend(of_sweeps(evidence, between))
    remarks.append(Remark("dished-plate"))
    confidence = 0.99 if known.looks else 0.95
    combined = combine(rows, confidence)
    settled = None
    if (
        saw is not None
        and abs(b) - combined.expanded <= saw.parallel < abs(b) + combined.expanded
    ):
        settled = settle(b, combined, saw.parallel, between, groups, length=length)
    return _finding(
        evidence,
        b,
        combined,
        confidence,
        sweeps,
        remarks,
        settled,
        single=between.single,
    )


def _finding(
    evidence: Evidence,
    b: float,
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
            "Passes at so many even turns instead of one spot",
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
        MOUNT,
        SIDE,
    ),
    needs=("saw",),
    rank=2,
    turns_saw="blade",
    accepts=accepts,
)

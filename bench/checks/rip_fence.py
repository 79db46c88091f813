"""Does the rip fence run with the blade, and open a little at the rear? The indicator
is carried along it.

toe = rotation of the rip fence less rotation of the blade. Right of the blade a
negative toe opens at the rear, left of it a positive one. Opening a little is the safe
way; closing is always said.
"""

from __future__ import annotations

from collections.abc import Mapping

from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Step
from bench.checks.options import (
    MOUNT,
    SIDE,
    STEEPEST,
    Option,
    OptionValue,
    given_number,
)
from bench.checks.shared.cautions import (
    BLADE_DOWN,
    COUNT_OFF,
    MANUAL,
    RIP_CLOSES,
    STILL_TEETH,
    UNPLUG,
)
from bench.checks.shared.remarks import of_sweeps
from bench.checks.shared.slopes import place, shared_rows
from bench.finding import Finding, Quantity, Remark
from bench.gear import LeftRight
from bench.moves.alignment import CLOSES, OPENS

PLACEMENT = "-"
# three leave Student's t so wide that half the limit is seldom called good
PASSES = 6


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    where: LeftRight = gear.saw.rip_fence if gear.saw is not None else "right"
    side: LeftRight = "left" if where == "right" else "right"
    if options.get("side") in ("left", "right"):
        side = "left" if options["side"] == "left" else "right"
    return (
        Step(
            placement=PLACEMENT,
            words=(
                "Lock the rip fence. Indicator riding in the slot on the"
                f" {side.upper()} of the rip fence. Tip on its face, at a board's"
                " height; hold against one wall."
            ),
            gather="sweep",
            repeat=PASSES,
            side=side,
            mount="standing" if options.get("mount") == "standing" else "carried",
            picture="rip-fence",
            pushed="indicator",
            reseat="Unlock and lock the rip fence again.",
        ),
    )


def evaluate(evidence: Evidence) -> Finding:
    from bench.uncertainty import (
        Part,
        between_sweeps,
        combine,
        decidable_tolerance,
        settle,
        verdict_one_sided,
    )

    remarks: list[Remark] = []
    if not any(t.placement == PLACEMENT for t in evidence.traces):
        raise EvidenceError(f"no sweep along the rip fence (placement {PLACEMENT!r})")
    placed, rows = place(evidence, plan(evidence.options, evidence.gear), remarks)
    known, saw = evidence.known, evidence.gear.saw
    confidence = 0.99 if known.looks else 0.95
    groups = [placed[0].group(1.0)]
    between = between_sweeps(
        groups, known.pool, known.yaw_play, known.single_sweep_scatter
    )
    b = placed[0].rotation
    parts = [*between.parts, *shared_rows(evidence, placed, [1.0], b, common=True)]
    combined = combine(parts, confidence)
    blade = given_number(evidence.options, "blade")
    limit = saw.toe if saw is not None else None
    opens = -1.0 if saw is None or saw.rip_fence == "right" else 1.0
    quantities = []
    judged, value = combined, b
    if blade is not None:
        spread = given_number(evidence.options, "blade_uncertainty")
        row = Part("blade", "B", spread / 2) if spread is not None else None
        if row is None:
            remarks.append(Remark("blade-exact"))
        judged, value = combine([*parts, row], confidence), b - blade
    else:
        remarks.append(Remark("blade-not-given"))
    opening = opens * value
    said = (
        verdict_one_sided(opening, judged.expanded, limit)
        if limit is not None
        else None
    )
    toe = blade is not None
    quantities.append(
        Quantity(
            "rip-fence",
            b,
            "rad",
            combined.expanded,
            combined.degrees_of_freedom,
            None if toe else limit,
            None if toe else said,
            _leans(b) if toe or saw is None else _opens(opening),
            over=placed[0].length,
        )
    )
    if toe:
        quantities.append(
            Quantity(
                "toe",
                value,
                "rad",
                judged.expanded,
                judged.degrees_of_freedom,
                limit,
                said,
                _opens(opening),
                over=placed[0].length,
            )
        )
    if opening < 0:
        surely = float(opening + judged.expanded < 0)
        values = {"closing": float(-opening), "surely": surely}
        remarks.append(Remark("closes", values=values, severity="warning"))
    settled = None
    if said == "cannot-tell" and limit is not None:
        margin = min(abs(opening), abs(limit - opening))
        settled = settle(
            opening,
            judged,
            limit,
            between,
            groups,
            margin=margin,
            length=placed[0].length,
        )
    remarks.extend(of_sweeps(evidence, between))
    if saw is None:
        remarks.append(Remark("no-saw-for-toe"))
    elif limit is not None and (least := 2 * decidable_tolerance(judged)) > limit:
        remarks.append(Remark("no-opening-good", values={"least": float(least)}))
    return Finding(
        check=KIND,
        jig=evidence.gear.jig.name if evidence.gear.jig else None,
        saw=saw.name if saw else None,
        quantities=quantities,
        verdict=said,
        confidence=confidence,
        settle=settled,
        sweeps=rows,
        budget=judged.rows,
        single_sweep=between.single,
        remarks=remarks,
    )


def _leans(b: float) -> str:
    """Counter-clockwise, the rear (far from the operator) goes left."""
    return "rear leans left" if b > 0 else "rear leans right"


def _opens(opening: float) -> str:
    return OPENS if opening > 0 else CLOSES


KIND = "rip-fence"

CHECK = Check(
    kind=KIND,
    question="Does the rip fence run with the blade?",
    plan=plan,
    evaluate=evaluate,
    quantities=("rip-fence", "toe"),
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, RIP_CLOSES, COUNT_OFF, MANUAL),
    options=(
        Option(
            "blade",
            "angle",
            "How far the blade is out, from its own check",
            low=-STEEPEST,
            high=STEEPEST,
        ),
        Option(
            "blade_uncertainty",
            "angle",
            "Give or take of that",
            low=0.0,
            high=STEEPEST,
            needs="blade",
        ),
        Option(
            "hold",
            "choice",
            "Against which wall of the slot it is held",
            None,
            ("left", "right"),
        ),
        MOUNT,
        SIDE,
    ),
    needs=("saw",),
    rank=3,
    turns_saw="rip fence",
)

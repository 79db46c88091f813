"""Does the rip fence run with the blade, and open a little at the rear? The indicator
is carried along it.

toe = rotation of the rip fence less rotation of the blade. Right of the blade a
negative toe opens at the rear, left of it a positive one. Opening a little is the safe
way; closing is always said.
"""

from __future__ import annotations

from collections.abc import Mapping

import msgspec

from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Step
from bench.checks.options import (
    MOUNT,
    SIDE,
    STEEPEST,
    OptionValue,
    angle,
    choice,
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
from bench.checks.shared.results import combined, finding, quantity
from bench.checks.shared.slopes import place, shared_rows
from bench.finding import Finding, Remark
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
        decidable_tolerance,
        settle,
        verdict_one_sided,
    )

    remarks: list[Remark] = []
    if not any(t.placement == PLACEMENT for t in evidence.traces):
        raise EvidenceError(f"no pass along the rip fence (placement {PLACEMENT!r})")
    (here,), rows = place(evidence, plan(evidence.options, evidence.gear), remarks)
    known, saw, b = evidence.known, evidence.gear.saw, here.rotation
    groups = [here.group(1.0)]
    between = between_sweeps(
        groups, known.pool, known.yaw_play, known.single_sweep_scatter
    )
    parts = [*between.parts, *shared_rows(evidence, [here], [1.0], b, common=True)]
    budget = judged = combined(evidence, parts)
    value, blade = b, given_number(evidence.options, "blade")
    if blade is None:
        remarks.append(Remark("blade-not-given"))
    else:
        value, spread = b - blade, given_number(evidence.options, "blade_uncertainty")
        if spread is None:
            remarks.append(Remark("blade-exact"))
        else:
            judged = combined(evidence, [*parts, Part("blade", "B", spread / 2)])
    limit = saw.toe if saw is not None else None
    opening = value if saw is not None and saw.rip_fence == "left" else -value
    said = None
    if limit is not None:
        said = verdict_one_sided(opening, judged.expanded, limit)
    over, way = here.length, _leans(b) if saw is None else _opens(opening)
    quantities = [quantity("rip-fence", b, budget, way=way, over=over)]
    if blade is not None:
        quantities = [
            quantity("rip-fence", b, budget, way=_leans(b), over=over),
            quantity("toe", value, judged, way=_opens(opening), over=over),
        ]
    quantities[-1] = msgspec.structs.replace(
        quantities[-1], tolerance=limit, verdict=said
    )
    if opening < 0:
        surely = float(opening + judged.expanded < 0)
        values = {"closing": float(-opening), "surely": surely}
        remarks.append(Remark("closes", values=values, severity="warning"))
    settled = None
    if said == "cannot-tell" and limit is not None:
        margin = min(abs(opening), abs(limit - opening))
        settled = settle(
            opening, judged, limit, between, groups, margin=margin, length=over
        )
    remarks.extend(of_sweeps(evidence, between))
    if saw is None:
        remarks.append(Remark("no-saw-for-toe"))
    elif limit is not None and (least := 2 * decidable_tolerance(judged)) > limit:
        remarks.append(Remark("no-opening-good", values={"least": float(least)}))
    return finding(
        evidence,
        quantities,
        judged,
        settle=settled,
        sweeps=rows,
        single_sweep=between.single,
        remarks=remarks,
    )


def _leans(b: float) -> str:
    """Counter-clockwise, the rear (far from the operator) goes left."""
    return "rear leans left" if b > 0 else "rear leans right"


def _opens(opening: float) -> str:
    return OPENS if opening > 0 else CLOSES


CHECK = Check(
    kind="rip-fence",
    question="Does the rip fence run with the blade?",
    plan=plan,
    evaluate=evaluate,
    quantities=("rip-fence", "toe"),
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, RIP_CLOSES, COUNT_OFF, MANUAL),
    options=(
        angle("blade", "How far the blade is out, from its own check", -STEEPEST),
        angle("blade_uncertainty", "Give or take of that", 0.0, needs="blade"),
        choice("hold", "Against which wall of the slot it is held", ("left", "right")),
        MOUNT,
        SIDE,
    ),
    needs=("saw",),
    rank=3,
    turns_saw="rip fence",
)

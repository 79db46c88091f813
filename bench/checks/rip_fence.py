"""Does the rip fence run with the blade, and open a little at the rear? The indicator
is carried along it.

toe = rotation of the rip fence less rotation of the blade. Right of the blade a
negative toe opens at the rear, left of it a positive one. Opening a little is the safe
way; closing is always said.
"""

from __future__ import annotations

import msgspec

from bench.checks.model import Check, Evidence, EvidenceGear, Step
from bench.checks.options import (
    MOUNT,
    SIDE,
    STEEPEST,
    OptionValues,
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
from bench.checks.shared.results import (
    budget_of,
    finding,
    quantity,
    scatter_between,
    sweep_remarks,
)
from bench.checks.shared.sweep_fits import fit_placements, shared_rows
from bench.checks.slot_blade import rear_way
from bench.finding import EvidenceError, Finding, Remark, note, warning
from bench.gear import OTHER_SIDE
from bench.moves.alignment import CLOSES, OPENS, opening
from bench.uncertainty.budget import Budget, Part
from bench.uncertainty.verdicts import decidable_tolerance, settle, verdict_between

PLACEMENT = "-"
SET_UP_WORDS = (
    "Lock the rip fence. Indicator riding in the slot on the {side} of the rip fence."
    " Tip on its face, at a board's height; hold against one wall."
)
# three leave Student's t so wide that half the limit is seldom called good
USUAL_PASSES = 6


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    side = OTHER_SIDE[gear.saw.rip_fence if gear.saw is not None else "right"]
    if options.get("side") in ("left", "right"):
        side = "left" if options["side"] == "left" else "right"
    return (
        Step(
            PLACEMENT,
            SET_UP_WORDS.format(side=side.upper()),
            "sweep",
            USUAL_PASSES,
            side,
            "standing" if options.get("mount") == "standing" else "carried",
            picture="rip-fence",
            pushed="indicator",
            reseat="Unlock and lock the rip fence again.",
        ),
    )


def evaluate(evidence: Evidence) -> Finding:
    remarks: list[Remark] = []
    if PLACEMENT not in evidence.placements:
        raise EvidenceError(f"no pass along the rip fence (placement {PLACEMENT!r})")
    (here,), rows = fit_placements(
        evidence, plan(evidence.options, evidence.gear), remarks
    )
    saw, b, over = evidence.gear.saw, here.rotation, here.length
    groups = [here.group(1.0)]
    between = scatter_between(evidence, groups)
    parts = [*between.parts, *shared_rows(evidence, [here], [1.0], b, common=True)]
    budget = budget_of(evidence, parts)
    value, judged = _toe(evidence, b, [*parts], remarks)
    limit = saw.toe if saw is not None else None
    opened = opening(value, saw.rip_fence if saw is not None else "right")
    against_blade = given_number(evidence.options, "blade") is not None
    way = rear_way(b, None) if saw is None or against_blade else _opening_way(opened)
    quantities = [quantity("rip-fence", b, budget, way=way, over=over)]
    if against_blade:
        toe = quantity("toe", value, judged, way=_opening_way(opened), over=over)
        quantities.append(toe)
    settled = None
    if limit is not None:
        said = verdict_between(opened, judged.expanded, 0.0, limit)
        last = msgspec.structs.replace(quantities[-1], tolerance=limit, verdict=said)
        quantities[-1] = last
        if said == "cannot-tell":
            margin = min(abs(opened), abs(limit - opened))
            settled = settle(
                opened, judged, limit, between, groups, margin=margin, length=over
            )
    if opened < 0:
        surely = float(opened + judged.expanded < 0)
        remarks.append(warning("closes", closing=float(-opened), surely=surely))
    remarks.extend(sweep_remarks(evidence, between))
    if limit is None:
        remarks.append(note("no-saw-for-toe"))
    elif (least := 2 * decidable_tolerance(judged)) > limit:
        remarks.append(note("no-opening-good", least=float(least)))
    return finding(
        evidence,
        quantities,
        judged,
        settle=settled,
        sweeps=rows,
        single_sweep=between.single,
        remarks=remarks,
    )


def _toe(
    evidence: Evidence, b: float, parts: list[Part | None], remarks: list[Remark]
) -> tuple[float, Budget]:
    """The rip fence's rotation against the blade's, where that is given, and its
    budget."""
    blade = given_number(evidence.options, "blade")
    spread = given_number(evidence.options, "blade_uncertainty")
    if blade is None:
        remarks.append(note("blade-not-given"))
        return b, budget_of(evidence, parts)
    if spread is None:
        remarks.append(note("blade-exact"))
    else:
        parts.append(Part("blade", "B", spread / 2))
    return b - blade, budget_of(evidence, parts)


def _opening_way(opened: float) -> str:
    return OPENS if opened > 0 else CLOSES


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

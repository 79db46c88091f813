"""Is the sled fence square to the cut? A square stands with its handle on the fence;
the sled is swept past.

b1 = a - e with the handle left of the arm and b2 = a + e with the square turned over
(near fence), so that a = (b1 + b2) / 2 is the fence and e = (b2 - b1) / 2 the square's
own error: the reversal of Evans, Hocken, Estler (1996), CIRP Annals 45(2), 617-634.
"""

from __future__ import annotations

from collections.abc import Sequence

from bench.checks.model import Check, Evidence, EvidenceGear, Step
from bench.checks.options import HOLD, MOUNT, SIDE, Option, OptionValues, choice, length
from bench.checks.shared.arm import (
    ArmAndSlot,
    arm_form_row,
    curvature_of_slot,
    fit_on_one_stretch,
    rolling_row,
    slot_remarks,
    stand_remarks,
    stand_row,
)
from bench.checks.shared.cautions import (
    BLADE_DOWN,
    COUNT_OFF,
    MANUAL,
    STILL_TEETH,
    UNPLUG,
)
from bench.checks.shared.known_square import square_remarks, with_known_square
from bench.checks.shared.placement_fit import PlacementFit, renewed_set_ups
from bench.checks.shared.plausibility import side_proved
from bench.checks.shared.results import (
    budget_of,
    finding,
    history_remarks,
    hold_remarks,
    quantity,
    scatter_between,
    settled_by,
    step_remarks,
    sweep_remarks,
    tolerance_remarks,
)
from bench.checks.shared.sweep_fits import TOUCHED_AWAY, pass_sizes, shared_rows
from bench.finding import (
    EvidenceError,
    Finding,
    Quantity,
    Remark,
    Verdict,
    note,
    warning,
)
from bench.gear import OTHER_SIDE, Jig, LeftRight
from bench.uncertainty.budget import Part
from bench.uncertainty.variance_components import between_set_ups

LEFT, RIGHT = "handle-left", "handle-right"
SET_UPS = {
    LEFT: (
        "Square on the sled fence, handle to the LEFT of the arm. The arm points {arm}."
        " Indicator standing on the {} of the arm, level. Tip beside where the"
        " front teeth cut. Pencil on the arm where the tip touches."
    ),
    RIGHT: (
        "Turn the square over: handle to the RIGHT of the arm. Same stretch of the sled"
        " fence, same edge of the arm. Indicator standing on the {} of the arm. Tip on"
        " the pencil mark."
    ),
}
# mm: 10 at the arm's tip, 20 at the handle; common practice, no source
CLEAR_OF_ENDS = 30.0

RESEAT = "Lift the square, wipe it, press it home again."
# mm a count, from where on the instrument's own steps limit; common practice, no source
COARSE_COUNT = 0.005
SHIFT_STAND = "Shift the stand too. The number must change by 0.2 to 0.5 mm."


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    only = LEFT if options.get("quick") else options.get("placements") or "both"
    first: LeftRight = "left" if options.get("side") == "left" else "right"
    if only == RIGHT and options.get("side") in ("left", "right"):
        first = OTHER_SIDE[first]  # the side said is that of the first set-up taken
    sides = {LEFT: first, RIGHT: OTHER_SIDE[first]}
    arm = "toward you" if gear.far else "away from you"
    return tuple(
        _step(name, SET_UPS[name].format(side.upper(), arm=arm), side, options, gear)
        for name, side in sides.items()
        if only in ("both", name)
    )


def _step(
    placement: str,
    words: str,
    side: LeftRight,
    options: OptionValues,
    gear: EvidenceGear,
) -> Step:
    coarse = (gear.indicator.resolution or 0.0) >= COARSE_COUNT
    return Step(
        placement,
        words,
        "sweep",
        side=side,
        mount="carried" if options.get("mount") == "carried" else "standing",
        picture=f"square-{placement}",
        reseat=f"{RESEAT} {SHIFT_STAND}" if coarse else RESEAT,
    )


def evaluate(evidence: Evidence) -> Finding:
    remarks: list[Remark] = []
    steps = _steps_taken(evidence)
    placed, rows, seen = fit_on_one_stretch(evidence, steps, remarks)
    both, known, tolerance = len(placed) == 2, evidence.known, evidence.gear.tolerance
    weights = [0.5, 0.5] if both else [1.0]
    groups = [g for p, w in zip(placed, weights, strict=True) for g in p.groups(w)]
    between = scatter_between(evidence, groups)
    shares, renewed = [g.weight for g in groups], renewed_set_ups(placed, between)
    set_ups = between_set_ups(shares, known.set_ups, renewed)
    a, row = _fence_rotation(evidence, placed, seen, remarks)
    own = [*between.parts, set_ups, stand_row(seen), row]
    shared = shared_rows(evidence, placed, weights, a, common=True)
    budget = budget_of(evidence, [*own, *shared, rolling_row(evidence, placed)])
    fence = quantity("fence", a, budget, tolerance, fence_way(a, evidence.gear.jig))
    quantities = [fence]
    if both:
        quantities += _square_quantities(evidence, placed, own, seen, budget.confidence)
        e = quantities[1]
        remarks += [
            *square_remarks(evidence, a, budget.expanded, e.value, e.uncertainty),
            *stand_remarks(budget, seen),
            *slot_remarks(seen, placed[0].length, budget.expanded),
        ]
    if fence.verdict == "cannot-tell" and abs(a) <= budget.expanded:
        remarks.append(warning("either-side"))
    remarks += [
        *sweep_remarks(evidence, between),
        *history_remarks(known, pooled=between.pooled or between.single),
        *_away_remarks(evidence),
        *tolerance_remarks(budget, tolerance),
        *step_remarks(budget, fence.verdict),
        *hold_remarks(evidence),
        *_sled_remarks(evidence, steps, fence.verdict),
    ]
    remarks += [note("handle-stretch")] if both else []
    sizes = pass_sizes(placed, _longest(evidence))
    return finding(
        evidence,
        quantities,
        budget,
        settle=settled_by(fence, budget, between, groups, anew=len(placed), **sizes),
        sweeps=rows,
        single_sweep=between.single,
        remarks=remarks,
    )


def _steps_taken(evidence: Evidence) -> tuple[Step, ...]:
    there = [name for name in (LEFT, RIGHT) if evidence.at(name)]
    if not there:
        raise EvidenceError(f"no pass at {LEFT} or {RIGHT}")
    taken = there[0] if len(there) == 1 else "both"
    return plan({**evidence.options, "placements": taken}, evidence.gear)


def _square_quantities(
    evidence: Evidence,
    placed: Sequence[PlacementFit],
    own: Sequence[Part | None],
    seen: ArmAndSlot | None,
    confidence: float,
) -> list[Quantity]:
    """The square's own error, and the slot's curvature where it was seen. own: the
    rows that both share with the fence."""
    e = _square_sign(evidence) * (placed[1].rotation - placed[0].rotation) / 2
    shared = shared_rows(evidence, placed, [0.5, 0.5], e, common=False)
    way = "wider than square" if e > 0 else "tighter than square"
    square = quantity("square", e, budget_of(evidence, [*own, *shared]), way=way)
    return [square] if seen is None else [square, curvature_of_slot(seen, confidence)]


def _square_sign(evidence: Evidence) -> float:
    """The arm points toward you from a far fence, so the square's error enters the
    other way round."""
    return -1.0 if evidence.gear.far else 1.0


def _fence_rotation(
    evidence: Evidence,
    placed: Sequence[PlacementFit],
    seen: ArmAndSlot | None,
    remarks: list[Remark],
) -> tuple[float, Part | None]:
    """The fence from both set-ups, or from one and what is known of the square; and
    the row of what stays of the square in it."""
    if len(placed) == 2:
        a = (placed[0].rotation + placed[1].rotation) / 2
        return a, arm_form_row(evidence, placed, seen)
    sign = _square_sign(evidence) if placed[0].name == LEFT else -_square_sign(evidence)
    return with_known_square(evidence, placed[0], sign, remarks)


def _sled_remarks(
    evidence: Evidence, steps: Sequence[Step], said: Verdict | None
) -> list[Remark]:
    if evidence.gear.jig is None:
        return [note("no-sled")]
    if side_proved(evidence, steps) or said != "outside":
        return []
    return [
        warning("side-as-said", proof="without-play" if evidence.leans else "unleaned")
    ]


def _away_remarks(evidence: Evidence) -> list[Remark]:
    """Touching away from the teeth cannot stand in the budget without both lengths that
    it hangs on."""
    options = evidence.options
    known = all(options.get(name) is not None for name in TOUCHED_AWAY)
    away = options.get("touch_away") and not known
    return [warning("touch-away-unknown")] if away else []


def _longest(evidence: Evidence) -> float | None:
    """mm of the arm that a pass could cover: clear of tip and handle."""
    square = evidence.gear.square
    return square.arm - CLEAR_OF_ENDS if square is not None and square.arm else None


def fence_way(a: float, jig: Jig | None) -> str:
    """Which end stands wrong. Turned counter-clockwise the left end has come toward the
    operator."""
    end: LeftRight = jig.moving_end if jig is not None else "left"
    near = (a > 0) if end == "left" else (a < 0)
    return f"{end} end too near you" if near else f"{end} end too far from you"


KIND = "fence-square"


def lighter(finding: Finding) -> OptionValues | None:
    """One set-up, where both were taken before: the square's error is known."""
    known = any(q.name == "square" for q in finding.quantities)
    return {"placements": LEFT} if known else None


CHECK = Check(
    kind=KIND,
    question="Is the sled fence square to the cut?",
    plan=plan,
    evaluate=evaluate,
    quantities=("fence", "square", "slot-curvature"),
    turns_fence=True,
    rank=1,
    measures=("fence", "square"),
    lighter=lighter,
    takes=("square",),
    stops_early=True,
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, COUNT_OFF, MANUAL),
    options=(
        choice(
            "placements", "Which set-ups to take", ("both", LEFT, RIGHT), default="both"
        ),
        choice("quick", "Quick check: one set-up, the rest as last proved", ("yes",)),
        HOLD,
        length(
            "touch_away",
            "How far from the front teeth the tip stands, along the travel",
            (0.0, 1000.0),
        ),
        length(
            "slot_straight",
            "How straight the slot is over a runner's length",
            (0.0, 10.0),
            needs="touch_away",
        ),
        length(
            "runner_length", "Length of the runners", (10.0, 5000.0), needs="touch_away"
        ),
        length(
            "touch_high",
            "How far above or below the arm's middle the indicator touches",
            (0.0, 200.0),
        ),
        Option(
            "roll",
            "slope",
            "How much the sled rolls from side to side over a pass",
            low=0.0,
            high=0.01,
            needs="touch_high",
        ),
        MOUNT,
        SIDE,
    ),
    needs=("jig",),
)

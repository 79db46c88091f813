"""Is the sled's fence square to the cut? A square stands with its handle on the fence;
the sled is swept past.

b1 = a - e with the handle left of the arm and b2 = a + e with the square turned over
(near fence), so that a = (b1 + b2) / 2 is the fence and e = (b2 - b1) / 2 the square's
own error: the reversal of Evans, Hocken, Estler (1996), CIRP Annals 45(2), 617-634.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Mount, Step
from bench.checks.options import (
    HOLD,
    MOUNT,
    SIDE,
    Option,
    OptionValue,
    choice,
    length,
)
from bench.checks.shared.arm import (
    ArmAndSlot,
    arm_form,
    curvature_of_slot,
    placed_on_one_stretch,
    rolling,
    stand_row,
    told_of_slot,
    told_of_stand,
)
from bench.checks.shared.cautions import (
    BLADE_DOWN,
    COUNT_OFF,
    MANUAL,
    STILL_TEETH,
    UNPLUG,
)
from bench.checks.shared.placed import Placed, renewed_set_ups
from bench.checks.shared.remarks import (
    of_hold,
    of_steps,
    of_sweeps,
    rests_on,
    undecided,
)
from bench.checks.shared.results import combined, finding, quantity
from bench.checks.shared.slips import side_proved
from bench.checks.shared.slopes import shared_rows
from bench.checks.shared.square_error import square_remarks, with_known_square
from bench.finding import Finding, Remark, Settle, Verdict
from bench.gear import Jig, LeftRight

if TYPE_CHECKING:
    from bench.uncertainty import Part

LEFT, RIGHT = "handle-left", "handle-right"
OTHER: dict[str, LeftRight] = {"left": "right", "right": "left"}
# mm: 10 at the arm's tip, 20 at the handle; common practice, no source
CLEAR_OF_ENDS = 30.0
TOUCH_AWAY_TAKES = ("slot_straight", "runner_length")
RESEAT = "Lift the square, wipe it, press it home again."
# mm a count, from where on the instrument's own steps limit; common practice, no source
COARSE = 0.005
SHIFT = "Shift the stand too. The number must change by 0.2 to 0.5 mm."


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    mount: Mount = "carried" if options.get("mount") == "carried" else "standing"
    only = options.get("placements") or "both"
    if options.get("quick"):
        only = LEFT
    first: LeftRight = "left" if options.get("side") == "left" else "right"
    if only == RIGHT and options.get("side") in ("left", "right"):
        first = OTHER[first]  # the side said is that of the first set-up taken
    far = gear.jig is not None and gear.jig.fence == "far"
    reseat = (
        f"{RESEAT} {SHIFT}" if (gear.indicator.resolution or 0.0) >= COARSE else RESEAT
    )
    lies = "toward you" if far else "away from you"
    left = Step(
        placement=LEFT,
        words=(
            "Square on the sled fence, handle to the LEFT of the arm."
            f" The arm points {lies}. Indicator standing on the {first.upper()} of the"
            " arm, level. It touches as high as the leading teeth. Pencil on the arm"
            " where the tip touches."
        ),
        gather="sweep",
        side=first,
        mount=mount,
        picture="square-handle-left",
        reseat=reseat,
    )
    second = OTHER[first]
    right = Step(
        placement=RIGHT,
        words=(
            "Turn the square over: handle to the RIGHT of the arm. Same stretch of the"
            " sled fence, same edge of the arm. Indicator standing on the"
            f" {second.upper()} of the arm. Tip on the pencil mark."
        ),
        gather="sweep",
        side=second,
        mount=mount,
        picture="square-handle-right",
        reseat=reseat,
    )
    if only == LEFT:
        return (left,)
    if only == RIGHT:
        return (right,)
    return (left, right)


def evaluate(evidence: Evidence) -> Finding:
    from bench.uncertainty import between_set_ups, between_sweeps, settle

    remarks: list[Remark] = []
    present = {t.placement for t in evidence.traces}
    if not present & {LEFT, RIGHT}:
        raise EvidenceError(f"no pass at {LEFT} or {RIGHT}")
    taken = "both" if {LEFT, RIGHT} <= present else LEFT if LEFT in present else RIGHT
    steps = plan({**evidence.options, "placements": taken}, evidence.gear)
    placed, rows, seen = placed_on_one_stretch(evidence, steps, remarks)
    jig, known = evidence.gear.jig, evidence.known
    both = len(placed) == 2
    weights = [0.5, 0.5] if both else [1.0]
    groups = [g for p, w in zip(placed, weights, strict=True) for g in p.groups(w)]
    between = between_sweeps(
        groups, known.pool, known.yaw_play, known.single_sweep_scatter
    )
    set_ups = between_set_ups(
        [group.weight for group in groups],
        known.set_ups,
        renewed_set_ups(placed, between),
    )
    own = [*between.parts, set_ups, stand_row(seen)]
    a, row = _mean_of(evidence, placed, seen, remarks)
    own.append(row)
    shared = shared_rows(evidence, placed, weights, a, common=True)
    budget = combined(evidence, [*own, *shared, rolling(evidence, placed)])
    tolerance = jig.tolerance if jig is not None else None
    fence = quantity("fence", a, budget, tolerance, fence_way(a, jig))
    quantities = [fence]
    if both:
        e = _sense(jig) * (placed[1].rotation - placed[0].rotation) / 2
        shared = shared_rows(evidence, placed, weights, e, common=False)
        way = "wider than square" if e > 0 else "tighter than square"
        square = quantity("square", e, combined(evidence, [*own, *shared]), way=way)
        quantities.append(square)
        if seen is not None:
            quantities.append(curvature_of_slot(seen, budget.confidence))
        remarks += square_remarks(evidence, a, budget.expanded, e, square.uncertainty)
        remarks += told_of_stand(budget, seen)
        remarks += told_of_slot(seen, placed[0].length, budget.expanded)
    settled: Settle | None = None
    if fence.verdict == "cannot-tell" and tolerance is not None:
        settled = settle(
            a,
            budget,
            tolerance,
            between,
            groups,
            anew=len(placed),
            length=placed[0].length,
            longest=_longest(evidence),
            count=max(fit.count for p in placed for _, fit in p.pushes),
        )
        if abs(a) <= budget.expanded:
            remarks.append(Remark("either-side", severity="warning"))
    remarks += of_sweeps(evidence, between)
    remarks += rests_on(known, pooled=between.pooled or between.single)
    remarks += _away_untold(evidence)
    remarks += undecided(budget, tolerance)
    remarks += of_steps(budget, fence.verdict)
    remarks += of_hold(evidence)
    remarks += _of_sled(evidence, steps, fence.verdict)
    if both:
        remarks.append(Remark("handle-stretch"))
    return finding(
        evidence,
        quantities,
        budget,
        settle=settled,
        sweeps=rows,
        single_sweep=between.single,
        remarks=remarks,
    )


def _sense(jig: Jig | None) -> float:
    """The arm points toward you from a far fence, so the square's error enters the
    other way round."""
    return -1.0 if jig is not None and jig.fence == "far" else 1.0


def _mean_of(
    evidence: Evidence,
    placed: Sequence[Placed],
    seen: ArmAndSlot | None,
    remarks: list[Remark],
) -> tuple[float, Part | None]:
    """The fence from both set-ups, or from one and what is known of the square; and
    the row of what stays of the square in it."""
    if len(placed) == 2:
        a = (placed[0].rotation + placed[1].rotation) / 2
        return a, arm_form(evidence, placed, seen)
    sense = _sense(evidence.gear.jig)
    sign = sense if placed[0].name == LEFT else -sense
    return with_known_square(evidence, placed[0], sign, remarks)


def _of_sled(
    evidence: Evidence, steps: Sequence[Step], said: Verdict | None
) -> list[Remark]:
    if evidence.gear.jig is None:
        return [Remark("no-sled")]
    if side_proved(evidence, steps) or said != "outside":
        return []
    proof = {"proof": "without-play" if evidence.leans else "unleaned"}
    return [Remark("side-as-said", values=proof, severity="warning")]


def _away_untold(evidence: Evidence) -> list[Remark]:
    """Touching away from the teeth cannot stand in the budget without both lengths that
    it hangs on."""
    options = evidence.options
    if not options.get("touch_away") or all(
        options.get(n) is not None for n in TOUCH_AWAY_TAKES
    ):
        return []
    return [Remark("touch-away-unknown", severity="warning")]


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


def lighter(finding: Finding) -> Mapping[str, OptionValue] | None:
    """One set-up, where both were taken before: the square's error is known."""
    if any(q.name == "square" for q in finding.quantities):
        return {"placements": LEFT}
    return None


CHECK = Check(
    kind=KIND,
    question="Is the sled's fence square to the cut?",
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
            "placements",
            "Which set-ups to take",
            ("both", LEFT, RIGHT),
            default="both",
        ),
        choice("quick", "One set-up, by what the last whole check proved", ("yes",)),
        HOLD,
        length(
            "touch_away",
            "How far from the leading teeth the indicator touches, along the travel",
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

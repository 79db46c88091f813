"""Is the sled's fence square to the cut? A square stands with its handle on the fence;
the sled is swept past.

b1 = a - e with the handle left of the arm and b2 = a + e with the square turned over
(near fence), so that a = (b1 + b2) / 2 is the fence and e = (b2 - b1) / 2 the square's
own error: the reversal of Evans, Hocken, Estler (1996), CIRP Annals 45(2), 617-634.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Mount, Step
from bench.checks.options import MOUNT, SIDE, Option, OptionValue
from bench.checks.shared.arm import (
    curvature_of_slot,
    placed_on_one_stretch,
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
from bench.checks.shared.placed import Placed
from bench.checks.shared.remarks import (
    of_steps,
    of_sweeps,
    rests_on,
    undecided,
    wall_of,
)
from bench.checks.shared.slips import side_proved
from bench.checks.shared.slopes import shared_rows
from bench.finding import Finding, Quantity, Remark, RemarkValue, Settle, Verdict
from bench.gear import Jig, LeftRight

if TYPE_CHECKING:
    from bench.uncertainty import Combined, Part

LEFT, RIGHT = "handle-left", "handle-right"
OTHER: dict[str, LeftRight] = {"left": "right", "right": "left"}
ARM_BOW = 0.02  # mm over the arm; common practice, no source
SAME_STRETCH = 2.0  # mm that the middles of both set-ups may lie apart
# mm: 10 at the arm's tip, 20 at the handle; common practice, no source
CLEAR_OF_ENDS = 30.0
# rad; a square worse than this is not used to set out with; common practice, no source
POOR_SQUARE = 0.1 / 300
# rad; beside a fence near zero a square so far off is less likely than the slip; common
# practice, no source
DOUBTFUL_SQUARE = 0.03 / 300
TOUCH_AWAY_TAKES = ("slot_straight", "runner_length")
RESEAT = "Lift the square, wipe it, press it home again."
COARSE = (
    # mm a count, from where on the instrument's own steps are what limits; common
    # practice, no source
    0.005
)
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
            " arm. It touches as high as the leading teeth. Pencil on the arm where the"
            " tip touches."
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
    from bench.uncertainty import (
        between_set_ups,
        between_sweeps,
        combine,
        settle,
        verdict,
    )

    remarks: list[Remark] = []
    present = {t.placement for t in evidence.traces}
    if not present & {LEFT, RIGHT}:
        raise EvidenceError(f"no sweep at {LEFT} or {RIGHT}")
    taken = "both" if {LEFT, RIGHT} <= present else LEFT if LEFT in present else RIGHT
    steps = plan({**evidence.options, "placements": taken}, evidence.gear)
    placed, rows, seen = placed_on_one_stretch(evidence, steps, remarks)
    jig, known = evidence.gear.jig, evidence.known
    confidence = 0.99 if known.looks else 0.95
    # the arm points toward you from a far fence, so the square's error enters the other
    # way round
    sense = -1.0 if jig is not None and jig.fence == "far" else 1.0
    both = len(placed) == 2
    weights = [0.5, 0.5] if both else [1.0]
    groups = [p.group(w) for p, w in zip(placed, weights, strict=True)]
    between = between_sweeps(
        groups, known.pool, known.yaw_play, known.single_sweep_scatter
    )
    own = [*between.parts, between_set_ups(weights, known.set_ups), stand_row(seen)]
    if both:
        a = (placed[0].rotation + placed[1].rotation) / 2
        own.append(_arm_form(evidence, placed))
    else:
        a, row = _with_known_square(evidence, placed[0], sense, remarks)
        own.append(row)
    shared = shared_rows(evidence, placed, weights, a, common=True)
    combined = combine([*own, *shared], confidence)
    tolerance = jig.tolerance if jig is not None else None
    said = verdict(a, combined.expanded, tolerance) if tolerance is not None else None
    quantities = [_fence(a, combined, jig, said)]
    if both:
        e = sense * (placed[1].rotation - placed[0].rotation) / 2
        shared = shared_rows(evidence, placed, weights, e, common=False)
        of_square = combine([*own, *shared], confidence)
        quantities.append(_square(e, of_square))
        if seen is not None:
            quantities.append(curvature_of_slot(seen, confidence))
        remarks += square_remarks(evidence, a, combined.expanded, e, of_square.expanded)
        remarks += told_of_stand(combined, seen)
        remarks += told_of_slot(seen, placed[0].length, combined.expanded)
    settled: Settle | None = None
    if said == "cannot-tell" and tolerance is not None:
        settled = settle(
            a,
            combined,
            tolerance,
            between,
            groups,
            length=placed[0].length,
            longest=_longest(evidence),
            count=_count(placed),
        )
    if said == "cannot-tell" and abs(a) <= combined.expanded:
        remarks.append(Remark("either-side", severity="warning"))
    remarks += of_sweeps(evidence, between)
    remarks += rests_on(known, pooled=between.pooled or between.single)
    remarks += _away_untold(evidence)
    remarks += undecided(combined, tolerance)
    remarks += of_steps(combined, said)
    remarks += _of_hold(evidence)
    remarks += _of_sled(evidence, steps, said)
    if both:
        remarks.append(Remark("handle-stretch"))
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=quantities,
        verdict=said,
        confidence=confidence,
        settle=settled,
        sweeps=rows,
        budget=combined.rows,
        single_sweep=between.single,
        remarks=remarks,
    )


def _fence(
    a: float, found: Combined, jig: Jig | None, said: Verdict | None
) -> Quantity:
    return Quantity(
        "fence",
        a,
        "rad",
        found.expanded,
        found.degrees_of_freedom,
        jig.tolerance if jig is not None else None,
        said,
        fence_way(a, jig),
    )


def _square(e: float, found: Combined) -> Quantity:
    return Quantity(
        "square",
        e,
        "rad",
        found.expanded,
        found.degrees_of_freedom,
        way="wider than square" if e > 0 else "tighter than square",
    )


def _of_hold(evidence: Evidence) -> list[Remark]:
    """Where it was not said against which wall the sled is held."""
    if wall_of(evidence) is not None or all(t.hold for t in evidence.traces if t.push):
        return []
    play = evidence.known.yaw_play
    if play is None:
        return [Remark("yaw-unknown")]
    return [Remark("hold-unsaid", values={"play": play})]


def _of_sled(
    evidence: Evidence, steps: Sequence[Step], said: Verdict | None
) -> list[Remark]:
    if evidence.gear.jig is None:
        return [Remark("no-sled")]
    if side_proved(evidence, steps) or said != "outside":
        return []
    proof = {"proof": "without-play" if evidence.leans else "unleaned"}
    return [Remark("side-as-said", values=proof, severity="warning")]


def _with_known_square(
    evidence: Evidence, placed: Placed, sense: float, remarks: list[Remark]
) -> tuple[float, Part | None]:
    """One placement: the square's error comes from its log, else from its tolerance."""
    from bench.uncertainty import square

    sign = sense if placed.name == LEFT else -sense
    history, owned = evidence.known.square, evidence.gear.square
    if history is not None:
        if history.whole is not None:
            taken: dict[str, RemarkValue] = {
                "count": history.count,
                "whole": history.whole,
            }
            remarks.append(Remark("quick-inherits", values=taken))
        else:
            remarks.append(Remark("square-as-measured"))
        row = square(
            standard_uncertainty=history.standard_uncertainty,
            dof=history.degrees_of_freedom,
        )
        return placed.rotation + sign * history.error, row
    if owned is not None and owned.tolerance is not None:
        row = square(tolerance=owned.tolerance, length=owned.arm or placed.length)
        remarks.append(Remark("square-as-told"))
        return placed.rotation, row
    values = {"poor": POOR_SQUARE}
    remarks.append(Remark("square-unknown", values=values, severity="warning"))
    return placed.rotation, None


def square_remarks(
    evidence: Evidence, a: float, expanded_a: float, e: float, expanded_e: float
) -> list[Remark]:
    """Where the square's error does not fit what is known of it: the sign of a set-up
    that was not turned over.

    Nothing turned and the second side declared all the same, the fence comes out near
    zero whatever it is, and the square takes its whole error.
    """
    history, owned = evidence.known.square, evidence.gear.square
    near_zero = abs(a) <= max(expanded_a, abs(e) / 10)
    if history is not None:
        apart = abs(e - history.error)
        if apart <= math.hypot(expanded_e, 2 * history.standard_uncertainty):
            return []
        off = Remark("square-changed", values={"off": apart}, severity="warning")
    elif owned is not None and owned.tolerance is not None and owned.arm:
        if abs(e) <= owned.tolerance / owned.arm + expanded_e:
            return []
        values = {"off": abs(e)}
        off = Remark("square-over-tolerance", values=values, severity="warning")
    else:
        if abs(e) <= (DOUBTFUL_SQUARE if near_zero else POOR_SQUARE) + expanded_e:
            return []
        off = Remark("square-poor", values={"off": abs(e)}, severity="warning")
    values = {"near_zero": float(near_zero)}
    return [off, Remark("square-not-turned", values=values, severity="warning")]


def _arm_form(evidence: Evidence, placed: Sequence[Placed]) -> Part | None:
    """Both set-ups over different stretches of the arm: a bow h over its length L, met
    d further on, turns the edge by 8 h d / L^2, half of which is left in fence and
    square. A half-width."""
    from bench.uncertainty import rectangular

    middles = [
        statistics.fmean((fit.start + fit.stop) / 2 for _, fit in p.pushes)
        for p in placed
    ]
    apart = abs(middles[0] - middles[1])
    if apart < SAME_STRETCH:
        return None
    square = evidence.gear.square
    arm = (square.arm if square is not None else None) or max(p.length for p in placed)
    return rectangular("form of the arm", 4 * ARM_BOW * apart / arm**2)


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


def _count(placed: Sequence[Placed]) -> float:
    return max(fit.count for p in placed for _, fit in p.pushes)


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
    cautions=(UNPLUG, BLADE_DOWN, STILL_TEETH, COUNT_OFF, MANUAL),
    options=(
        Option(
            "placements",
            "choice",
            "Which set-ups to take",
            "both",
            ("both", LEFT, RIGHT),
        ),
        Option(
            "quick",
            "choice",
            "One set-up, by what the last whole check proved",
            None,
            ("yes",),
        ),
        Option(
            "hold",
            "choice",
            "Against which wall of the slots the sled is held",
            None,
            ("left", "right"),
        ),
        Option(
            "touch_away",
            "length",
            "How far from the leading teeth the indicator touches, along the travel",
            low=0.0,
            high=1000.0,
        ),
        Option(
            "slot_straight",
            "length",
            "How straight the slot is over a runner's length",
            low=0.0,
            high=10.0,
            needs="touch_away",
        ),
        Option(
            "runner_length",
            "length",
            "Length of the runners",
            low=10.0,
            high=5000.0,
            needs="touch_away",
        ),
        MOUNT,
        SIDE,
    ),
    needs=("jig",),
)

"""Do the two fences of a mitre sled stand square to each other? One 45-degree square
lies with a leg on either fence, its long edge along the travel; the sled is swept past.

b = a + e at the fence whose line runs from near left to far right, b = a - e at the
other one; with both acute corners on both fences, and the right angle against a batten,
no corner of the square is trusted: its angles sum to half a turn, see
`bench.geometry.mitre`. Reversal and closure: Evans, Hocken, Estler (1996), CIRP Annals
45(2), 617-634.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from bench.checks.fence_square import RESEAT
from bench.checks.model import Check, Evidence, EvidenceGear, Step
from bench.checks.options import HOLD, OptionValues, choice
from bench.checks.shared.cautions import AT_REST
from bench.checks.shared.known_square import (
    RightAngle,
    edge_form,
    known_right_angle,
    long_edge,
)
from bench.checks.shared.placement_fit import PlacementFit
from bench.checks.shared.results import (
    budget_of,
    finding,
    quantity,
    scatter_between,
    settled_by,
    step_remarks,
    sweep_remarks,
    tolerance_remarks,
)
from bench.checks.shared.sweep_fits import fit_placements, pass_sizes, shared_rows
from bench.finding import (
    EvidenceError,
    Finding,
    Quantity,
    Remark,
    SweepRow,
    note,
    warning,
)
from bench.gear import OTHER_SIDE, Jig, LeftRight
from bench.geometry.mitre import KNOWN, RIGHT_ANGLE, Point, combination, slant
from bench.moves.mitre import FENCES, mitre_moves, mitre_way
from bench.uncertainty.budget import Budget, Part
from bench.uncertainty.sweeps import Group, SweepScatter
from bench.uncertainty.variance_components import between_set_ups

CLEAR_OF_CORNERS = 30.0  # mm of the long edge, at either end; common practice
# in the order of the hands: slid across as it lies, then turned over and slid back
FENCE_SET_UPS = (
    "left-fence-corner-a",
    "right-fence-corner-b",
    "right-fence-corner-a",
    "left-fence-corner-b",
)


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    known = options.get("right_angle") == "known"
    names = FENCE_SET_UPS if known else (*FENCE_SET_UPS, *RIGHT_ANGLE)
    return tuple(_step(name, gear) for name in names)


def accepts(placement: str, options: OptionValues, gear: EvidenceGear) -> Step | None:
    return _step(placement, gear) if placement in RIGHT_ANGLE else None


def _step(placement: str, gear: EvidenceGear) -> Step:
    side, words = (
        _right_angle_set_up(placement)
        if placement in RIGHT_ANGLE
        else _fence_set_up(placement, gear.jig)
    )
    return Step(
        placement=placement,
        words=f"{words} Indicator standing on the {side.upper()} of that edge.",
        gather="sweep",
        side=side,
        mount="standing",
        picture=f"mitre-{placement}",
        reseat=RESEAT,
    )


def _fence_set_up(placement: str, jig: Jig | None) -> tuple[LeftRight, str]:
    """The side on which the long edge lies free, and what to put up."""
    fence: LeftRight = "left" if placement.startswith("left") else "right"
    far = jig is not None and jig.fence == "far"
    outer = (point_of(jig) == "away") != far
    # the long edge looks away from the blade where it begins at the outer end
    side = fence if outer else OTHER_SIDE[fence]
    where = "outer end" if outer else "end at the blade"
    words = (
        f"45-degree square on the {fence.upper()} fence, one leg on the fence. Corner"
        f" {placement[-1].upper()} at the fence's {where}. A and B are pencilled at its"
        " two sharp corners. The long edge lies along the travel; pass over its middle."
    )
    return side, words


def _right_angle_set_up(placement: str) -> tuple[LeftRight, str]:
    if placement == RIGHT_ANGLE[0]:
        return "right", (
            "A straight batten clamped across the sled. One leg of the square along it,"
            " pointing LEFT. The other leg points away from you."
        )
    return "left", (
        "Turn the square over. The same leg lies on the same stretch of the batten."
        " It now points RIGHT, the other leg away from you."
    )


def point_of(jig: Jig | None) -> Point:
    """The side on which the fences meet, seen from the operator; away unless the
    settings say."""
    toward = jig is not None and jig.mitre == "point-toward"
    return "toward" if toward else "away"


class _Answer(msgspec.Struct, frozen=True):
    quantity: Quantity
    budget: Budget
    between: SweepScatter
    groups: list[Group]


def evaluate(evidence: Evidence) -> Finding:
    remarks: list[Remark] = []
    placed, rows = _placed(evidence, remarks)
    known = None
    if not set(RIGHT_ANGLE) <= {p.name for p in placed}:
        known = known_right_angle(evidence, remarks)
    answers = [
        answer
        for name in ("between", *FENCES)
        if (answer := _answer(name, evidence, placed, known)) is not None
    ]
    if not answers or answers[0].quantity.name != "between":
        raise EvidenceError(_missing_set_ups(placed))
    first, edge = answers[0], long_edge(evidence.gear.square)
    sizes = pass_sizes(placed, edge - 2 * CLEAR_OF_CORNERS if edge else None)
    q = first.quantity
    if q.verdict == "cannot-tell" and abs(q.value) <= q.uncertainty:
        remarks.append(warning("mitre-either-side"))
    remarks += sweep_remarks(evidence, first.between)
    remarks += tolerance_remarks(first.budget, q.tolerance)
    remarks += step_remarks(first.budget, q.verdict)
    remarks.extend(_corner_remarks(placed, evidence.gear.jig, first))
    remarks.extend(_swing_remarks([answer.quantity for answer in answers]))
    if evidence.gear.jig is None:
        remarks.append(note("no-sled"))
    return finding(
        evidence,
        [answer.quantity for answer in answers],
        first.budget,
        settle=settled_by(q, first.budget, first.between, first.groups, **sizes),
        sweeps=rows,
        single_sweep=first.between.single,
        remarks=remarks,
    )


def _placed(
    evidence: Evidence, remarks: list[Remark]
) -> tuple[list[PlacementFit], list[SweepRow]]:
    """Long edge and legs are ridden over stretches of their own."""
    placed: list[PlacementFit] = []
    rows: list[SweepRow] = []
    for names in (FENCE_SET_UPS, RIGHT_ANGLE):
        there = [name for name in names if evidence.at(name)]
        if names is RIGHT_ANGLE and len(there) == 1:
            missing = next(name for name in names if name not in there)
            raise EvidenceError(f"{there[0]} without {missing} tells nothing")
        if there:
            traces = [t for t in evidence.traces if t.placement in names]
            own = msgspec.structs.replace(evidence, traces=traces)
            steps = [_step(name, evidence.gear) for name in there]
            more, more_rows = fit_placements(own, steps, remarks)
            placed, rows = placed + more, rows + more_rows
    return placed, rows


def _missing_set_ups(placed: Sequence[PlacementFit]) -> str:
    there = ", ".join(p.name for p in placed) or "none"
    return (
        "the angle between the fences takes each corner on both fences, or corner A on"
        f" one and corner B on the other; there is {there}"
    )


def _answer(
    name: str,
    evidence: Evidence,
    placed: Sequence[PlacementFit],
    known: RightAngle | None,
) -> _Answer | None:
    """One quantity with its own budget; None where these set-ups do not determine
    it."""
    seen = [p.name for p in placed] + ([KNOWN] if known is not None else [])
    weights = combination(name, seen, point_of(evidence.gear.jig))
    if weights is None:
        return None
    used = [p for p in placed if abs(weights[p.name]) > 1e-9]
    shares = [weights[p.name] for p in used]
    value = math.fsum(w * p.rotation for w, p in zip(shares, used, strict=True))
    on_fence = [p for p in used if p.name not in RIGHT_ANGLE]
    ridden = max(p.length for p in on_fence)
    abs_share = math.fsum(abs(weights[p.name]) for p in on_fence)
    groups = [p.group(w) for p, w in zip(used, shares, strict=True)]
    between = scatter_between(evidence, groups)
    parts: list[Part | None] = [
        *between.parts,
        between_set_ups(shares, evidence.known.set_ups),
        *shared_rows(evidence, used, shares, value, common=name != "between"),
        edge_form(evidence.gear.square, ridden, abs_share),
    ]
    if known is not None:
        share = weights[KNOWN]
        value += share * known.error
        parts.append(known.part(share))
    budget, jig = budget_of(evidence, parts), evidence.gear.jig
    limit, way = evidence.gear.tolerance, _way(name, value, jig)
    return _Answer(quantity(name, value, budget, limit, way), budget, between, groups)


def _way(name: str, value: float, jig: Jig | None) -> str:
    if name == "between":
        return f"fences {'wider' if value > 0 else 'tighter'} than square"
    return mitre_way("left" if name == "left" else "right", value, jig)


def _corner_remarks(
    placed: Sequence[PlacementFit], jig: Jig | None, first: _Answer
) -> list[Remark]:
    """Both fences show how the acute corners differ: they must show the same."""
    by_name = {p.name: p.rotation for p in placed}
    if not set(FENCE_SET_UPS) <= set(by_name):
        return []
    shown = [
        slant(fence, point_of(jig))
        * (by_name[f"{fence}-fence-corner-a"] - by_name[f"{fence}-fence-corner-b"])
        for fence in FENCES
    ]
    apart = abs(shown[0] - shown[1])
    # each corner enters the angle between the fences by half, this in full
    if apart <= 2 * first.budget.expanded:
        return []
    return [warning("corners-apart", apart=apart)]


def _swing_remarks(quantities: Sequence[Quantity]) -> list[Remark]:
    """Square to each other and both turned the same way: the joint closes, but the
    parts' mitres are not equally long."""
    between, *fences = quantities
    if between.verdict != "inside" or len(fences) < 2:
        return []
    swing = (fences[0].value + fences[1].value) / 2
    much = abs(swing) > (between.tolerance or math.inf)
    return [note("mitre-swung", swing=abs(swing), way=swing)] if much else []


CHECK = Check(
    kind="mitre-square",
    question="Do the two fences of a mitre sled stand square?",
    plan=plan,
    accepts=accepts,
    evaluate=evaluate,
    quantities=("between", *FENCES),
    moves=mitre_moves,
    rank=9,
    takes=("square",),
    cautions=AT_REST,
    options=(
        choice(
            "right_angle",
            "Whether the square's right angle is measured here or known",
            ("measured", "known"),
            default="measured",
        ),
        HOLD,
    ),
    needs=("jig",),
)

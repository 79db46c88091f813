"""The curvature of the square's arm and of the slot, and the shift of the stand along
the arm, from both set-ups of a square.

A sled whose slot curves turns as it is pushed. An arm that is bowed looks alike from
both set-ups, for the plunger stands on the same edge; the slot does not, for the
plunger stands on the other side. Pure. Lengths in mm, rotations in rad, curvatures in
1/mm.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Evidence, Step, Trace
from bench.checks.options import given_number
from bench.checks.shared.placement_fit import PlacementFit, are_opposed
from bench.checks.shared.sweep_fits import fit_placements
from bench.finding import Quantity, Remark, SweepRow, note, warning
from bench.uncertainty.budget import Budget, Part, rectangular
from bench.uncertainty.distributions import t_quantile
from bench.uncertainty.sweeps import scatter_within

if TYPE_CHECKING:
    from bench.geometry.arm_form import Bend, Shift
    from bench.geometry.line_fit import SweepFit

ARM_BOW = 0.02  # mm over the arm; common practice, no source
SAME_STRETCH = 2.0  # mm that the middles of both set-ups may lie apart
# mm: a shift so small that nothing is made of it
STAND_STAYED = 0.5
SURE_SHIFT = 2.0  # standard uncertainties from which a shift is told
# s, standard deviation by which one instrument is late against the other; common
# practice, no source
USUAL_LATENCY = 0.005
# degrees of freedom of a single pass's bend: its residuals are related along the arm;
# common practice, no source
SINGLE_DOF = 5.0
WORTH_TELLING = 0.1  # share of the variance from which the stand is spoken of
# mm over which the bow of an arm is told
WHOLE_TRAVEL = 300.0


class ArmAndSlot(msgspec.Struct, frozen=True):
    """slot, arm: second derivatives; slot positive where the sled turns counter-
    clockwise as it is pushed away, arm positive where the edge is hollow. shift: by
    which the stand of the second set-up touches the arm further along the travel than
    that of the first, None where the textures do not show it."""

    slot: float
    slot_uncertainty: float  # standard
    degrees_of_freedom: float
    arm: float
    shift: Shift | None


def arm_and_slot(placed: Sequence[PlacementFit]) -> ArmAndSlot | None:
    """The curvatures of slot and arm, from the two set-ups of one square; None where a
    pass has too few places.

    The reading of a plunger on the right grows with X, of one on the left against it:
    `factor` of the set-up. X of the edge bends by the slot's curvature in both set-ups
    alike, so that each set-up's bend times its factor is the slot, and the bends
    themselves are the arm.
    """
    from bench.geometry.arm_form import bend_of, texture_shift

    bends = []
    for here in placed:
        seen = [bend_of(*clean_readings(trace, fit)) for trace, fit in here.pushes]
        known = [bend for bend in seen if bend is not None]
        if not known:
            return None
        bends.append((here.factor, known))
    means = [(f, statistics.fmean(b.value for b in bs)) for f, bs in bends]
    slot = statistics.fmean(factor * mean for factor, mean in means)
    arm = statistics.fmean(mean for _, mean in means)
    variance, dof = _scatter([bs for _, bs in bends])
    share = math.fsum(1 / len(bs) for _, bs in bends) / len(bends) ** 2
    rounded = math.fsum(_rounding_variance(here) for here in placed) / len(bends) ** 2
    late = statistics.fmean(_latency_bend(here) for here in placed)
    shift = texture_shift(
        *([clean_readings(trace, fit) for trace, fit in here.pushes] for here in placed)
    )
    return ArmAndSlot(
        slot, math.sqrt(variance * share + rounded + late**2), dof, arm, shift
    )


def _scatter(groups: Sequence[Sequence[Bend]]) -> tuple[float, float]:
    """Variance of one pass's bend, and its degrees of freedom: between the passes of a
    set-up, pooled; of single passes, by their own residuals."""
    squares, dof = scatter_within([b.value for b in bends] for bends in groups)
    if dof == 0:
        own = [b.standard_uncertainty**2 for bends in groups for b in bends]
        return statistics.fmean(own), SINGLE_DOF
    return squares / dof, float(dof)


def _rounding_variance(here: PlacementFit) -> float:
    """Variance of a bend whose readings hardly scatter within a count: beginning,
    middle and end are each rounded by up to half of one (GUM F.2.2.1)."""
    count = max(fit.count for _, fit in here.pushes)
    spread = statistics.fmean(fit.residual_spread for _, fit in here.pushes)
    if spread >= count / 2:
        return 0.0
    # the second difference of three readings L / 2 apart, over (L / 2)^2
    return 6 * count**2 / 12 * (4 / here.length**2) ** 2


def _latency_bend(here: PlacementFit) -> float:
    """Bend that the latency of one instrument against the other may feign as the sled
    speeds up and slows down; alike in both set-ups, since they turn alike."""
    from bench.geometry.arm_form import bend_of_speed

    bends = [
        abs(fit.slope * bend_of_speed(trace.travel, trace.at))
        for trace, fit in here.pushes
        if trace.at is not None and len(trace.at) == len(trace.travel)
    ]
    return USUAL_LATENCY * statistics.fmean(bends) if bends else 0.0


def clean_readings(trace: Trace, fit: SweepFit) -> tuple[list[float], list[float]]:
    """Travel and reading of a pass within the fitted stretch, without what was set
    aside."""
    kept = [
        i
        for i, (s, aside) in enumerate(zip(trace.travel, fit.aside, strict=True))
        if not aside and fit.start <= s <= fit.stop
    ]
    return [trace.travel[i] for i in kept], [trace.reading[i] for i in kept]


def fit_on_one_stretch(
    evidence: Evidence, steps: Sequence[Step], remarks: list[Remark]
) -> tuple[list[PlacementFit], list[SweepRow], ArmAndSlot | None]:
    """Fit every pass, both set-ups over the same stretch of the arm.

    Where their textures show that the stand was set down elsewhere along the arm, its
    passes are fitted over the stretch of the arm that both have met; what the slot
    turns the sled by between the two stretches is taken off. ArmAndSlot: None with one
    set-up, or where the indicator rides along. Raises EvidenceError as
    `fit_placements`.
    """
    told: list[Remark] = []
    placed, rows = fit_placements(evidence, steps, told)
    standing = all(step.mount == "standing" for step in steps)
    seen = arm_and_slot(placed) if are_opposed(placed) and standing else None
    shift = seen.shift if seen is not None else None
    if seen is not None and shift is not None and abs(shift.distance) > STAND_STAYED:
        middle = statistics.fmean(_middle(here) for here in placed)
        sure = abs(shift.distance) > SURE_SHIFT * shift.standard_uncertainty
        told = [note("stand-shifted", by=abs(shift.distance))] if sure else []
        by = {steps[1].placement: -shift.distance}
        placed, rows = fit_placements(evidence, steps, told, by)
        again = arm_and_slot(placed)
        seen = msgspec.structs.replace(again or seen, shift=shift)
        for here in placed:
            here.slot_turn = seen.slot * (_middle(here) - middle)
    remarks.extend(told)
    return placed, rows, seen


def _middle(here: PlacementFit) -> float:
    return statistics.fmean((fit.start + fit.stop) / 2 for _, fit in here.pushes)


def stand_row(seen: ArmAndSlot | None) -> Part | None:
    """A bowed arm, met elsewhere by as much as the textures leave open, or as a stand
    set down anew is out: half of the turn is left in fence and square."""
    from bench.geometry.arm_form import SET_DOWN

    if seen is None:
        return None
    unknown = SET_DOWN if seen.shift is None else seen.shift.standard_uncertainty
    return Part("stand along the arm", "B", abs(seen.arm) * unknown / 2)


def stand_remarks(budget: Budget, seen: ArmAndSlot | None) -> list[Remark]:
    """A bowed arm whose stand may have been shifted, where it weighs in the answer."""
    share = next((r.share for r in budget.rows if r.part == "stand along the arm"), 0)
    if seen is None or share < WORTH_TELLING:
        return []
    return [
        warning(
            "stand-unseen", bow=abs(seen.arm) * WHOLE_TRAVEL**2 / 8, over=WHOLE_TRAVEL
        )
    ]


def slot_remarks(
    seen: ArmAndSlot | None, length: float, expanded: float
) -> list[Remark]:
    """A slot that turns the sled between the ends of its travel by more than the give
    or take of the answer, and by more than is known of it."""
    if seen is None:
        return []
    turn = abs(seen.slot) * length
    if turn <= max(expanded, 3 * seen.slot_uncertainty * length):
        return []
    return [warning("slot-curved", turn=turn, over=length, half=turn / 2)]


def rolling_row(evidence: Evidence, placed: Sequence[PlacementFit]) -> Part | None:
    """A sled that rolls from side to side over a push, touched above or below the
    arm's middle: that shift over the push, in both set-ups alike. Its size is told, its
    sign is not: of two values that are equally likely it is the standard deviation (GUM
    C.3.3)."""
    high = given_number(evidence.options, "touch_high")
    roll = given_number(evidence.options, "roll")
    if not high or not roll:
        return None
    length = statistics.fmean(p.length for p in placed)
    return Part("sled rolling", "B", high * roll / length)


def arm_form_row(
    evidence: Evidence, placed: Sequence[PlacementFit], seen: ArmAndSlot | None
) -> Part | None:
    """Both set-ups over different stretches of the arm: a bow h over its length L, met
    d further on, turns the edge by 8 h d / L^2, half of which is left in fence and
    square. A half-width."""
    shift = seen.shift.distance if seen is not None and seen.shift is not None else 0.0
    apart = abs(_middle(placed[1]) - _middle(placed[0]) - shift)
    if apart < SAME_STRETCH:
        return None
    square = evidence.gear.square
    arm = (square.arm if square is not None else None) or max(p.length for p in placed)
    return rectangular("form of the arm", 4 * ARM_BOW * apart / arm**2)


def curvature_of_slot(seen: ArmAndSlot, confidence: float) -> Quantity:
    """The slot's curvature as a quantity, with its give or take."""
    dof = seen.degrees_of_freedom
    way = "turns left" if seen.slot > 0 else "turns right"
    return Quantity(
        "slot-curvature",
        seen.slot,
        "1/mm",
        t_quantile(confidence, dof) * seen.slot_uncertainty,
        dof,
        way=f"the sled {way} as it is pushed",
    )

"""The known errors of a square: its own error, of a 45-degree one its right angle and
the form of its long edge; and remarks where a result does not fit them.

Lengths in mm, rotations in rad.
"""

from __future__ import annotations

import math

import msgspec

from bench.checks.model import Evidence
from bench.checks.shared.placement_fit import PlacementFit
from bench.finding import Remark, note, warning
from bench.gear import Square
from bench.uncertainty.budget import Part, rectangular

# rad; a square worse than this is not used to set out with; common practice, no source
POOR_SQUARE = 0.1 / 300
# rad; beside a fence near zero a square so far off is less likely than the slip; common
# practice, no source
DOUBTFUL_SQUARE = 0.03 / 300
RIGHT_ANGLE_ROW = "right angle of the square"
EDGE_BOW = 0.02  # mm over the long edge; common practice, no source
# mm that the middle of a pass lies off the long edge's middle; common practice
OFF_MIDDLE = 3.0


def with_known_square(
    evidence: Evidence, placed: PlacementFit, sign: float, remarks: list[Remark]
) -> tuple[float, Part | None]:
    """One placement: the square's error comes from its log, else from its tolerance.
    sign: with which it is added to the placement's rotation."""
    history, owned = evidence.known.square, evidence.gear.square
    if history is not None:
        told = note("square-as-measured")
        if history.whole is not None:
            told = note("quick-inherits", count=history.count, whole=history.whole)
        remarks.append(told)
        u, freedom = history.standard_uncertainty, history.degrees_of_freedom
        row = Part("square", "B" if freedom is None else "A", u, freedom)
        return placed.rotation + sign * history.error, row
    if owned is not None and owned.tolerance is not None:
        remarks.append(note("square-as-told"))
        half = owned.tolerance / (owned.arm or placed.length)
        return placed.rotation, rectangular("square", half)
    remarks.append(warning("square-unknown", poor=POOR_SQUARE))
    return placed.rotation, None


def square_remarks(
    evidence: Evidence, a: float, expanded_a: float, e: float, expanded_e: float
) -> list[Remark]:
    """Remarks where the square's error does not fit what is known of it, the sign of a
    set-up that was not turned over: with the second side declared all the same the
    fence comes out near zero whatever it is, and the square takes its whole error."""
    history, owned = evidence.known.square, evidence.gear.square
    near_zero = abs(a) <= max(expanded_a, abs(e) / 10)
    size, off = abs(e), warning("square-poor", off=abs(e))
    allowed = (DOUBTFUL_SQUARE if near_zero else POOR_SQUARE) + expanded_e
    if history is not None:
        size = abs(e - history.error)
        off = warning("square-changed", off=size)
        allowed = math.hypot(expanded_e, 2 * history.standard_uncertainty)
    elif owned is not None and owned.tolerance is not None and owned.arm:
        off = warning("square-over-tolerance", off=size)
        allowed = owned.tolerance / owned.arm + expanded_e
    not_turned = warning("square-not-turned", near_zero=float(near_zero))
    return [off, not_turned] if size > allowed else []


class RightAngle(msgspec.Struct, frozen=True):
    """error: e_90, rad; row: what is not known of it."""

    error: float
    row: Part

    def part(self, share: float) -> Part | None:
        """The row of an answer into which e_90 enters by that share."""
        u = abs(share) * self.row.standard_uncertainty
        row = msgspec.structs.replace(self.row, standard_uncertainty=u)
        return row if abs(share) >= 1e-9 else None


def known_right_angle(evidence: Evidence, remarks: list[Remark]) -> RightAngle:
    """The right angle where it was not measured with the rest: from the square's log,
    else from its tolerance over its arm, else as of a poor square."""
    history, owned = evidence.known.square, evidence.gear.square
    if history is not None:
        remarks.append(note("right-angle-as-measured"))
        freedom, u = history.degrees_of_freedom, history.standard_uncertainty
        return RightAngle(history.error, Part(RIGHT_ANGLE_ROW, "A", u, freedom))
    if owned is not None and owned.tolerance is not None and owned.arm:
        half = owned.tolerance / owned.arm
        remarks.append(note("right-angle-as-told", half=half))
    else:
        half = POOR_SQUARE
        remarks.append(warning("right-angle-unknown", poor=half))
    return RightAngle(0.0, rectangular(RIGHT_ANGLE_ROW, half))


def long_edge(square: Square | None) -> float | None:
    """Its length in mm, as said or from the arm; None where neither is known."""
    if square is None:
        return None
    return square.long_edge or (square.arm * math.sqrt(2) if square.arm else None)


def edge_form(square: Square | None, ridden: float, share: float) -> Part:
    """The corners' errors sum to zero for the chord of the long edge. A bow h over its
    length L, swept d off its middle, turns what is ridden by 8 h d / L^2, in every
    set-up the way that adds up. A half-width.

    ridden: mm of one pass. share: sum of the set-ups' weights, without their signs.
    """
    length = max(long_edge(square) or ridden, ridden)
    return rectangular(
        "form of the long edge", share * 8 * EDGE_BOW * OFF_MIDDLE / length**2
    )

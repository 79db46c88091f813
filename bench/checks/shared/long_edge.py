"""What is known of a 45-degree square: its right angle, and the form of its long edge.

Lengths in mm, angles in rad.
"""

from __future__ import annotations

import math

import msgspec

from bench.checks.model import Evidence
from bench.finding import Remark, note, warning
from bench.gear import Square
from bench.uncertainty import Part, rectangular

ROW = "right angle of the square"
BOW = 0.02  # mm over the long edge; common practice, no source
# mm that the middle of a pass lies off the long edge's middle; common practice
OFF_MIDDLE = 3.0
# rad, half-width of a right angle of which nothing is known; common practice, no source
POOR_SQUARE = 0.1 / 300


class RightAngle(msgspec.Struct, frozen=True):
    """error: e_90, rad; row: what is not known of it."""

    error: float
    row: Part

    def part(self, share: float) -> Part | None:
        """The row of an answer into which e_90 enters by that share."""
        if abs(share) < 1e-9:
            return None
        u = abs(share) * self.row.standard_uncertainty
        return Part(self.row.name, self.row.type, u, self.row.degrees_of_freedom)


def known_right_angle(evidence: Evidence, remarks: list[Remark]) -> RightAngle:
    """Where it was not measured with the rest: from the square's log, else from its
    tolerance over its arm, else as of a poor square."""
    history, owned = evidence.known.square, evidence.gear.square
    if history is not None:
        remarks.append(note("right-angle-as-measured"))
        freedom, u = history.degrees_of_freedom, history.standard_uncertainty
        return RightAngle(history.error, Part(ROW, "A", u, freedom))
    if owned is not None and owned.tolerance is not None and owned.arm:
        half = owned.tolerance / owned.arm
        remarks.append(note("right-angle-as-told", half=half))
    else:
        half = POOR_SQUARE
        remarks.append(warning("right-angle-unknown", poor=half))
    return RightAngle(0.0, rectangular("right angle of the square", half))


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
        "form of the long edge", share * 8 * BOW * OFF_MIDDLE / length**2
    )

"""The square's own error: what is known of it, and where what is found does not fit.

Rotations in rad.
"""

from __future__ import annotations

import math

from bench.checks.model import Evidence
from bench.checks.shared.placed import Placed
from bench.finding import Remark, note, warning
from bench.uncertainty import Part, square

# rad; a square worse than this is not used to set out with; common practice, no source
POOR_SQUARE = 0.1 / 300
# rad; beside a fence near zero a square so far off is less likely than the slip; common
# practice, no source
DOUBTFUL_SQUARE = 0.03 / 300


def with_known_square(
    evidence: Evidence, placed: Placed, sign: float, remarks: list[Remark]
) -> tuple[float, Part | None]:
    """One placement: the square's error comes from its log, else from its tolerance.

    sign: with which that error is added to the placement's rotation.
    """
    history, owned = evidence.known.square, evidence.gear.square
    if history is not None:
        if history.whole is not None:
            remarks.append(
                note("quick-inherits", count=history.count, whole=history.whole)
            )
        else:
            remarks.append(note("square-as-measured"))
        row = square(
            standard_uncertainty=history.standard_uncertainty,
            dof=history.degrees_of_freedom,
        )
        return placed.rotation + sign * history.error, row
    if owned is not None and owned.tolerance is not None:
        row = square(tolerance=owned.tolerance, length=owned.arm or placed.length)
        remarks.append(note("square-as-told"))
        return placed.rotation, row
    remarks.append(warning("square-unknown", poor=POOR_SQUARE))
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
        off = warning("square-changed", off=apart)
    elif owned is not None and owned.tolerance is not None and owned.arm:
        if abs(e) <= owned.tolerance / owned.arm + expanded_e:
            return []
        off = warning("square-over-tolerance", off=abs(e))
    else:
        if abs(e) <= (DOUBTFUL_SQUARE if near_zero else POOR_SQUARE) + expanded_e:
            return []
        off = warning("square-poor", off=abs(e))
    return [off, warning("square-not-turned", near_zero=float(near_zero))]

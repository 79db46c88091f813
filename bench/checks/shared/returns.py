"""What the readings of each set-up did not come back by: what is told of it, and its
row in the budget.

Lengths in mm, rotations in rad.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence

from bench.checks.shared.closure import Parted, parted
from bench.checks.shared.placed import Placed, opposed
from bench.finding import Remark, note, warning
from bench.uncertainty import Part, closure


def told_of_returns(placed: Sequence[Placed]) -> list[Remark]:
    """What did not come back, and what it means for the answer."""
    if not opposed(placed):
        return [
            warning("return-error", here.name, error=left)
            for here in placed
            if here.returned is not None and (left := here.returned.left) is not None
        ]
    apart = parted_returns(placed)
    told = []
    if apart.common is not None:
        told.append(warning("return-crept", error=apart.common))
    if apart.unequal is not None:
        told.append(warning("return-unequal", error=apart.unequal))
    elif apart.alternating is not None:
        length = statistics.fmean(p.length for p in placed)
        told.append(note("return-turned", turned=apart.alternating / length))
    return told


def parted_returns(placed: Sequence[Placed]) -> Parted:
    return parted(placed[0].returned, placed[1].returned)


def return_row(
    placed: Sequence[Placed], length: float, weights: Sequence[float], *, common: bool
) -> Part | None:
    """What did not come back, as a row. Opposed set-ups: in the fence (common) only
    what may have crept in one of them, in the square all that crept; each in the size
    that is likely, for creep that the scatter hides biases all the same."""
    if not opposed(placed):
        lefts = [p.returned.left for p in placed if p.returned is not None]
        worst = max((left for left in lefts if left is not None), default=None)
        return closure(worst, length, weights)
    apart = parted_returns(placed)
    likely = apart.likely_unequal if common else apart.likely_common
    return closure(likely or None, length)

"""The straight lines that pass between lower and upper points: a linear programme of
two unknowns, solved exactly.

Places and heights in mm, slopes in rad.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from bench.geometry.columns import Array, Column, column
from bench.geometry.contact import lower_hull, upper_hull

# mm; also the interference below which a fit is a touch and not a bind
SAME_PLACE = 1e-9


@dataclass(frozen=True)
class FeasibleLines:
    """The straight lines y = h + m (u - middle) that pass between lower and upper
    points.

    gap: the widest clearance along y any line has to spare between both sides, negative
    where none passes. slopes, heights: least and largest m and h of the lines that
    pass, None where unbounded or where none does. touching: indices of the points that
    hold the line with the widest gap.
    """

    gap: float
    slopes: tuple[float, float] | None
    heights: tuple[float, float] | None
    touching: tuple[int, ...]


def feasible_lines(
    u: Column, lower: Column, upper: Column, middle: float = 0.0
) -> FeasibleLines:
    """Exact answer of the two-unknown linear programme lower <= h + m (u - middle) <=
    upper.

    u, lower, upper: (n,); u may repeat. Eliminating h (Fourier and Motzkin) leaves one
    condition on m for every pair of an upper and a lower point, m (u_j - u_i) <=
    upper_j - lower_i, so the range of m is read off. For one m the room for h is the
    least of the uppers less the greatest of the lowers, both seen along m; it is
    concave in m and bends only at the directions of the hulls' edges, as do the ends of
    h.
    """
    place = column("places", u)
    low, high = column("lower", lower), column("upper", upper)
    place = place - middle
    ceiling, floor = lower_hull(place, high), upper_hull(place, low)
    cu, cy = place[ceiling], high[ceiling]
    fu, fy = place[floor], low[floor]
    bends = np.concatenate((np.diff(cy) / np.diff(cu), np.diff(fy) / np.diff(fu)))

    def top(m: Array) -> Array:
        return np.asarray(np.min(cy - m[:, None] * cu, axis=1))

    def bottom(m: Array) -> Array:
        return np.asarray(np.max(fy - m[:, None] * fu, axis=1))

    if not bends.size:  # all at one place: any slope does
        gap, both = float(cy[0] - fy[0]), (float(fy[0]), float(cy[0]))
        at_middle = abs(float(cu[0])) <= SAME_PLACE and gap >= 0.0
        return FeasibleLines(
            gap, None, both if at_middle else None, (ceiling[0], floor[0])
        )
    room = top(bends) - bottom(bends)
    gap = float(room.max())
    size = abs(gap) + float(np.ptp(cy)) + float(np.ptp(fy))
    easiest = float(np.median(bends[room >= gap - 1e-12 * size]))
    touching = _touching(easiest, (cu, cy, ceiling), (fu, fy, floor))
    if gap < 0.0:
        return FeasibleLines(gap, None, None, touching)
    run, rise = cu[:, None] - fu[None, :], cy[:, None] - fy[None, :]
    steepest = float(np.min(rise[run > 0.0] / run[run > 0.0]))
    flattest = float(np.max(rise[run < 0.0] / run[run < 0.0]))
    slopes = (min(flattest, easiest), max(steepest, easiest))
    ends = np.concatenate((slopes, np.clip(bends, *slopes)))
    highest, lowest = float(np.max(top(ends))), float(np.min(bottom(ends)))
    return FeasibleLines(
        gap, slopes, (min(lowest, highest), max(lowest, highest)), touching
    )


def _touching(
    m: float,
    ceiling: tuple[Array, Array, list[int]],
    floor: tuple[Array, Array, list[int]],
) -> tuple[int, ...]:
    found: list[int] = []
    for (u, y, index), sign in ((ceiling, 1.0), (floor, -1.0)):
        away = sign * (y - m * u)
        near = np.flatnonzero(away <= away.min() + 1e-9 * (1.0 + float(np.ptp(y))))
        found += [index[int(k)] for k in near]
    return tuple(found)

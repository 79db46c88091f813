"""The scatter of earlier findings, for the budget of a new one: of passes within a
set-up, of seating, and between set-ups.

Pure: findings in, variances out. GUM 4.2.4 (pooled standard deviation). Rotations in
rad.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterable, Sequence

from bench.finding import Finding
from bench.uncertainty.sweeps import Pool, scatter_within
from bench.uncertainty.variance_components import SetUpScatter, over_days

FEWEST_FREEDOM = 6  # degrees of freedom before one scatter is taken from another


def pool_of(findings: Iterable[Finding], *, on_one_seat: bool) -> Pool | None:
    """Scatter of passes about their set-up's mean; those on one seat lack the seating
    and are kept apart."""
    set_ups = [
        values
        for found in findings
        if found.quantities
        and found.quantities[0].unit == "rad"
        and on_one_seat == any(row.part == "seat" for row in found.budget)
        for values in slopes_of(found).values()
    ]
    squares, freedom = scatter_within(set_ups)
    if freedom == 0 or squares == 0:
        return None
    return Pool(squares / freedom, float(freedom), sum(map(len, set_ups)))


def slopes_of(found: Finding) -> dict[str, list[float]]:
    """The slopes of its passes away that were used, by set-up."""
    slopes: dict[str, list[float]] = {}
    for sweep in found.sweeps:
        if sweep.push and sweep.standard_uncertainty > 0:  # a refused one has none
            slopes.setdefault(sweep.placement, []).append(sweep.slope)
    return slopes


def seat_scatter(reseated: Pool | None, one_seat: Pool | None) -> float | None:
    """The scatter that reseating adds; None where both are not known well enough, or
    nothing is seen."""
    if reseated is None or one_seat is None:
        return None
    if min(reseated.degrees_of_freedom, one_seat.degrees_of_freedom) < FEWEST_FREEDOM:
        return None
    more = reseated.variance - one_seat.variance
    return math.sqrt(more) if more > 0 else None


def set_up_scatter(findings: Sequence[Finding]) -> SetUpScatter | None:
    """Scatter of the square's error over findings with one square, turned over in each,
    as it is to be looked for on a new day; None with fewer than two.

    A finding whose square seems not to have been turned over beside a fence near zero
    does not speak: what it says of the square is the fence.
    """
    days: dict[str, list[float]] = {}
    shares = []
    for found in findings:
        square = next((q for q in found.quantities if q.name == "square"), None)
        slopes = slopes_of(found)
        if square is None or len(slopes) != 2 or _seems_not_turned(found):
            continue
        # a finding without a date is of a day of its own
        days.setdefault(found.at[:10] or found.id, []).append(square.value)
        shares.append(math.fsum(0.25 / len(values) for values in slopes.values()))
    if len(shares) < 2:
        return None
    pools = [pool_of(findings, on_one_seat=seat) for seat in (False, True)]
    pool = next((p for p in pools if p is not None), None)
    variance, freedom = over_days(list(days.values()))
    return SetUpScatter(
        variance=variance,
        degrees_of_freedom=freedom,
        own_variance=pool.variance * statistics.fmean(shares) if pool else 0.0,
        own_degrees_of_freedom=pool.degrees_of_freedom if pool else 0.0,
        checks=len(shares),
        days=len(days),
    )


def _seems_not_turned(found: Finding) -> bool:
    return any(
        r.code == "square-not-turned" and bool(r.values.get("near_zero"))
        for r in found.remarks
    )

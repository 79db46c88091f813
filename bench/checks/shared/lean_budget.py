"""The rows of a face's lean, as it is read beside a square that is reversed.

Lengths in mm, angles in rad.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from bench.checks.model import Evidence
from bench.checks.shared.traces import count_of
from bench.uncertainty import (
    Part,
    rectangular,
    resolution,
    seat,
    span,
    tilt,
    travel_scale,
)

if TYPE_CHECKING:
    from bench.geometry.upright import Lean

HEIGHT_ERROR = 0.5  # mm, half-width of a height set by a rule; common practice
USUAL_SWING = 0.05  # mm of a plate without a saw's limit; common practice, no source


def lean_rows(
    evidence: Evidence,
    found: Lean,
    read: Sequence[tuple[list[float], list[float]]],
    *,
    blade: bool,
) -> list[Part | None]:
    """read: heights and readings of each set-up, mm. blade: whose plate may be
    warped."""
    indicator = evidence.gear.indicator
    count = count_of(indicator, [r for _, rs in read for r in rs])
    reach = min(max(zs) - min(zs) for zs, _ in read)
    weights = [1 / len(read)] * len(read)
    rounded = resolution(count, reach, found.scatter, weights)
    used = max(max(rs) - min(rs) for _, rs in read)
    rows: list[Part | None] = [
        Part("touches", "A", found.standard_uncertainty, found.degrees_of_freedom),
        seat(weights, reseated=False, scatter=evidence.known.seat_scatter),
        rounded,
        span(
            used,
            reach,
            count,
            short_span_error=indicator.short_span_error,
            weights=weights,
            rounded=rounded is not None,
        ),
        travel_scale(found.value, HEIGHT_ERROR * math.sqrt(2) / reach),
        tilt(found.value, indicator.tilt),
    ]
    if blade and len(read) == 2:
        saw = evidence.gear.saw
        swing = saw.wobble if saw is not None else USUAL_SWING
        # of two waves that swing by half of the limit a quarter stands out at the rim
        rows.append(rectangular("plate warp", swing / 4 / reach))
    return rows

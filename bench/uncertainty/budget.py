"""Rows of a budget and their sum: quadrature, Welch-Satterthwaite, Student's t; each
row with its source.

Angles in rad, lengths in mm, speeds in mm/s. None stands for infinite degrees of
freedom. JCGM 100:2008 (GUM): 4.3.7 (bounds are taken as rectangular, half-width / sqrt
3), 5.1.2 (quadrature), G.4 (degrees of freedom). `weights` are the c_i with which the
placements enter the answer: (1,) for one, (0.5, 0.5) for two that are averaged;
placements are independent.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec

from bench.finding import BudgetRow
from bench.uncertainty.distributions import t_quantile

# rad, a square pressed home by hand; common practice, no source: found by simulation
SEAT = 30e-6
# by which an indicator errs over a short span; common practice, no source
SHARE_OF_SPAN = 0.01
ROOT_3 = math.sqrt(3)


class Part(msgspec.Struct, frozen=True):
    """One row: a standard uncertainty with its degrees of freedom (None: infinite)."""

    name: str
    type: Literal["A", "B"]
    standard_uncertainty: float
    degrees_of_freedom: float | None = None


class Budget(msgspec.Struct, frozen=True):
    standard_uncertainty: float
    degrees_of_freedom: float | None
    expanded: float
    rows: list[BudgetRow]  # largest share first
    confidence: float = 0.95


def combine(parts: Iterable[Part | None], confidence: float = 0.95) -> Budget:
    """Sum of independent rows (None is skipped) to an expanded uncertainty at
    `confidence`.

    GUM 5.1.2 and G.4.1 (Welch-Satterthwaite, not truncated to a whole number). Raises
    ValueError for a row that is negative or not finite.
    """
    kept = [part for part in parts if part is not None]
    for part in kept:
        if not 0 <= part.standard_uncertainty < math.inf:
            raise ValueError(
                f"budget row '{part.name}' has a standard uncertainty of"
                f" {part.standard_uncertainty}"
            )
    u = math.hypot(*(part.standard_uncertainty for part in kept))
    dof = effective_dof(kept)
    ranked = sorted(kept, key=lambda part: -part.standard_uncertainty)
    rows = [
        BudgetRow(
            part.name,
            part.type,
            part.standard_uncertainty,
            part.degrees_of_freedom,
            (part.standard_uncertainty / u) ** 2 if u > 0 else 0.0,
        )
        for part in ranked
    ]
    return Budget(u, dof, t_quantile(confidence, dof) * u, rows, confidence)


def effective_dof(parts: Sequence[Part]) -> float | None:
    """Welch-Satterthwaite (GUM G.2b); None where every row counts as exactly known."""
    u = math.hypot(*(part.standard_uncertainty for part in parts))
    if u == 0:
        return None
    total = math.fsum(
        (part.standard_uncertainty / u) ** 4 / part.degrees_of_freedom
        for part in parts
        if part.degrees_of_freedom is not None
    )
    return 1 / total if total > 1e-9 else None


def rectangular(name: str, half_width: float) -> Part:
    """A bound known, nothing more: half-width / sqrt 3 (GUM 4.3.7)."""
    return Part(name, "B", abs(half_width) / ROOT_3)


def seat(
    weights: Sequence[float],
    *,
    reseated: bool,
    scatter: float | None = None,
) -> Part | None:
    """Seating of the square, where every sweep of a placement ran on one seat; None
    where reseated before each push, for then the scatter between sweeps holds it.

    Standard uncertainty per placement: `scatter` (the log's standard deviation of one
    seating), else 30 urad; times the root of sum c_i^2.
    """
    if reseated:
        return None
    each = SEAT if scatter is None else scatter
    return Part("seat", "B", each * math.hypot(*weights))


def contact_away(
    away: float | None, straightness: float | None, runner: float | None
) -> Part | None:
    """Touching a distance `away` (mm along the travel) from the leading teeth, on a
    slot straight within `straightness` mm, with runners `runner` mm long.

    A path of constant curvature with rise h over the runner's length Lr has curvature 8
    h / Lr^2, so its direction changes by 8 h d / Lr^2 over d: that half-width,
    rectangular. None unless all are given.
    """
    if away is None or straightness is None or not runner:
        return None
    return rectangular(
        "contact away from the teeth", 8 * straightness * away / runner**2
    )


def resolution(
    count: float,
    length: float,
    residual_spread: float,
    weights: Sequence[float] = (1.0,),
) -> Part | None:
    """Half a count, rectangular, at each end of `length` mm; only where the readings
    scatter less than a third of a count about their line, for otherwise the scatter
    itself carries it (GUM F.2.2.1)."""
    if residual_spread >= count / 3 or count <= 0:
        return None
    each = count / 2 / ROOT_3 * math.sqrt(2) / length
    return Part("resolution", "B", each * math.hypot(*weights))


def span(
    used: float,
    length: float,
    count: float,
    *,
    short_span_error: float | None = None,
    weights: Sequence[float] = (1.0,),
    preload_moved: bool = False,
    rounded: bool = False,
) -> Part | None:
    """The indicator's own error over the span it used (mm) on `length` mm of travel, a
    difference of two readings; not the limit over its whole range.

    `short_span_error` is a limit: rectangular (GUM 4.3.7). Unless said, one count + 1 %
    of the span (common practice, no source). The count is two readings rounded by up to
    half of one each, rectangular both (GUM F.2.2.1), so that their difference is
    triangular: count / sqrt 6 (GUM 4.3.9); the two parts are independent and add in
    quadrature (GUM 5.1.2). A count must not be there twice (GUM 4.3.10): where
    `rounded` says that the row "resolution", which is the same two roundings, stands in
    the budget, only the 1 % is left here. Moving the preload between sweeps turns it
    all into scatter: then no row.
    """
    if preload_moved:
        return None
    u = math.hypot(
        0.0 if rounded else count / math.sqrt(6), SHARE_OF_SPAN * used / ROOT_3
    )
    if short_span_error is not None:
        u = short_span_error / ROOT_3
    return Part("indicator over the span used", "B", u / length * math.hypot(*weights))


def reading_age(
    rotation: float, age: float | None, speed_change: float | None, length: float
) -> Part | None:
    """Readings `age` s old when they arrive, paired with the travel of now, while the
    sled's speed changed by `speed_change` mm/s: relative, age * change / length. None
    without an age."""
    if age is None or speed_change is None:
        return None
    return Part("reading age", "B", abs(rotation) * age * abs(speed_change) / length)


def travel_scale(rotation: float, scale_error: float) -> Part:
    """The travel's scale: relative half-width, rectangular."""
    return rectangular("travel scale", rotation * scale_error)


def tilt(rotation: float, angle: float) -> Part:
    """A plunger that leans by up to `angle` rad reads long by 1 - cos: relative
    half-width, rectangular."""
    return rectangular("plunger tilt", rotation * (1 - math.cos(angle)))


def closure(
    out_and_back: float | None, length: float, weights: Sequence[float] = (1.0,)
) -> Part | None:
    """The reading did not come back by `out_and_back` mm (bump, creep, warm-up): / sqrt
    3 / length."""
    if out_and_back is None:
        return None
    return Part(
        "closure", "B", abs(out_and_back) / ROOT_3 / length * math.hypot(*weights)
    )

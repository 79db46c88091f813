"""What several sweeps say together: scatter between them, noise within them, history
from the log.

Rotations in rad. GUM 4.2.4 for pooling with history.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import msgspec

from bench.uncertainty.budget import Part
from bench.uncertainty.student import f_two_sided

# rad, scatter of one sweep where nothing is known; common practice, no source
SINGLE = 100e-6
# of the noise, on top of the larger of scatter and noise: found by simulation
BOTH_SHARE = 0.15
# p of the F test below which today's scatter is not pooled with the log's
LOOKS_DIFFERENT = 0.25


class Pooled(Protocol):
    """Scatter of one push from the log: variance (rad^2) with its degrees of
    freedom."""

    @property
    def variance(self) -> float: ...
    @property
    def degrees_of_freedom(self) -> float: ...


class Group(msgspec.Struct, frozen=True):
    """The pushes of one placement; `weight` is how its mean enters the answer (1/2 each
    for two)."""

    weight: float
    slopes: list[float]
    standard_uncertainties: list[float]
    degrees_of_freedom: list[float]


class Between(msgspec.Struct, frozen=True):
    """`parts` are the rows for the budget: `part`, and for a single sweep its own noise
    beside it."""

    part: Part
    s_between: float | None  # rad, of one push; None where no placement has two
    within: float  # rad, root mean square of the pushes' own standard uncertainties
    degrees_of_freedom: float
    pooled: bool  # with the log
    # today's scatter looks larger than the log's: three more sweeps
    asks_for_more: bool
    single: bool  # one push in every placement
    own: Part | None = None

    @property
    def parts(self) -> list[Part]:
        return [self.part] if self.own is None else [self.part, self.own]


def between_sweeps(
    groups: Sequence[Group],
    pool: Pooled | None = None,
    yaw_play: float | None = None,
    single_scatter: float | None = None,
) -> Between:
    """The row "between sweeps".

    Scatter is pooled within each placement, never across (placements differ by twice
    the square's error). u^2 = (max(s_b^2, w^2) + 0.15 w^2) sum(c_i^2 / n_i): adding
    both in full would count the noise twice. With the log's scatter pooled in, s_b is
    known well enough to go without the 0.15 w^2. One push in every placement adds a
    scatter never seen: from the log, else `single_scatter`, else yaw play / sqrt 12
    (rectangular, full swing) where that is less than 100 urad, else 100 urad. Raises
    ValueError without a sweep.
    """
    if not groups or any(not group.slopes for group in groups):
        raise ValueError("every placement needs at least one push")
    variances = [u * u for group in groups for u in group.standard_uncertainties]
    within2 = math.fsum(variances) / len(variances)
    within_dof = _dof_of_mean(
        variances, [nu for group in groups for nu in group.degrees_of_freedom]
    )
    share = math.fsum(group.weight**2 / len(group.slopes) for group in groups)
    today_dof = sum(len(group.slopes) - 1 for group in groups)
    if today_dof == 0:
        return _single(
            groups, within2, within_dof, share, pool, yaw_play, single_scatter
        )
    today2 = math.fsum(_squares(group.slopes) for group in groups) / today_dof
    scatter2, dof, pooled, different = today2, float(today_dof), False, False
    if pool is not None and pool.degrees_of_freedom > 0 and pool.variance > 0:
        p = f_two_sided(today2 / pool.variance, today_dof, pool.degrees_of_freedom)
        # less scatter than ever before, seen in a handful of pushes, is luck: to
        # believe it would leave intervals that hold the truth in 92 % of cases instead
        # of 96
        different = p < LOOKS_DIFFERENT and today2 > pool.variance
        if not different:
            pooled = True
            dof = today_dof + pool.degrees_of_freedom
            scatter2 = (
                today_dof * today2 + pool.degrees_of_freedom * pool.variance
            ) / dof
    extra2 = 0.0 if pooled else BOTH_SHARE * within2
    if scatter2 > within2:
        total = scatter2 + extra2
        nu = total**2 / (scatter2**2 / dof + extra2**2 / within_dof)
    else:
        total, nu = within2 + extra2, within_dof
    part = Part("between sweeps", "A", math.sqrt(total * share), nu)
    return Between(
        part, math.sqrt(today2), math.sqrt(within2), nu, pooled, different, False
    )


def _single(
    groups: Sequence[Group],
    within2: float,
    within_dof: float,
    share: float,
    pool: Pooled | None,
    yaw_play: float | None,
    single_scatter: float | None,
) -> Between:
    own = Part("within the sweep", "A", math.sqrt(within2 * share), within_dof)
    weights = math.sqrt(math.fsum(group.weight**2 for group in groups))
    if pool is not None and pool.degrees_of_freedom > 0:
        each, dof = math.sqrt(pool.variance), pool.degrees_of_freedom
        part = Part("between sweeps", "A", each * weights, dof)
    else:
        each = SINGLE
        if single_scatter is not None:
            each = single_scatter
        elif yaw_play is not None:
            each = min(yaw_play / math.sqrt(12), SINGLE)
        part = Part("between sweeps", "B", each * weights)
    within, pooled = math.sqrt(within2), pool is not None
    return Between(part, None, within, within_dof, pooled, False, True, own)


def _squares(values: Sequence[float]) -> float:
    mean = math.fsum(values) / len(values)
    return math.fsum((value - mean) ** 2 for value in values)


def _dof_of_mean(variances: Sequence[float], dofs: Sequence[float]) -> float:
    total = math.fsum(variances)
    if total == 0:
        return math.fsum(dofs)
    return 1 / math.fsum(
        (v / total) ** 2 / max(nu, 1.0) for v, nu in zip(variances, dofs, strict=True)
    )

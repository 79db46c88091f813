"""The scatter between several sweeps, the noise within them, and history from the log.

Rotations in rad. GUM 4.2.4 for pooling with history.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Literal

import msgspec

from bench.uncertainty.budget import Part
from bench.uncertainty.distributions import f_two_sided

# rad, scatter of one sweep where nothing is known; common practice, no source
SINGLE = 100e-6
# of the noise, on top of the larger of scatter and noise: found by simulation
BOTH_SHARE = 0.15
# p of the F test below which today's scatter is not pooled with the log's
LOOKS_DIFFERENT = 0.25


class Pool(msgspec.Struct, frozen=True):
    """Scatter between sweeps from the log: a variance (of the quantity, rad^2) with its
    degrees of freedom."""

    variance: float
    degrees_of_freedom: float
    passes: int = 0  # that it rests on


class Group(msgspec.Struct, frozen=True):
    """The pushes of one placement; `weight` is how its mean enters the answer (1/2 each
    for two)."""

    weight: float
    slopes: list[float]
    standard_uncertainties: list[float]
    degrees_of_freedom: list[float]


class SweepScatter(msgspec.Struct, frozen=True):
    """`parts` are the rows for the budget: `part`, and for a single sweep its own noise
    beside it."""

    part: Part
    variance: float  # rad^2, of one push: its scatter, or its noise where that is more
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
    pool: Pool | None = None,
    yaw_play: float | None = None,
    single_scatter: float | None = None,
) -> SweepScatter:
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
    squares, today_dof = scatter_within(group.slopes for group in groups)
    if today_dof == 0:
        return _single(
            groups, within2, within_dof, share, pool, yaw_play, single_scatter
        )
    today2 = squares / today_dof
    scatter2, dof, pooled = today2, float(today_dof), False
    different = pool is not None and _grew(today2, today_dof, pool)
    if pool is not None and pool.degrees_of_freedom * pool.variance > 0:
        pooled = not different
        if pooled:
            dof = today_dof + pool.degrees_of_freedom
            own = pool.degrees_of_freedom * pool.variance
            scatter2 = (today_dof * today2 + own) / dof
    extra2 = 0.0 if pooled else BOTH_SHARE * within2
    if scatter2 > within2:
        total = scatter2 + extra2
        nu = total**2 / (scatter2**2 / dof + extra2**2 / within_dof)
    else:
        total, nu = within2 + extra2, within_dof
    part = Part("between sweeps", "A", math.sqrt(total * share), nu)
    each2, s_between = max(scatter2, within2), math.sqrt(today2)
    within = math.sqrt(within2)
    return SweepScatter(part, each2, s_between, within, nu, pooled, different, False)


def _grew(today2: float, today_dof: int, pool: Pool) -> bool:
    """Whether today's scatter looks larger than the log's. Less than ever before, seen
    in a handful of pushes, is luck: to believe it would leave intervals that hold the
    truth in 92 % of cases instead of 96."""
    if not (pool.degrees_of_freedom > 0 and today2 > pool.variance > 0):
        return False
    p = f_two_sided(today2 / pool.variance, today_dof, pool.degrees_of_freedom)
    return p < LOOKS_DIFFERENT


def _single(
    groups: Sequence[Group],
    within2: float,
    within_dof: float,
    share: float,
    pool: Pool | None,
    yaw_play: float | None,
    single_scatter: float | None,
) -> SweepScatter:
    own = Part("within the sweep", "A", math.sqrt(within2 * share), within_dof)
    weights = math.sqrt(math.fsum(group.weight**2 for group in groups))
    each, dof = SINGLE, None
    if pool is not None and pool.degrees_of_freedom > 0:
        each, dof = math.sqrt(pool.variance), pool.degrees_of_freedom
    elif single_scatter is not None:
        each = single_scatter
    elif yaw_play is not None:
        each = min(yaw_play / math.sqrt(12), SINGLE)
    kind: Literal["A", "B"] = "B" if dof is None else "A"
    part = Part("between sweeps", kind, each * weights, dof)
    within, pooled = math.sqrt(within2), pool is not None
    return SweepScatter(
        part, each**2, None, within, within_dof, pooled, False, True, own
    )


def scatter_within(groups: Iterable[Sequence[float]]) -> tuple[float, int]:
    """Sum of squares about the mean of each group, and its degrees of freedom; their
    ratio is the pooled variance (GUM 4.2.4)."""
    squares: list[float] = []
    freedom = 0
    for values in groups:
        # from the first on, so that readings that are all alike scatter by nothing
        mean = values[0] + math.fsum(v - values[0] for v in values) / len(values)
        squares += [(value - mean) ** 2 for value in values]
        freedom += len(values) - 1
    return math.fsum(squares), freedom


def _dof_of_mean(variances: Sequence[float], dofs: Sequence[float]) -> float:
    total = math.fsum(variances)
    if total == 0:
        return math.fsum(dofs)
    return 1 / math.fsum(
        (v / total) ** 2 / max(nu, 1.0) for v, nu in zip(variances, dofs, strict=True)
    )

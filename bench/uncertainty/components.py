"""Components of scatter: between the passes of a set-up, and between set-ups.

Rotations in rad. Analysis of variance, one factor with random effects (JCGM 100:2008,
H.5; unequal groups: Searle, Casella and McCulloch (1992), Variance Components, 3.6).
The square is a check standard: its error e = (b2 - b1) / 2 is the same in every check,
so that the scatter of what is found for it shows all that differs independently between
two set-ups, which enters the sled fence a = (b1 + b2) / 2 as much (NIST/SEMATECH
e-Handbook 2.1.2, check standards).
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import Protocol

import msgspec

from bench.uncertainty.budget import Part

# rad, standard deviation of fence and square by what differs between two set-ups,
# before any history; common practice, no source
SET_UPS = 6e-6
# degrees of freedom of this figure, known to a quarter (JCGM 100:2008, G.4.2)
SET_UPS_DOF = 8.0
# degrees of freedom for which it counts beside a history; found by simulation: more
# would outweigh the first few checks
SET_UPS_WORTH = 4.0


class Components(msgspec.Struct, frozen=True):
    """Variances with their degrees of freedom; `between` is not below 0."""

    within: float
    within_dof: float
    between: float
    between_dof: float
    within_mean_square: float
    between_mean_square: float


class SetUps(Protocol):
    """What earlier checks show of e: its variance over them with its degrees of
    freedom, and the mean variance that the passes' own scatter gives it (both rad^2),
    with its own."""

    @property
    def variance(self) -> float: ...
    @property
    def degrees_of_freedom(self) -> float: ...
    @property
    def own_variance(self) -> float: ...
    @property
    def own_degrees_of_freedom(self) -> float: ...


def one_way(groups: Sequence[Sequence[float]]) -> Components:
    """Variance within and between groups of any size, from their mean squares.

    Raises ValueError with fewer than two groups, or no group of two.
    """
    sizes = [len(group) for group in groups]
    total = sum(sizes)
    if len(groups) < 2 or min(sizes) < 1 or total == len(groups):
        raise ValueError("it takes two groups, and one of them with two values")
    means = [statistics.fmean(group) for group in groups]
    grand = math.fsum(math.fsum(group) for group in groups) / total
    within_dof = total - len(groups)
    within = (
        math.fsum(
            (value - mean) ** 2
            for group, mean in zip(groups, means, strict=True)
            for value in group
        )
        / within_dof
    )
    between_dof = len(groups) - 1
    square = (
        math.fsum(n * (mean - grand) ** 2 for n, mean in zip(sizes, means, strict=True))
        / between_dof
    )
    usual = (total - math.fsum(n * n for n in sizes) / total) / between_dof
    between, dof = excess(square, between_dof, within, within_dof)
    return Components(within, within_dof, between / usual, dof, within, square)


def excess(
    whole: float, whole_dof: float, part: float, part_dof: float
) -> tuple[float, float]:
    """Variance by which the whole exceeds a part of it, not below 0, and its degrees of
    freedom (Satterthwaite (1946), Biometrics Bulletin 2, 110), at least 1."""
    more = max(whole - part, 0.0)
    spread = whole**2 / whole_dof + (part**2 / part_dof if part_dof > 0 else 0.0)
    return more, max(more**2 / spread, 1.0) if spread > 0 else whole_dof


def between_set_ups(weights: Sequence[float], history: SetUps | None) -> Part:
    """The row "between set-ups", of a rotation made of `weights` times the set-ups'.

    Without a history the stated default; with one both are pooled, the default for the
    few degrees of freedom that it is worth, so that twenty checks speak for themselves.
    """
    share = 2 * math.fsum(weight**2 for weight in weights)
    if history is None or history.degrees_of_freedom <= 0:
        return Part("between set-ups", "B", SET_UPS * math.sqrt(share), SET_UPS_DOF)
    own = history.own_variance
    dof = SET_UPS_WORTH + history.degrees_of_freedom
    pooled = (
        SET_UPS_WORTH * (own + SET_UPS**2)
        + history.degrees_of_freedom * history.variance
    ) / dof
    more, worth = excess(pooled, dof, own, history.own_degrees_of_freedom)
    return Part("between set-ups", "A", math.sqrt(more * share), worth)

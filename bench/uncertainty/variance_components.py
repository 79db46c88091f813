"""Components of scatter: between the passes of a set-up, between set-ups, between
days.

Rotations in rad. Analysis of variance with random effects (JCGM 100:2008, H.5; unequal
groups: Searle, Casella and McCulloch (1992), Variance Components, 3.6). The square is a
check standard: its error e = (b2 - b1) / 2 is the same in every check, so that the
scatter of what is found for it shows all that differs independently between two
set-ups, which enters the sled fence a = (b1 + b2) / 2 as much (NIST/SEMATECH e-Handbook
2.1.2, check standards).

Before a log shows it, SET_UP is presumed of every set-up: a film, a burr or the fence's
own form lifts one end of a square's handle of 120 mm by 2.5 um (common practice, no
source; ISO 463 allows a dial gauge as much again, 3 um of hysteresis, from memory). The
size was chosen so that set-ups that differ by 30 urad leave nine answers of ten within
their interval, while those that do not differ are no wider than twice what one who knew
it would say. It counts as SET_UPS_WORTH observations beside those of the log, and of
set-ups that were made anew in this check, so that it fades as they speak.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

import msgspec

from bench.uncertainty.budget import Part
from bench.uncertainty.distributions import f_two_sided
from bench.uncertainty.sweeps import LOOKS_DIFFERENT, scatter_within

# rad, standard deviation by which one set-up differs from another, before any history;
# see above
SET_UP = 2.5e-3 / 120
# degrees of freedom of this figure, known to a quarter (JCGM 100:2008, G.4.2)
SET_UP_DOF = 8.0
# degrees of freedom for which it counts beside what was observed; found by simulation:
# more would outweigh the first few checks
SET_UP_WORTH = 2.0
# degrees of freedom for which the checks of a single day count at most, since the day's
# own component does not show in them
ONE_DAY_WORTH = 4.0


class Components(msgspec.Struct, frozen=True):
    """Variance within the groups (their mean square) with its degrees of freedom, and
    the component between them, not below 0, with the mean square that it is from."""

    within: float
    within_dof: float
    between: float
    between_mean_square: float


class SetUpScatter(msgspec.Struct, frozen=True):
    """Scatter of the square's error over earlier checks (rad^2), and the share of it
    that the passes' own scatter explains, each with its degrees of freedom."""

    variance: float
    degrees_of_freedom: float
    own_variance: float
    own_degrees_of_freedom: float
    checks: int
    days: int = 0  # of these checks


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
    squares, within_dof = scatter_within(groups)
    within = squares / within_dof
    between_dof = len(groups) - 1
    apart = zip(sizes, means, strict=True)
    square = math.fsum(n * (mean - grand) ** 2 for n, mean in apart) / between_dof
    usual = (total - math.fsum(n * n for n in sizes) / total) / between_dof
    return Components(within, within_dof, max(square - within, 0.0) / usual, square)


def over_days(days: Sequence[Sequence[float]]) -> tuple[float, float]:
    """Variance of one value of a new day, from the values of several days, and its
    degrees of freedom: the component within a day and that of the days together.

    Checks of one day are related: ten of them on two days tell of two days. Raises
    ValueError with fewer than two values.
    """
    values = [value for day in days for value in day]
    alone, dof = statistics.variance(values), len(values) - 1.0
    if len(days) == 1:
        return alone, min(dof, ONE_DAY_WORTH)
    parts = one_way(days) if len(days) < len(values) else None
    if parts is None or parts.between == 0:
        return alone, dof
    share = parts.between / (parts.between_mean_square - parts.within)
    of_days = share * parts.between_mean_square
    of_checks = (1 - share) * parts.within
    total = parts.between + parts.within
    spread = of_days**2 / (len(days) - 1) + of_checks**2 / parts.within_dof
    return total, max(total**2 / spread, 1.0)


def between_set_ups(
    weights: Sequence[float],
    history: SetUpScatter | None = None,
    renewed: SetUpScatter | None = None,
    usual: float = SET_UP,
) -> Part:
    """The row "between set-ups", of a rotation made of `weights` times the set-ups'.

    Before a history the default: `usual`. With one both are pooled, the default for the
    few degrees of freedom that it is worth, so that twenty checks speak for themselves.
    renewed: what set-ups that were made anew in this check show; beside the default
    alone they count where they scatter more than it explains.
    """
    presumed = usual**2 / 2
    share = 2 * math.fsum(weight**2 for weight in weights)
    seen = [one for one in (history, renewed) if one and one.degrees_of_freedom > 0]
    if not seen or (seen == [renewed] and _explained(seen[0], presumed)):
        return Part("between set-ups", "B", math.sqrt(presumed * share), SET_UP_DOF)
    observed = math.fsum(one.degrees_of_freedom for one in seen)
    dof = SET_UP_WORTH + observed
    own = (
        math.fsum(one.degrees_of_freedom * one.own_variance for one in seen) / observed
    )
    scatter = math.fsum(one.degrees_of_freedom * one.variance for one in seen)
    pooled = (SET_UP_WORTH * (own + presumed) + scatter) / dof
    # what is left when a variance is taken off another is bounded by the whole: its
    # degrees of freedom hold, where Student's t for the few that Satterthwaite gives
    # would be up to three times too wide (found by simulation)
    more = max(pooled - own, 0.0)
    return Part("between set-ups", "A", math.sqrt(more * share), dof)


def _explained(seen: SetUpScatter, presumed: float) -> bool:
    expected = seen.own_variance + presumed
    p = f_two_sided(seen.variance / expected, seen.degrees_of_freedom, SET_UP_DOF)
    return seen.variance <= expected or p >= LOOKS_DIFFERENT

"""Whether what was squared has stayed so: findings of one jig, one after the other,
between two events.

Pure: no clock, no files. Values in rad or mm as the findings have them, times in days.

A new look is set against the mean of those before it in the same stretch, so that two
looks are enough to begin (self-starting chart; from memory: Hawkins 1987). Individuals
chart: Shewhart's three sigma; moving ranges and d2 after NIST/SEMATECH e-Handbook
6.3.2.2. EWMA: the same handbook, 6.3.2.4, its exact limits. Runs: Western Electric
handbook 1956; they are remarked on and never alarm, since all rules together cry once
in three within thirty looks.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from bench.finding import Finding
from bench.uncertainty.student import t_quantile

# mean range of two normal values over sigma; NIST/SEMATECH e-Handbook 6.3.2.2
D2 = 1.128
# of the EWMA: in control, alarms as seldom as three sigma does on single values
WEIGHT, LIMIT = 0.2, 2.86
# degrees of freedom granted to what the budget says of the scatter between looks
WEIGHT_OF_BUDGET = 8.0
# degrees of freedom of a mean moving range, each range; found by simulation
DOF_OF_RANGES = 0.62

# rows of a budget that are the same at every look, and so cannot make one look differ
# from the next
LASTING = frozenset(
    {
        "indicator over the span used",
        "travel scale",
        "square",
        "blade",
        "form of the arm",
        "straightedge",
    }
)

FEWEST_FOR_TREND = 5
# days between looks: at first, later, how long "at first" is
OFTEN, SELDOM, FRESH = 7.0, 30.0, 31.0


@dataclass(frozen=True, slots=True)
class Look:
    """One finding's first quantity. varying: standard uncertainty of what differs from
    look to look."""

    finding: str
    at: float  # days
    value: float
    varying: float
    expanded: float


@dataclass(frozen=True, slots=True)
class Judged:
    """z: the step from the mean before, in sigmas; weighted: the EWMA of z over its own
    limit. None: the first."""

    look: Look
    z: float | None = None
    weighted: float | None = None
    alarm: str | None = None  # "step": three sigma at once; "creep": the weighted mean
    runs: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Trend:
    """A straight line through a stretch. slope and its expanded uncertainty a day;
    earliest: days, or None."""

    slope: float
    uncertainty: float
    significant: bool
    earliest: float | None = None


@dataclass(frozen=True, slots=True)
class Stretch:
    """What lies between two events."""

    looks: tuple[Judged, ...]
    mean: float
    sigma: float
    after: str | None = None  # the finding whose move began it
    trend: Trend | None = None
    alarms: tuple[Judged, ...] = field(default=())

    @property
    def seen(self) -> float:
        """The step that a further look would have to make to be told: three sigma of it
        against the mean."""
        return 3 * self.sigma * math.sqrt(1 + 1 / len(self.looks))


def varying(finding: Finding) -> float:
    """Standard uncertainty of those rows that differ from look to look (of the first
    quantity)."""
    return math.hypot(
        *(row.standard_uncertainty for row in finding.budget if row.part not in LASTING)
    )


def stretches(
    looks: Sequence[Look], moved: Iterable[str], tolerance: float | None
) -> list[Stretch]:
    """Looks in the order they were taken, cut after each finding in `moved`, each
    stretch judged by itself."""
    cuts = frozenset(moved)
    parts: list[tuple[str | None, list[Look]]] = [(None, [])]
    for look in looks:
        parts[-1][1].append(look)
        if look.finding in cuts:
            parts.append((look.finding, []))
    return [judge(part, tolerance, after) for after, part in parts if part]


def judge(
    looks: Sequence[Look], tolerance: float | None = None, after: str | None = None
) -> Stretch:
    """One stretch; at least one look."""
    sigma = blended(
        math.sqrt(sum(look.varying**2 for look in looks) / len(looks)),
        [look.value for look in looks],
    )
    judged: list[Judged] = []
    # what the next look is set against: those that did not alarm
    quiet: list[float] = []
    steps: list[float] = []
    mean_z = 0.0
    for look in looks:
        if not quiet or sigma == 0:
            quiet.append(look.value)
            judged.append(Judged(look))
            continue
        z = (look.value - math.fsum(quiet) / len(quiet)) / (
            sigma * math.sqrt(1 + 1 / len(quiet))
        )
        steps.append(z)
        mean_z = WEIGHT * z + (1 - WEIGHT) * mean_z
        weighted = mean_z / ewma_sigma(len(steps), WEIGHT) / LIMIT
        alarm = "step" if abs(z) > 3 else "creep" if abs(weighted) > 1 else None
        if alarm is None:
            quiet.append(look.value)
        judged.append(Judged(look, z, weighted, alarm, tuple(runs(steps))))
    return Stretch(
        looks=tuple(judged),
        mean=math.fsum(quiet) / len(quiet),
        sigma=sigma,
        after=after,
        trend=trend(looks, sigma, tolerance),
        alarms=tuple(one for one in judged if one.alarm is not None),
    )


def blended(u: float, values: Sequence[float]) -> float:
    """Sigma between looks: what the budget says (u, standard) and what the looks
    themselves show, by their weight."""
    n = len(values)
    if n < 2:
        return u
    s = mean_moving_range(values) / D2
    own = DOF_OF_RANGES * (n - 1)
    return math.sqrt((WEIGHT_OF_BUDGET * u**2 + own * s**2) / (WEIGHT_OF_BUDGET + own))


def mean_moving_range(values: Sequence[float]) -> float:
    """Of neighbours; NIST/SEMATECH e-Handbook 6.3.2.2. At least two values."""
    return math.fsum(abs(b - a) for a, b in pairwise(values)) / (len(values) - 1)


def ewma(values: Sequence[float], start: float, weight: float) -> list[float]:
    """Exponentially weighted means, `start` first; NIST/SEMATECH e-Handbook 6.3.2.4."""
    out = [start]
    for value in values:
        out.append(weight * value + (1 - weight) * out[-1])
    return out


def ewma_sigma(n: int, weight: float) -> float:
    """Standard deviation of the n-th weighted mean of values with standard deviation 1;
    same place."""
    return math.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * n)))


def runs(z: Sequence[float]) -> list[str]:
    """Western Electric's runs that end at the last of `z`, the single value beyond
    three sigma left out."""
    found = []
    side = 1.0 if z[-1] > 0 else -1.0
    back = [side * value for value in reversed(z)]
    if back[0] > 2 and sum(v > 2 for v in back[:3]) >= 2:
        found.append("two of three beyond two sigma")
    if back[0] > 1 and sum(v > 1 for v in back[:5]) >= 4:
        found.append("four of five beyond one sigma")
    if len(back) >= 8 and all(v > 0 for v in back[:8]):
        found.append("eight on one side")
    return found


def trend(looks: Sequence[Look], sigma: float, tolerance: float | None) -> Trend | None:
    """Least squares over the days; None where there are too few looks, or all on one
    day.

    earliest: the first day on which the tolerance may be left, by the steepest slope of
    the interval and less the last look's own uncertainty; None where the slope is not
    significant, or that day lies farther ahead than half the span looked back on.
    """
    n = len(looks)
    if n < FEWEST_FOR_TREND:
        return None
    days = [look.at for look in looks]
    middle = math.fsum(days) / n
    spread = math.fsum((d - middle) ** 2 for d in days)
    span = max(days) - min(days)
    if spread == 0:
        return None
    level = math.fsum(look.value for look in looks) / n
    slope = math.fsum((look.at - middle) * look.value for look in looks) / spread
    residual = math.fsum(
        (look.value - level - slope * (look.at - middle)) ** 2 for look in looks
    )
    error = max(sigma, math.sqrt(residual / (n - 2))) / math.sqrt(spread)
    expanded = t_quantile(0.95, n - 2) * error
    significant = abs(slope) > expanded
    earliest = None
    if significant and tolerance is not None:
        last = max(looks, key=lambda look: look.at)
        here = math.copysign(1.0, slope) * (level + slope * (last.at - middle))
        ahead = max(0.0, tolerance - last.expanded - here) / (abs(slope) + expanded)
        if ahead <= span / 2:
            earliest = last.at + ahead
    return Trend(slope, expanded, significant, earliest)


def look_again(stretch: Stretch) -> float:
    """Days on which to look again: weekly in the first month, then monthly (common
    practice, no source); at once after an alarm; never later than the earliest day on
    which the tolerance may be left."""
    first, last = stretch.looks[0].look.at, stretch.looks[-1].look.at
    if stretch.looks[-1].alarm is not None:
        return last
    usual = last + (OFTEN if last - first < FRESH else SELDOM)
    early = stretch.trend.earliest if stretch.trend is not None else None
    return usual if early is None else min(usual, max(last, early))

"""Control charts: the EWMA, the run rules, and what a deviation is worth when its sigma
is itself an estimate.

Pure; values and sigmas in one unit, scores in standard deviations.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from statistics import NormalDist

from bench.uncertainty.distributions import incomplete_beta, t_quantile

# of the EWMA of scores: in control it alarms as seldom as three sigma does on single
# values (500 against 370 checks; Lucas and Saccucci 1990, Technometrics 32(1), 1-12)
WEIGHT, LIMIT = 0.2, 3.1
THREE_SIGMA = 3.0
OUTSIDE = 2 * NormalDist().cdf(-THREE_SIGMA)  # chance beyond three sigma, 0.27 %
LONGEST_RUN = 8  # results on one side, of Western Electric's rules
MANY_FREEDOM = 50.0  # degrees of freedom, from where on a short form is good to 0.002
# what one score may at most add to the EWMA: a single slip is told as such and must
# not ring on (winsorised; Lucas and Crosier 1982, Communications in Statistics 11)
MOST_SCORE = 3.5


def ewma(before: float, value: float, weight: float = WEIGHT) -> float:
    """The next exponentially weighted mean; NIST/SEMATECH e-Handbook 6.3.2.4."""
    return weight * value + (1 - weight) * before


def ewma_sigma(n: int, weight: float = WEIGHT) -> float:
    """Standard deviation of the n-th weighted mean of values with standard deviation 1;
    same place."""
    return math.sqrt(weight / (2 - weight) * (1 - (1 - weight) ** (2 * n)))


def normal_score(t: float, dof: float) -> float:
    """The normal score as far out as t is in Student's distribution, so that three
    sigma alarms as seldom with few degrees of freedom as with many (Quesenberry 1991,
    Journal of Quality Technology 23(3), 213-224)."""
    # Wallace (1959), Annals of Mathematical Statistics 30(4), 1121-1130
    if dof >= MANY_FREEDOM:
        short = (8 * dof + 1) / (8 * dof + 3)
        return math.copysign(short * math.sqrt(dof * math.log1p(t * t / dof)), t)
    tail = incomplete_beta(dof / 2, 0.5, dof / (dof + t * t))  # both sides
    return math.copysign(-NormalDist().inv_cdf(max(tail, 1e-300) / 2), t)


def alarm_limit(dof: float) -> float:
    """The number of estimated sigmas that is as seldom passed as three known ones."""
    return t_quantile(1 - OUTSIDE, dof)


def run_rules(z: Sequence[float]) -> list[str]:
    """Western Electric's runs (handbook of 1956) that end at the last of `z`, the
    single value beyond three sigma left out, as codes. They are remarked on and never
    alarm: all rules together cry once in three within thirty results."""
    found = []
    side = 1.0 if z[-1] > 0 else -1.0
    back = [side * value for value in z[: -LONGEST_RUN - 1 : -1]]
    if back[0] > 2 and sum(v > 2 for v in back[:3]) >= 2:
        found.append("two-of-three-beyond-two")
    if back[0] > 1 and sum(v > 1 for v in back[:5]) >= 4:
        found.append("four-of-five-beyond-one")
    if len(back) == LONGEST_RUN and all(v > 0 for v in back):
        found.append("eight-on-one-side")
    return found

"""The chance that a value lies within limits, and the limits that hold a share of them.

Conformance probability: JCGM 106:2012, clause 7.
"""

from __future__ import annotations

from statistics import NormalDist

STEPS = 60  # halvings of the bracket: far below any figure that is shown


def conformance_probability(
    low: float, high: float, value: float, standard: float
) -> float:
    """The chance that a normal quantity lies within low and high (either may be
    infinite): JCGM 106:2012, 7.4. standard: its standard uncertainty, zero or more."""
    if standard <= 0.0:
        return 1.0 if low <= value <= high else 0.0
    below = NormalDist(value, standard).cdf
    return below(high) - below(low)


def share_limit(value: float, standard: float, share: float = 0.95) -> float:
    """Q, so that the chance of a size of at most Q is `share`."""
    low, high = 0.0, abs(value) + 10.0 * standard
    for _ in range(STEPS):
        middle = (low + high) / 2.0
        if conformance_probability(-middle, middle, value, standard) < share:
            low = middle
        else:
            high = middle
    return high

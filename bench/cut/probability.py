"""The chance that a value lies within limits, and the limits that hold a share of them.

Conformance probability: JCGM 106:2012, clause 7.
"""

from __future__ import annotations

from statistics import NormalDist


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
    """Q, so that the chance of a size of at most Q is `share`, more than a half.

    Newton's rule from |value|, where the chance is at most a half: from there on the
    chance grows ever less steeply, so that no step passes Q.
    """
    limit = abs(value)
    if standard <= 0.0:
        return limit
    density = NormalDist(value, standard).pdf
    while True:
        short = share - conformance_probability(-limit, limit, value, standard)
        further = limit + short / (density(limit) + density(-limit))
        if further <= limit:
            return limit
        limit = further

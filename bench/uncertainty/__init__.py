"""Budget, degrees of freedom, several sweeps, verdict: the one place where an
uncertainty is made.

Pure, without numpy. Angles in rad, lengths in mm. None stands for infinite degrees of
freedom. JCGM 100:2008 (GUM) for the budget, JCGM 106:2012 and ISO 14253-1 for the
verdict.
"""

from bench.uncertainty.budget import (
    Budget,
    Part,
    closure,
    combine,
    contact_away,
    reading_age,
    rectangular,
    resolution,
    seat,
    span,
    tilt,
    travel_scale,
)
from bench.uncertainty.distributions import t_quantile
from bench.uncertainty.sweeps import (
    Group,
    Pool,
    SweepScatter,
    between_sweeps,
    scatter_within,
)
from bench.uncertainty.variance_components import (
    SetUpScatter,
    between_set_ups,
    over_days,
)
from bench.uncertainty.verdicts import (
    EARLY,
    LATER,
    agreement,
    decidable_tolerance,
    decided_early,
    settle,
    verdict,
    verdict_between,
)

__all__ = [
    "EARLY",
    "LATER",
    "Budget",
    "Group",
    "Part",
    "Pool",
    "SetUpScatter",
    "SweepScatter",
    "agreement",
    "between_set_ups",
    "between_sweeps",
    "closure",
    "combine",
    "contact_away",
    "decidable_tolerance",
    "decided_early",
    "over_days",
    "reading_age",
    "rectangular",
    "resolution",
    "scatter_within",
    "seat",
    "settle",
    "span",
    "t_quantile",
    "tilt",
    "travel_scale",
    "verdict",
    "verdict_between",
]

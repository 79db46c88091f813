"""The instrument's count where the settings do not say it: as the readings of the whole
check show it. mm.

One pass, or a few touches, may lie on a coarser grid than the instrument's by luck; all
together hardly do.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from bench.checks.model import Evidence, Trace
from bench.gear import Indicator

USUAL = 0.001  # mm, where the readings lie on no grid; common practice, no source
# mm: a few readings may all be whole multiples of more by luck; and what never moves is
# a coarse instrument
COARSEST = 0.01
# share of neighbours alike, from which readings were shown by steps and not worked out
REPEATS = 0.2
# counts: rounding alone leaves 0.29 about a line, readings worked out leave none
ROUNDED = 0.2


def count_of(indicator: Indicator, readings: Sequence[float]) -> float:
    """Of readings taken one by one: as declared; else as they show it."""
    if indicator.resolution:
        return indicator.resolution
    seen = _seen(readings)
    return USUAL if seen == 0 else min(seen, COARSEST)


def count_of_sweeps(evidence: Evidence) -> float | None:
    """As declared; else as all pushes show it; None where they lie on no grid, as means
    do."""
    if evidence.gear.indicator.resolution:
        return evidence.gear.indicator.resolution
    return (
        _seen([r for trace in evidence.traces if trace.push for r in trace.reading])
        or None
    )


def _seen(readings: Sequence[float]) -> float:
    """0 where they lie on no grid."""
    import numpy as np

    from bench.geometry.cells import count_seen

    if len(set(readings)) < 2:
        return COARSEST
    return float(count_seen(np.asarray(readings, dtype=np.float64)))


def as_shown(traces: Sequence[Trace], count: float) -> bool:
    """Whether recorded readings lie on their grid because a display shows no more: not
    exact lines, nor means that were written down with so many decimals."""
    import numpy as np

    pairs = [abs(b - a) < count / 2 for t in traces for a, b in pairwise(t.reading)]
    left = []
    for trace in traces:
        s, r = np.array(trace.travel), np.array(trace.reading)
        left += list(r - np.polyval(np.polyfit(s, r, 1), s)) if np.ptp(s) > 0 else []
    # no mean ends so
    by_fives = round(count / 10 ** np.floor(np.log10(count) + 1e-9)) == 5
    if not pairs or not left or np.std(left) < ROUNDED * count:
        return False
    return bool(by_fives or sum(pairs) >= REPEATS * len(pairs))

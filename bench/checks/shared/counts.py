"""The instrument's count where the settings do not say it: as the readings of the whole check show it. mm.

One pass, or a few touches, may lie on a coarser grid than the instrument's by luck; all
together hardly do.
"""

from __future__ import annotations

from collections.abc import Sequence

from bench.checks.model import Evidence
from bench.gear import Indicator

USUAL = 0.001  # mm, where the readings lie on no grid; common practice, no source
# mm: a few readings may all be whole multiples of more by luck; and what never moves is a coarse instrument
COARSEST = 0.01


def count_of(indicator: Indicator, readings: Sequence[float]) -> float:
    """Of readings taken one by one: as declared; else as they show it."""
    if indicator.resolution:
        return indicator.resolution
    seen = _seen(readings)
    return USUAL if seen == 0 else min(seen, COARSEST)


def count_of_sweeps(evidence: Evidence) -> float | None:
    """As declared; else as all pushes show it; None where they lie on no grid, as means do."""
    if evidence.gear.indicator.resolution:
        return evidence.gear.indicator.resolution
    return _seen([r for trace in evidence.traces if trace.push for r in trace.reading]) or None


def _seen(readings: Sequence[float]) -> float:
    """0 where they lie on no grid."""
    import numpy as np

    from bench.geometry.cells import count_seen

    if len(set(readings)) < 2:
        return COARSEST
    return float(count_seen(np.asarray(readings, dtype=np.float64)))

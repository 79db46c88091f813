"""The instrument's count for readings taken one by one, where no sweep's fit sees it. mm.

May import: bench.gear; numpy and bench.geometry inside functions.
"""

from __future__ import annotations

from collections.abc import Sequence

from bench.gear import Indicator

USUAL = 0.001  # mm, where the readings lie on no grid; common practice, no source
COARSEST = 0.01  # mm: a few readings may all be whole multiples of more by luck


def count_of(indicator: Indicator, readings: Sequence[float]) -> float:
    """As declared; else as the readings show it."""
    import numpy as np

    from bench.geometry.cells import count_seen

    if indicator.resolution:
        return indicator.resolution
    seen = float(count_seen(np.asarray(readings, dtype=np.float64)))
    return min(seen, COARSEST) if seen > 0 else USUAL

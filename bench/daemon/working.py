"""Working out a finding, off the event loop. Imported when first needed: it brings numpy.

May import: bench.conclude.
"""

from __future__ import annotations

import bench.geometry.line_fit  # so that numpy is in before the first sweep ends
from bench.checks.model import Evidence
from bench.conclude import Units, conclude
from bench.finding import Finding


def work_out(evidence: Evidence, id: str, at: str, units: Units) -> Finding:
    return conclude(evidence, id=id, at=at, units=units)


__all__ = ["bench", "work_out"]

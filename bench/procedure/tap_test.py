"""What tapping the stand shows: whether the number comes back, as that of a stand that
holds does.

Pure.
"""

from __future__ import annotations

from bench.stream.rest_detector import Taken

# That a stand which does not return after a light tap will not hold through a push
# either, and these limits: common practice, no source.
COUNTS = 1.5  # one, and half of one: what is compared are means of whole counts
# of the spread at rest over half a second, about 1.5 times its noise
OF_SPREAD = 1.0 / 3.0


def not_back(before: Taken, after: Taken, count: float) -> float | None:
    """mm by which the number did not come back after the tap; None where it did."""
    off = after.value - before.value
    allowed = max(COUNTS * count, OF_SPREAD * max(before.spread, after.spread)) + 1e-9
    return off if abs(off) > allowed else None

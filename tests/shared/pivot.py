"""Where a sled's pivot stands in the frame from above."""

from __future__ import annotations

from bench.gear import Jig


def pivot_at(jig: Jig) -> float:
    """mm from the blade, right positive."""
    assert jig.pivot_to_blade is not None
    return jig.pivot_to_blade if jig.pivot == "right" else -jig.pivot_to_blade

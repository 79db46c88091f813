"""One pass over a saw plate, averaged over its turns: what the plate itself puts in cancels before the line is fitted.

A warped or dished plate is no line, and a fit of each turn alone would set its real form aside as dirt. Lengths in
mm. May import: bench.checks.slopes, .stretch; numpy and bench.geometry inside functions.
"""

from __future__ import annotations

from collections.abc import Sequence

from bench.checks.slopes import Placed
from bench.checks.stretch import travel_span

POINTS = 400  # over the stretch that all turns cover; fewer where fewer readings came
LEAST_COUNT = 1e-6  # mm, where the readings lie on no grid; under none at all a level stretch has no scatter
FEWEST = 4  # readings that make a line and judge it


def mean_rotation(placed: Sequence[Placed]) -> float | None:
    """Rotation of the line through the mean of all turns, each counting alike; None where it cannot be fitted.

    All placements have one side and mount, so one factor turns dr/ds into rotation.
    """
    import numpy as np

    from bench.geometry.line_fit import fit_sweep

    traces = [trace for p in placed for trace, _ in p.pushes]
    spans = [travel_span(trace.travel) for trace in traces]
    low, high = max(a for a, _ in spans), min(b for _, b in spans)
    number = min([POINTS, *(len(trace.travel) for trace in traces)])
    if high <= low or number < FEWEST:
        return None
    grid = np.linspace(
        low, high, number
    )  # the same places before the arbor as behind it, or a dish would lean
    total = np.zeros(number)
    for one in placed:
        for trace, _ in one.pushes:
            places, where, times = np.unique(trace.travel, return_inverse=True, return_counts=True)
            reading = np.bincount(where.reshape(-1), trace.reading, minlength=places.size) / times
            total += np.interp(grid, places, reading) / len(one.pushes) / len(placed)
    count = max(one_fit.count for one in placed for _, one_fit in one.pushes)
    fit = fit_sweep(grid, total, resolution=max(count, LEAST_COUNT))
    return None if fit.refused is not None else placed[0].factor * float(fit.slope)

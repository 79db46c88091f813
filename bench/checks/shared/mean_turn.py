"""One pass over a saw plate, averaged over its turns: what the plate itself puts in
cancels before the line is fitted.

A warped or dished plate is no line, and a fit of each turn alone would set its real
form aside as dirt. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from bench.checks.shared.placed import Placed
from bench.checks.shared.stretch import travel_span

if TYPE_CHECKING:
    from bench.geometry.cells import Array
    from bench.uncertainty import Group

POINTS = 400  # over the stretch that all turns cover; fewer where fewer readings came
# mm, where the readings lie on no grid; under none at all a level stretch has no
# scatter
LEAST_COUNT = 1e-6
FEWEST_FOR_FORM = 20  # places from which the fit tells a dish from noise by itself
FEWEST = 4  # readings that make a line and judge it


@dataclass(frozen=True, slots=True)
class MeanTurn:
    """rotation: rad, of the line through the mean of all turns. standard_uncertainty:
    rad, of what is left about it."""

    rotation: float
    standard_uncertainty: float
    degrees_of_freedom: float

    def groups(self, placed: Sequence[Placed]) -> list[Group]:
        """The turns for the rule of several sweeps, each push as noisy as the mean of
        all says: a turn's own line counts the plate's form as noise, which the mean is
        free of."""
        from bench.uncertainty import Group

        weight = 1 / len(placed)
        share = math.fsum(weight**2 / len(p.pushes) for p in placed)
        each, pushes = (
            self.standard_uncertainty / math.sqrt(share),
            sum(len(p.pushes) for p in placed),
        )
        return [
            Group(
                weight,
                p.rotations,
                [each] * len(p.pushes),
                [self.degrees_of_freedom / pushes] * len(p.pushes),
            )
            for p in placed
        ]


def mean_turn(placed: Sequence[Placed]) -> MeanTurn | None:
    """The line through the mean of all turns, each counting alike; None where it cannot
    be fitted.

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
            places, where, times = np.unique(
                trace.travel, return_inverse=True, return_counts=True
            )
            reading = (
                np.bincount(where.reshape(-1), trace.reading, minlength=places.size)
                / times
            )
            total += np.interp(grid, places, reading) / len(one.pushes) / len(placed)
    if number < FEWEST_FOR_FORM:
        return _dished(grid, total, placed[0].factor)
    count = max(one_fit.count for one in placed for _, one_fit in one.pushes)
    fit = fit_sweep(grid, total, resolution=max(count, LEAST_COUNT))
    if fit.refused is not None:
        return None
    return MeanTurn(
        placed[0].factor * float(fit.slope),
        float(fit.standard_uncertainty),
        float(fit.degrees_of_freedom),
    )


def _dished(grid: Array, mean: Array, factor: float) -> MeanTurn:
    """At a few marks: least squares with a dish, which evenly spread turns leave and
    which is no scatter."""
    import numpy as np

    u = (2 * grid - grid[0] - grid[-1]) / (grid[-1] - grid[0])
    design = np.polynomial.legendre.legvander(u, 2)
    inverse = np.linalg.inv(design.T @ design)
    found = inverse @ design.T @ mean
    freedom = int(grid.size) - 3
    left = mean - design @ found
    per = 2.0 / float(grid[-1] - grid[0])
    spread = math.sqrt(float(left @ left) / freedom * float(inverse[1, 1]))
    return MeanTurn(factor * float(found[1]) * per, spread * per, float(freedom))

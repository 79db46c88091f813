"""One pass over a saw plate, averaged over its turns: what the plate itself puts in
cancels before the line is fitted.

A warped or dished plate is no line, and a fit of each turn alone would set its real
form aside as dirt. Lengths in mm.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Pool
from bench.checks.shared.placed import Placed
from bench.checks.shared.traces import travel_span
from bench.uncertainty import Group
from bench.uncertainty.student import f_two_sided

if TYPE_CHECKING:
    from bench.geometry.cells import Array

POINTS = 400  # over the stretch that all turns cover; fewer where fewer readings came
# mm, where the readings lie on no grid; under none at all a level stretch has no
# scatter
LEAST_COUNT = 1e-6
FEWEST_FOR_FORM = 20  # places from which the fit tells a dish from noise by itself
FEWEST = 4  # readings that make a line and judge it
FEWEST_TURNS = 4  # that show a scatter beside offset, sine and cosine of the tilt
# rad, scatter of a pass of the carried indicator, and the degrees of freedom that this
# counts for beside the turns' own; common practice, no source
USUAL_PASS, WORTH = 20e-6, 3.0
# p of the F test below which the turns alone speak; they are two at least then
LOOKS_DIFFERENT, ENOUGH = 0.25, 2.0


class MeanTurn(msgspec.Struct, frozen=True):
    """rotation: rad, of the line through the mean of all turns. standard_uncertainty:
    rad, of what is left about it."""

    rotation: float
    standard_uncertainty: float
    degrees_of_freedom: float

    def groups(self, placed: Sequence[Placed]) -> list[Group]:
        """The turns for the rule of several sweeps, each push as noisy as the mean of
        all says: a turn's own line counts the plate's form as noise, which the mean is
        free of."""
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


def scatter_of_turns(
    placed: Sequence[Placed], degrees: Sequence[float], log: Pool | None
) -> Pool | None:
    """Scatter of one pass where every turn was swept once, rad^2; None where turns were
    swept more often, or are too few.

    A tilted plate turns the passes' slopes as a sine of the turn: what is left about
    that sine is the scatter. It has few degrees of freedom and is pooled with that of
    the log, else with what is usual (JCGM 100:2008, 4.2.4), unless it looks larger.
    """
    import numpy as np

    freedom = len(placed) - 3
    if len(placed) < FEWEST_TURNS or any(len(p.pushes) != 1 for p in placed):
        return None
    turn = np.radians(np.asarray(degrees, dtype=np.float64))
    design = np.column_stack((np.ones(turn.size), np.cos(turn), np.sin(turn)))
    slopes = np.array([p.rotation for p in placed])
    found, _, rank, _ = np.linalg.lstsq(design, slopes, rcond=None)
    if rank < design.shape[1]:
        return None
    left = slopes - design @ found
    own = float(left @ left) / freedom
    usual = log or Pool(USUAL_PASS**2, WORTH)
    if freedom >= ENOUGH and own > usual.variance:
        p = f_two_sided(own / usual.variance, freedom, usual.degrees_of_freedom)
        if p < LOOKS_DIFFERENT:
            return Pool(own, float(freedom))
    both = freedom + usual.degrees_of_freedom
    squares = freedom * own + usual.degrees_of_freedom * usual.variance
    return Pool(squares / both, both)


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

"""One pass over a saw plate, averaged over its turns: what the plate itself puts in
cancels before the line is fitted.

A warped or dished plate is no line, and a fit of each turn alone would set its real
form aside as dirt. Lengths in mm.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

import numpy as np

from bench.checks.shared.placement_fit import PlacementFit
from bench.checks.shared.traces import travel_span
from bench.geometry.cells import Array
from bench.geometry.columns import distinct, legendre
from bench.geometry.correlated_noise import FEWEST_FOR_FORM
from bench.geometry.line_fit import fit_sweep
from bench.uncertainty.distributions import f_two_sided
from bench.uncertainty.sweeps import LOOKS_DIFFERENT, Group, Pool

# over the stretch that all turns cover; fewer where fewer readings came
GRID_POINTS = 400
# mm, where the readings lie on no grid; under none at all a level stretch has no
# scatter
LEAST_COUNT = 1e-6
FEWEST_PLACES = 4  # readings that make a line and judge it
FEWEST_TURNS = 4  # that show a scatter beside offset, sine and cosine of the tilt
# rad, scatter of a pass of the carried indicator, and the degrees of freedom that this
# counts for beside the turns' own; common practice, no source
USUAL_PASS, WORTH = 20e-6, 3.0
# degrees of freedom with which the turns alone may speak
ENOUGH_FREEDOM = 2.0


def mean_turn(placed: Sequence[PlacementFit]) -> tuple[float, list[Group]]:
    """rad, rotation by the line through the mean of all turns, each counting alike,
    else the mean of their own; and the turns for the rule of several sweeps.

    Each push is as noisy as the mean of all says: a turn's own line counts the plate's
    form as noise, which the mean is free of.
    """
    weight = 1 / len(placed)
    groups = [p.group(weight) for p in placed]
    found = _fitted(placed) if len(placed) > 1 else None
    if found is None:
        return statistics.fmean(p.rotation for p in placed), groups
    slope, error, freedom = found
    each = error / math.sqrt(math.fsum(weight**2 / len(p.pushes) for p in placed))
    freedom /= sum(len(p.pushes) for p in placed)
    # all placements have one side and mount, so one factor turns dr/ds into rotation
    return placed[0].factor * slope, [
        Group(weight, g.slopes, [each] * n, [freedom] * n)
        for g, n in ((group, len(group.slopes)) for group in groups)
    ]


def _fitted(placed: Sequence[PlacementFit]) -> tuple[float, float, float] | None:
    """Slope of the line through the mean of all turns, its standard uncertainty and
    degrees of freedom."""
    traces = [trace for p in placed for trace, _ in p.pushes]
    spans = [travel_span(trace.travel) for trace in traces]
    low, high = max(a for a, _ in spans), min(b for _, b in spans)
    number = min([GRID_POINTS, *(len(trace.travel) for trace in traces)])
    if high <= low or number < FEWEST_PLACES:
        return None
    # the same places before the arbor as behind it, or a dish would lean
    grid = np.linspace(low, high, number)
    mean = np.zeros(number)
    for one in placed:
        for trace, _ in one.pushes:
            places, where = distinct(np.asarray(trace.travel))
            reading = np.bincount(where, trace.reading) / np.bincount(where)
            mean += np.interp(grid, places, reading) / len(one.pushes) / len(placed)
    if number < FEWEST_FOR_FORM:
        return _dished(grid, mean)
    count = max(fit.count for one in placed for _, fit in one.pushes)
    fit = fit_sweep(grid, mean, resolution=max(count, LEAST_COUNT))
    if fit.refused is not None:
        return None
    line = (fit.slope, fit.standard_uncertainty, fit.degrees_of_freedom)
    return float(line[0]), float(line[1]), float(line[2])


def scatter_of_turns(
    placed: Sequence[PlacementFit], degrees: Sequence[float], log: Pool | None
) -> Pool | None:
    """Scatter of one pass where every turn was swept once, rad^2; None where turns were
    swept more often, or are too few.

    A tilted plate turns the passes' slopes as a sine of the turn: what is left about
    that sine is the scatter. It has few degrees of freedom and is pooled with that of
    the log, else with what is usual (JCGM 100:2008, 4.2.4), unless it looks larger.
    """
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
    if freedom >= ENOUGH_FREEDOM and own > usual.variance:
        p = f_two_sided(own / usual.variance, freedom, usual.degrees_of_freedom)
        if p < LOOKS_DIFFERENT:
            return Pool(own, float(freedom))
    both = freedom + usual.degrees_of_freedom
    squares = freedom * own + usual.degrees_of_freedom * usual.variance
    return Pool(squares / both, both)


def _dished(grid: Array, mean: Array) -> tuple[float, float, float]:
    """The line at a few marks: least squares with a dish, which evenly spread turns
    leave and which is no scatter."""
    design = legendre(grid, 2)
    inverse = np.linalg.inv(design.T @ design)
    found = inverse @ design.T @ mean
    freedom = int(grid.size) - 3
    left = mean - design @ found
    per = 2.0 / float(grid[-1] - grid[0])
    spread = math.sqrt(float(left @ left) / freedom * float(inverse[1, 1]))
    return float(found[1]) * per, spread * per, float(freedom)

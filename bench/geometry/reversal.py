"""The profile of a face from sweeps along a straightedge, as it lies and rolled over.

Averaging on uneven travel, levelling and the straightedge reversal; no choice of what
is good enough. Positions and heights in mm. Every result is linear in the readings, so
each comes with the covariance that noise in the readings gives it (GUM, JCGM 100:2008,
5.1 and 5.2).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bench.geometry.columns import (
    Array,
    Column,
    GeometryError,
    column,
    distinct,
    line_of,
    paired,
)

# mm, the stretch that is averaged: longer than a texture, shorter than a board
WINDOW = 45.0
CELLS_PER_WINDOW = 20  # readings within a twentieth of the window count as one place


def levelling_matrix(x: Column) -> Array:
    """(n, n): takes heights at x to their residuals about their own
    least-squares line."""
    xs = column("positions", x, 2)
    offsets = xs - xs.mean()
    share = np.outer(offsets, offsets) / float(offsets @ offsets)
    return np.asarray(np.eye(xs.size) - 1.0 / xs.size - share)


def level(x: Column, y: Column) -> Array:
    """Heights less their least-squares line, shape (n,): offset and slope of a set-up
    say nothing of form."""
    return line_of(*paired(x, y)).left


def common_grid(positions: Sequence[Column], step: float = 5.0) -> Array:
    """Evenly spaced places (m,) over the stretch that every sweep covers, at most
    `step` mm apart.

    Raises GeometryError where the sweeps share no stretch.
    """
    columns = [column("positions", p, 2) for p in positions]
    low = max(float(c.min()) for c in columns)
    high = min(float(c.max()) for c in columns)
    if not high > low:
        raise GeometryError(
            "the passes share no stretch of the face: pass over the same places"
        )
    return np.linspace(low, high, max(2, int(np.ceil((high - low) / step)) + 1))


def smoothing_matrix(x: Column, at: Column, window: float = WINDOW) -> Array:
    """Weights (m, n) that average readings at uneven places x into heights at places
    `at`.

    In each window of travel a line is fitted by least squares and read off at the
    place, every stretch of travel counting alike however many readings fell into it (a
    sled that rests must not pull the average). A straight face so stays straight
    exactly, to its very ends. There the window stays whole and inside the readings, and
    the line is read off its middle: no shortening of the ends, but up to four times the
    variance; a curve of second derivative k shifts by +k w^2/24 in the middle and -k
    w^2/12 at an end (a crown of 0.05 mm over 900 by 0.00004 and 0.00008 mm). Nowhere is
    the result noisier than one reading: where readings are too few or too bunched for a
    line, the straight line between the two neighbours is taken. Raises GeometryError
    for places outside the readings. Source: local linear regression; Fan and Gijbels
    (1996), Local Polynomial Modelling and Its Applications.
    """
    xs = column("positions", x, 2)
    places = column("places", at)
    low, high = float(xs.min()), float(xs.max())
    slack = 1e-9 * (high - low)
    if places.min() < low - slack or places.max() > high + slack:
        raise GeometryError(f"place outside the readings ({low:g} to {high:g} mm)")
    return _local_lines(xs, places, window)


def _local_lines(xs: Array, places: Array, window: float) -> Array:
    """The weights of `smoothing_matrix`; places just outside xs are read off the
    outermost line."""
    low, high = float(xs.min()), float(xs.max())
    slack = 1e-9 * (high - low)
    half = min(window, high - low) / 2.0
    middles = np.clip(places, low + half, high - half)
    inside = np.abs(xs[None, :] - middles[:, None]) <= half + slack
    member, count = _cells(xs, window)
    counts = np.where(inside, 1.0 / count[member], 0.0)
    total = counts.sum(axis=1)
    usable = total > 0.0
    total = np.where(usable, total, 1.0)
    centre = (counts @ xs) / total
    offsets = xs[None, :] - centre[:, None]
    spread = (counts * offsets**2).sum(axis=1)
    usable &= spread > (1e-6 * half) ** 2 * total
    spread = np.where(usable, spread, 1.0)
    weights = counts * (
        1.0 / total[:, None] + offsets * ((places - centre) / spread)[:, None]
    )
    usable &= (weights**2).sum(axis=1) <= 1.0 + 1e-12
    poor = np.flatnonzero(~usable)
    if poor.size:
        weights[poor] = interpolation_matrix(xs, places[poor])
    return np.asarray(weights)


def cells_of_travel(
    xs: Array, ys: Array, window: float = WINDOW
) -> tuple[Array, Array, Array]:
    """Mean place, mean height and number of the readings in each cell of travel: a
    sweep of thousands of readings then costs no more than one of hundreds.
    """
    member, count = _cells(xs, window)
    return np.bincount(member, xs) / count, np.bincount(member, ys) / count, count


def _cells(xs: Array, window: float) -> tuple[npt.NDArray[np.intp], Array]:
    """The cell of each reading, and how many each cell holds. Whole cells only: a last
    one cut short would count its few readings as much as a full one's."""
    reach = float(np.ptp(xs))
    cells = max(1, round(reach * CELLS_PER_WINDOW / window))
    number = np.minimum(np.floor((xs - xs.min()) * (cells / reach)), cells - 1)
    _, member = distinct(number)
    return member, np.bincount(member).astype(np.float64)


def interpolation_matrix(x: Column, at: Column) -> Array:
    """Weights (m, n) of straight lines between neighbouring places; readings at one
    place are averaged.

    Outside the readings the outermost line is drawn on.
    """
    xs, places = column("positions", x), column("places", at)
    knots, member = distinct(xs)
    count = np.bincount(member)
    last = knots.size - 1
    upper = np.clip(np.searchsorted(knots, places), min(1, last), last)
    lower = np.maximum(upper - 1, 0)
    gap = np.where(upper > lower, knots[upper] - knots[lower], 1.0)
    share = np.where(upper > lower, (places - knots[lower]) / gap, 0.0)
    on_knots = np.zeros((places.size, knots.size))
    rows = np.arange(places.size)
    on_knots[rows, lower] += 1.0 - share
    on_knots[rows, upper] += share
    return np.asarray((on_knots / count)[:, member])


def smooth(x: Column, y: Column, at: Column, window: float = WINDOW) -> Array:
    """Heights (m,) at places `at`, averaged over `window` mm; see `smoothing_matrix`
    for the ends."""
    xs, ys = paired(x, y)
    return np.asarray(smoothing_matrix(xs, at, window) @ ys)


@dataclass(frozen=True, eq=False)
class Reversal:
    """The face and the straightedge told apart, on one grid.

    x, face, straightedge: (n,) mm, both levelled. covariance: (n, n) mm^2, of either
    one (they have the same), or None where nothing tells the noise. degrees_of_freedom:
    of that covariance.
    """

    x: Array
    face: Array
    straightedge: Array
    covariance: Array | None = None
    degrees_of_freedom: float | None = None


def reverse_sweeps(
    as_is: Sequence[tuple[Column, Column]],
    rolled_over: Sequence[tuple[Column, Column]],
    step: float = 5.0,
    window: float = WINDOW,
) -> Reversal:
    """Straightedge reversal of whole sweeps: the face f = (p1 + p2)/2 and the
    straightedge g = (p1 - p2)/2.

    Each sweep is a pair (positions, heights) of its own length and places; heights grow
    where the *face* stands proud, the straightedge is rolled over about its own length
    between them (the same end stays on the left): p1 = f + g, p2 = f - g. Source:
    Evans, Hocken and Estler (1996), CIRP Annals 45(2), 617-634.

    Every sweep is averaged over `window` onto the grid that all share and levelled;
    sweeps of one placement are averaged. The noise is what sweeps of one placement
    differ by, pooled over both; with one sweep each, what single readings differ by
    from their averaged line (which counts texture as noise). Its size is spread over
    the grid as averaged readings share it: neighbours within a window are related.
    Raises GeometryError where the sweeps share no stretch.
    """
    pairs = [paired(x, y) for x, y in (*as_is, *rolled_over)]
    grid = common_grid([x for x, _ in pairs], step)
    lines, shape = _averaged(pairs, grid, window)
    first, second = lines[: len(as_is)], lines[len(as_is) :]
    p1, p2 = np.mean(first, axis=0), np.mean(second, axis=0)
    told_apart = grid, (p1 + p2) / 2.0, (p1 - p2) / 2.0
    trace = float(np.trace(shape))
    repeats = len(lines) - 2
    if repeats > 0:
        scatter = sum(float(np.sum((line - p1) ** 2)) for line in first)
        scatter += sum(float(np.sum((line - p2) ** 2)) for line in second)
        variance = scatter / (trace * repeats)
        # Satterthwaite: neighbours within a window do not count as separate evidence
        freedom = repeats * trace**2 / float(np.sum(shape**2))
    else:
        readings = [_reading_variance(xs, ys, grid, window) for xs, ys in pairs]
        known = [r for r in readings if r is not None]
        if not known:
            return Reversal(*told_apart)
        variance = float(np.mean([v for v, _ in known]))
        freedom = float(sum(f for _, f in known))
    share = (1.0 / len(first) + 1.0 / len(second)) / 4.0
    return Reversal(*told_apart, variance * share * shape, freedom)


def _averaged(
    pairs: Sequence[tuple[Array, Array]], grid: Array, window: float
) -> tuple[list[Array], Array]:
    """Each sweep's levelled average on the grid, and the covariance that unit noise of
    single readings gives one of them, in the mean."""
    levelling = levelling_matrix(grid)
    lines, shapes = [], []
    for xs, ys in pairs:
        places, heights, count = cells_of_travel(xs, ys, window)
        matrix = levelling @ _local_lines(places, grid, window)
        lines.append(matrix @ heights)
        shapes.append((matrix / count) @ matrix.T)
    return lines, np.asarray(np.mean(shapes, axis=0))


def _reading_variance(
    xs: Array, ys: Array, grid: Array, window: float
) -> tuple[float, float] | None:
    """Variance of single readings about their own averaged line, and its degrees of
    freedom."""
    inside = (xs >= grid[0]) & (xs <= grid[-1])
    xs, ys = xs[inside], ys[inside]
    if xs.size < 3 or not np.ptp(xs) > 0.0:
        return None
    # the stretch in common may end between this sweep's own readings
    averaging = smoothing_matrix(xs, np.clip(grid, xs.min(), xs.max()), window)
    back = interpolation_matrix(grid, xs)
    residual = ys - back @ (averaging @ ys)
    # the expectation of the sum of squares per unit of variance: |I - H|^2 for H = back
    # @ averaging
    freedom = xs.size - 2.0 * float(np.sum(back * averaging.T))
    freedom += float(np.sum((back.T @ back) * (averaging @ averaging.T)))
    if freedom < 1.0:
        return None
    return float(residual @ residual) / freedom, freedom

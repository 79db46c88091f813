"""The slope of one sweep, as sharp as least squares on clean readings and unmoved by dirt.

May import: numpy, bench.geometry. Travel and reading in mm, time in s, slopes in rad (mm per mm).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bench.geometry.cells import Array, Mask, count_seen, into_cells, moving
from bench.geometry.robust import bisquare_fit, least_quantile, least_squares, scale_of

FEWEST = 3  # readings that make a line with anything left over to judge it by
MOST_ASIDE = 1 / 3


@dataclass(frozen=True, slots=True)
class SweepFit:
    """What one sweep says.

    slope: dr/ds as read, before mount and side. standard_uncertainty: of the slope, this sweep's own, without
    rows of type B; it knows that neighbouring readings are related. intercept: mm, at travel 0. start, stop:
    mm, the stretch of travel fitted. aside: (readings,) True where a reading was set aside as dirt (readings
    outside the stretch and rests are neither used nor set aside). residual_spread: mm, standard deviation of
    clean readings about the line. count: mm, the instrument's count, given or seen. refused: a whole sentence
    where the sweep cannot be used; the numbers are then not to be relied on.
    """

    slope: float
    standard_uncertainty: float
    degrees_of_freedom: float
    intercept: float
    start: float
    stop: float
    readings: int
    set_aside: int
    aside: Mask
    residual_spread: float
    count: float
    refused: str | None


def fit_sweep(
    travel: npt.ArrayLike,
    reading: npt.ArrayLike,
    *,
    resolution: float | None = None,
    at: npt.ArrayLike | None = None,
    stretch: tuple[float, float] | None = None,
) -> SweepFit:
    """Fit a line to one sweep, readings in the order they came.

    travel, reading: (N,) mm. resolution: the instrument's count, mm, None to see it from the readings.
    at: (N,) s. stretch: fit only this part of the travel. Raises ValueError for shapes that differ or values that are
    not finite; what is wrong with the sweep itself is said in `refused`.
    """
    s_all = np.asarray(travel, dtype=np.float64)
    r_all = np.asarray(reading, dtype=np.float64)
    if s_all.ndim != 1 or s_all.shape != r_all.shape:
        raise ValueError(
            f"travel and reading must be lists of one length, not {s_all.shape} and {r_all.shape}"
        )
    if not (np.isfinite(s_all).all() and np.isfinite(r_all).all()):
        raise ValueError("travel and reading must be finite numbers")
    count = count_seen(r_all) if resolution is None else float(resolution)
    inside = np.ones(s_all.size, dtype=bool)
    if stretch is not None:
        inside = (s_all >= min(stretch) - 1e-9) & (s_all <= max(stretch) + 1e-9)
    if inside.sum() < FEWEST:
        return _refuse(s_all, count, f"The sweep is too short: only {int(inside.sum())} readings to fit.")
    if float(np.ptp(s_all[inside])) <= 0:
        return _refuse(s_all, count, "The travel does not move.")
    kept = inside.copy()
    kept[inside] = moving(s_all[inside])
    s, r = s_all[kept], r_all[kept]
    order = np.argsort(s, kind="stable")
    intercept, slope, _ = least_quantile(s[order], r[order])
    intercept, slope, scale = bisquare_fit(s, r, (intercept, slope))
    scale = max(scale, count / np.sqrt(12))
    limit = max(4 * scale, 2 * count)
    aside = np.zeros(s_all.size, dtype=bool)
    aside[kept] = np.abs(r - intercept - slope * s) > limit
    good = kept & ~aside
    if aside.sum() > MOST_ASIDE * kept.sum():
        return _refuse(s_all, count, "More than a third of the readings would have to be set aside.", aside)
    cells = into_cells(s_all, r_all, good)
    weights = np.ones_like(cells.travel)
    intercept, slope = least_squares(cells.travel, cells.reading, weights)
    left = cells.reading - intercept - slope * cells.travel
    u, dof = _low_orders(cells.travel, left, count)
    spread = float(np.std(r_all[good] - intercept - slope * s_all[good]))
    return SweepFit(
        slope,
        u,
        dof,
        intercept,
        float(s_all[good].min()),
        float(s_all[good].max()),
        int(inside.sum()),
        int(aside.sum()),
        aside,
        spread,
        count,
        None,
    )


def _low_orders(x: Array, left: Array, count: float) -> tuple[float, float]:
    """Standard uncertainty of the slope from the residuals' own low orders: noise that is related from one
    reading to the next puts as much into the first order as into the next few."""
    orders = min(x.size - 2, 12)
    if orders < 1:
        return scale_of(left), 1.0
    middle = (x - x.min()) / np.ptp(x) * 2 - 1
    basis, _ = np.linalg.qr(np.polynomial.legendre.legvander(middle, orders + 1))
    size2 = float(np.mean((basis[:, 2:].T @ left) ** 2))
    spread = float(np.sqrt(np.sum((x - x.mean()) ** 2)))
    return float(np.sqrt(max(size2, 1e-30))) / spread, float(orders)


def _refuse(travel: Array, count: float, why: str, aside: Mask | None = None) -> SweepFit:
    none = np.zeros(travel.size, dtype=bool) if aside is None else aside
    start = float(travel.min()) if travel.size else 0.0
    stop = float(travel.max()) if travel.size else 0.0
    return SweepFit(0.0, 0.0, 1.0, 0.0, start, stop, travel.size, int(none.sum()), none, 0.0, count, why)

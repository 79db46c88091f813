"""The slope of one sweep, as sharp as least squares on clean readings and unmoved by
dirt.

Travel and reading in mm, time in s, slopes in rad (mm per mm).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bench.finding import Remark, refusal
from bench.geometry.cells import (
    Array,
    Mask,
    at_stations,
    count_seen,
    into_cells,
    moving,
)
from bench.geometry.columns import distinct, paired
from bench.geometry.correlated_noise import fit_line
from bench.geometry.dirt import dirt_at_stations, dirt_in_sweep, long_step

FEWEST_FITTED = 4  # readings, at as many places: two make the line, the others judge it
SHORTEST_FITTED = 1.0  # mm of travel
STEP_EVIDENCE = 10.0  # natural logarithm: twenty thousand to one
MOST_ASIDE = 1 / 3  # share of a pass set aside from which it is refused; no source


@dataclass(frozen=True, slots=True)
class SweepFit:
    """The line fitted to one sweep.

    slope: dr/ds as read, before mount and side. standard_uncertainty: of the slope,
    this sweep's own, without rows of type B; it knows that neighbouring readings are
    related. intercept: mm, at travel 0. start, stop: mm, the stretch of travel fitted.
    aside: (readings,) True where a reading was set aside as dirt (readings outside the
    stretch and rests are neither used nor set aside). residual_spread: mm, standard
    deviation of clean readings about the line. count: mm, the instrument's count, given
    or seen. refused: why the sweep cannot be used; the numbers are then not to be
    relied on.
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
    refused: Remark | None


def fit_sweep(
    travel: npt.ArrayLike,
    reading: npt.ArrayLike,
    *,
    resolution: float | None = None,
    at: npt.ArrayLike | None = None,
    stretch: tuple[float, float] | None = None,
) -> SweepFit:
    """Fit a line to one sweep, readings in the order they came.

    travel, reading: (N,) mm. resolution: the instrument's count, mm, None to see it
    from the readings. at: (N,) s. stretch: fit only this part of the travel. Raises
    GeometryError for shapes that differ or values that are not finite; what is wrong
    with the sweep itself is said in `refused`.
    """
    s_all, r_all = paired(travel, reading, at_least=0)
    count = count_seen(r_all) if resolution is None else float(resolution)
    inside = np.ones(s_all.size, dtype=bool)
    if stretch is not None:
        inside = (s_all >= min(stretch) - 1e-9) & (s_all <= max(stretch) + 1e-9)
    if (little := _too_little(s_all[inside])) is not None:
        return _refuse(s_all, count, little)
    kept = inside.copy()
    kept[inside] = moving(
        s_all[inside], None if at is None else np.asarray(at, dtype=np.float64)[inside]
    )
    rows = np.flatnonzero(kept)
    rows = rows[np.argsort(s_all[rows], kind="stable")]
    aside = np.zeros(s_all.size, dtype=bool)
    aside[rows], why = _set_aside(s_all[rows], r_all[rows], count)
    if why is not None:
        return _refuse(s_all, count, why, aside)
    good = kept & ~aside
    cells = into_cells(s_all[good], r_all[good])
    line = fit_line(cells.travel, cells.reading, cells.n)
    # one count's jump is how a counting instrument shows a small slope
    if line.step > STEP_EVIDENCE and abs(line.step_size) > 1.5 * count:
        return _refuse(s_all, count, _jump(line.step_at, line.step_size), aside)
    left = r_all[good] - line.intercept - line.slope * s_all[good]
    start, stop = float(s_all[good].min()), float(s_all[good].max())
    slope = (line.slope, line.standard_uncertainty, line.degrees_of_freedom)
    numbers = (int(inside.sum()), int(aside.sum()))
    spread = float(np.sqrt(np.sum(left**2) / max(left.size - 2, 1)))
    return SweepFit(
        *slope, line.intercept, start, stop, *numbers, aside, spread, count, None
    )


def _set_aside(s: Array, r: Array, count: float) -> tuple[Mask, Remark | None]:
    """The readings that are dirt, s rising, and why the sweep cannot be used for it."""
    if at_stations(s):
        odd = _station_dirt(s, r, count)
    else:
        odd, from_line = dirt_in_sweep(s, r, count)
        broken = long_step(s, from_line, odd)
        if broken is not None:
            return odd, _jump(*broken)
    share = float(odd.sum() / s.size)
    return odd, refusal("pass-dirty", share=share) if share > MOST_ASIDE else None


def _too_little(s: Array) -> Remark | None:
    """The reason why no line can be judged over these places."""
    if s.size < FEWEST_FITTED:
        return refusal("pass-few-readings", readings=s.size)
    if float(np.ptp(s)) < SHORTEST_FITTED:
        return refusal("pass-without-travel")
    places = np.unique(s).size
    if places < FEWEST_FITTED:
        return refusal("pass-few-places", places=places)
    return None


def _station_dirt(s: Array, r: Array, count: float) -> Mask:
    """Marks may be read several times: their medians are judged, a bad mark takes all
    its readings along."""
    places, index = distinct(s)
    if places.size == s.size:
        return dirt_at_stations(s, r, count)
    medians = np.array([float(np.median(r[index == k])) for k in range(places.size)])
    stray = np.abs(r - medians[index])
    odd = stray > max(8 * float(np.median(stray)), 2 * count, 1e-9)
    dirty: Mask = dirt_at_stations(places, medians, count)[index] | odd
    return dirty


def _jump(where: float, size: float) -> Remark:
    return refusal("pass-jumps", size=float(abs(size)), at=float(where))


def _refuse(
    travel: Array, count: float, why: Remark, aside: Mask | None = None
) -> SweepFit:
    none = np.zeros(travel.size, dtype=bool) if aside is None else aside
    start, stop = (
        (float(travel.min()), float(travel.max())) if travel.size else (0.0, 0.0)
    )
    n, odd = travel.size, int(none.sum())
    return SweepFit(0.0, 0.0, 1.0, 0.0, start, stop, n, odd, none, 0.0, count, why)

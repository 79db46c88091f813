"""Readings come by time, a line is fitted over travel: rests dropped, the rest averaged
in equal cells.

Travel and reading in mm.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from bench.geometry.columns import distinct

Array = npt.NDArray[np.float64]
Mask = npt.NDArray[np.bool_]

CELLS = 50  # enough to see how far neighbours are related, few enough to be quick
_USUAL = sorted(
    (
        unit * digit * 10.0**power
        for unit in (1.0, 25.4)
        for digit in (1, 2, 5)
        for power in range(-6, 0)
    ),
    reverse=True,
)
REST_SHARE = 0.1  # of the median speed: slower is standing still


@dataclass(frozen=True, slots=True)
class Cells:
    """travel, reading: cell means (K,). n: how many independent readings each holds."""

    travel: Array
    reading: Array
    n: Array


def count_seen(reading: Array) -> float:
    """The instrument's count as the readings themselves show it, mm; 0.0 where they lie
    on no usual grid.

    The largest usual count (1, 2, 5 times a power of ten, in mm or inch) of which all
    differences are whole multiples. Equal readings show none."""
    values = np.unique(reading)
    if values.size < 2:
        return 0.0
    steps = values[1:] - values[0]
    least = float(np.diff(values).min())
    for count in _USUAL:
        if count > least * 1.01:
            continue
        if count < 1e-5:
            break
        parts = steps / count
        if float(np.max(np.abs(parts - np.round(parts)))) < 0.02:
            return count
    return 0.0


def at_stations(travel: Array) -> bool:
    """Stopped and read at a few places, not swept."""
    return travel.size <= 16 or np.unique(travel).size <= 16


def moving(travel: Array, at: Array | None = None) -> Mask:
    """False for readings taken while the sled stood still. Travel is in order of time.

    Speed is seen over a few readings to either side, so that a coarse travel scale does
    not look like a sequence of rests. A sweep of marks, many readings at few places,
    has no rests to drop.
    """
    n = travel.size
    if n < 40 or at_stations(travel):
        return np.ones(n, dtype=bool)
    reach = max(1, n // 150)
    before = np.clip(np.arange(n) - reach, 0, n - 1)
    after = np.clip(np.arange(n) + reach, 0, n - 1)
    clock = (
        np.arange(n, dtype=np.float64) if at is None or np.any(np.diff(at) < 0) else at
    )
    took = clock[after] - clock[before]
    # several readings may arrive in one block
    least = 1e-3 * float(clock[-1] - clock[0]) / n
    speed = np.abs(travel[after] - travel[before]) / np.maximum(took, max(least, 1e-12))
    usual = float(np.median(speed))
    # where most of the time was spent at rest, the median itself is a rest
    usual = max(
        usual, 0.5 * float(np.ptp(travel)) / max(float(clock[-1] - clock[0]), 1e-12)
    )
    kept: Mask = speed > REST_SHARE * usual
    return kept


def into_cells(travel: Array, reading: Array) -> Cells:
    """Average readings in equal cells of travel. At marks each mark is a cell of its
    own.

    A cell's travel is the mean travel of its readings, so uneven filling costs nothing.
    """
    places, slot = distinct(travel)
    if places.size > 16 and travel.size > CELLS:
        scaled = (travel - places[0]) / (places[-1] - places[0]) * CELLS
        slot = distinct(np.minimum(scaled.astype(np.intp), CELLS - 1))[1]
    n = np.bincount(slot).astype(np.float64)
    return Cells(np.bincount(slot, travel) / n, np.bincount(slot, reading) / n, n)

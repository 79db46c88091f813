"""How far a face leans out of plumb, from readings at heights beside a square that is
reversed.

An indicator is slid up the upright edge of a square that stands on the table, its tip
on the face. With the stock pointing away from the face the reading grows by lean + e a
mm of height, reversed by lean - e, where 90 deg + e is the square's angle through its
body: lean = (l1 + l2) / 2. Source: the reversal of Evans, Hocken, Estler (1996), CIRP
Annals 45(2), 617-634. Heights and readings in mm, slopes in rad, positive where the
face's top leans out toward the square. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from bench.geometry.columns import Column, GeometryError, column, line_of


@dataclass(frozen=True)
class Slope:
    """slope: mm a mm. spread: sum of squared heights about their mean, mm^2. squares:
    of what is left about the line, mm^2; degrees_of_freedom: of that."""

    slope: float
    spread: float
    squares: float
    degrees_of_freedom: int


@dataclass(frozen=True)
class Lean:
    """value: rad. square: the square's e, rad, where the set-ups are two.

    standard_uncertainty: of value, from the readings' own scatter about their lines,
    pooled over the set-ups; scatter: of one reading, mm.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: int
    scatter: float
    square: float | None


def slope(height: Column, reading: Column) -> Slope:
    """Least-squares line of one set-up; height, reading: (n,) mm, n >= 3. Raises
    GeometryError where all heights are one."""
    z, r = column("height", height), column("reading", reading)
    if z.size != r.size or z.size < 3:
        raise GeometryError("a set-up takes three readings at least")
    if not np.ptp(z) > 0.0:
        raise GeometryError("a set-up takes readings at two heights at least")
    line = line_of(z, r)
    return Slope(line.slope, line.spread, float(line.left @ line.left), z.size - 2)


def lean(away: Sequence[Slope], toward: Sequence[Slope]) -> Lean:
    """away, toward: by where the stock points from the face; as many of each."""
    if not away or len(away) != len(toward):
        raise GeometryError("the square takes as many set-ups reversed as not")
    all_of_them = [*away, *toward]
    freedom = sum(one.degrees_of_freedom for one in all_of_them)
    scatter = (sum(one.squares for one in all_of_them) / freedom) ** 0.5
    inverse = sum(1.0 / one.spread for one in all_of_them)
    first = float(np.mean([one.slope for one in away]))
    second = float(np.mean([one.slope for one in toward]))
    return Lean(
        (first + second) / 2.0,
        scatter * inverse**0.5 / len(all_of_them),
        freedom,
        scatter,
        (first - second) / 2.0 if len(away) == 1 else None,
    )

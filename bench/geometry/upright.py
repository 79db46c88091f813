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

from bench.geometry.columns import Column, Line, line_of, paired


@dataclass(frozen=True)
class Lean:
    """value: rad. square: the square's e, rad.

    standard_uncertainty: of value, from the readings' own scatter about their lines,
    pooled over them; scatter: of one reading, mm.
    """

    value: float
    standard_uncertainty: float
    degrees_of_freedom: int
    scatter: float
    square: float


def slope(height: Column, reading: Column) -> Line:
    """Least-squares line of one set-up; height, reading: (n,) mm, n >= 3. Raises
    GeometryError where all heights are one."""
    return line_of(*paired(height, reading, at_least=3))


def lean(away: Sequence[Line], toward: Sequence[Line]) -> Lean:
    """away, toward: by where the stock points from the face; as many of each."""
    lines = [*away, *toward]
    freedom = sum(line.left.size - 2 for line in lines)
    scatter = (sum(float(line.left @ line.left) for line in lines) / freedom) ** 0.5
    inverse = sum(1.0 / line.spread for line in lines)
    first, second = (np.mean([line.slope for line in some]) for some in (away, toward))
    return Lean(
        float(first + second) / 2.0,
        scatter * inverse**0.5 / len(lines),
        freedom,
        scatter,
        float(first - second) / 2.0,
    )

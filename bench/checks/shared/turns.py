"""Placements named by how far the blade is turned by hand: turn-0, turn-90, turn-137.5.
Pure."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from itertools import pairwise

from bench.gear import Saw

# mm of a plate without a saw's limit; common practice, no source
USUAL_SWING = 0.05
_DEGREES = re.compile(r"-?[0-9]{1,4}(\.[0-9]+)?")


def turn_of(placement: str) -> float | None:
    """Degrees of a placement `turn-DEG`; None when it is not one."""
    head, dash, tail = placement.partition("-")
    if head != "turn" or not dash:
        return None
    # not all that Python takes for a number: 1_0, 1e2 and other alphabets' digits are
    # slips of the pen
    return float(tail) if _DEGREES.fullmatch(tail) else None


def swing_of(saw: Saw | None) -> float:
    """mm that the plate may swing by in a turn."""
    return USUAL_SWING if saw is None else saw.wobble


def even_turns(count: int) -> list[str]:
    return [f"turn-{360 * i / count:g}" for i in range(count)]


def are_even(degrees: Sequence[float]) -> bool:
    """Evenly spread over the whole turn, within a degree."""
    marks = sorted(d % 360 for d in degrees)
    gap = 360 / len(marks)
    around = pairwise([*marks, marks[0] + 360])
    return len(marks) > 1 and all(abs(b - a - gap) < 1 for a, b in around)


def widest_gap(turns: list[float]) -> float:
    """The widest part of the turn without a mark, rad; turns in rad, any of them more
    than once."""
    marks = sorted({round(t % math.tau, 6) for t in turns})
    return max(b - a for a, b in pairwise([*marks, marks[0] + math.tau]))

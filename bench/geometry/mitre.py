"""Two mitre fences and one 45-degree square: the angle between the fences, and each of
them, without trusting a corner of the square.

Seen from above. One leg of the square bears on a fence, its long edge lies along the
travel. Its corners are 45 deg + e_a, 45 deg + e_b and 90 deg + e_90, and their errors
sum to zero. A fence whose line runs from near left to far right turns the long edge by
b = a + e of the corner between leg and long edge, the other one by b = a - e, and the
angle between the faces is 90 deg + G, where G is the second fence's rotation less the
first one's. With both corners used on both fences G = mean(b_second) - mean(b_first) -
e_90. The right angle is had from two set-ups against one straight batten across the
sled, b = batten - e_90 and b = batten + e_90. Source: the sum of a triangle's angles;
reversal and closure as in Evans, Hocken, Estler (1996), CIRP Annals 45(2), 617-634.
Rotations in rad, counter-clockwise positive. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

Point = Literal["away", "toward"]  # where the two fences meet, from the operator

RIGHT_ANGLE = ("right-angle-left", "right-angle-right")
KNOWN = "right angle"  # an observation of e_90 from elsewhere
_UNKNOWN = ("left", "right", "a", "b", "batten")


def slant(fence: str, point: Point) -> int:
    """1 where the fence's line runs from near left to far right, -1 for the other."""
    return 1 if (fence == "left") == (point == "away") else -1


def combination(
    name: str, seen: Sequence[str], point: Point
) -> dict[str, float] | None:
    """The weights with which the rotations of the set-ups enter a quantity by least
    squares, by name in `seen`; None where they do not determine it.

    name: between, left or right (of the fences). seen: left-fence-corner-a and the
    like, right-angle-left and right-angle-right, or "right angle" for e_90 itself. The
    weights sum products in rad.
    """
    import numpy as np

    design = np.array([_row(one, point) for one in seen])
    wanted = np.array(_wanted(name, point))
    weights = wanted @ np.linalg.pinv(design)
    if not np.allclose(weights @ design, wanted, atol=1e-9):
        return None
    return dict(zip(seen, map(float, weights), strict=True))


def _wanted(name: str, point: Point) -> list[float]:
    if name == "between":
        return [-slant("left", point), -slant("right", point), 0.0, 0.0, 0.0]
    return [float(u == name) for u in _UNKNOWN]


def _row(placement: str, point: Point) -> list[float]:
    if placement == KNOWN:
        return [0.0, 0.0, -1.0, -1.0, 0.0]  # e_90 = -(e_a + e_b)
    if placement in RIGHT_ANGLE:
        sign = 1.0 if placement == RIGHT_ANGLE[0] else -1.0
        return [0.0, 0.0, sign, sign, 1.0]
    fence, corner = placement.partition("-")[0], placement[-1]
    turned = slant(fence, point)
    return [
        float(fence == "left"),
        float(fence == "right"),
        turned * float(corner == "a"),
        turned * float(corner == "b"),
        0.0,
    ]

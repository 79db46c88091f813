"""The edge of a square's arm that a plunger rides on, seen from above; mm, rad."""

from __future__ import annotations

import math

from .edge_profile import EdgeProfile
from .plane import Surface, Vector

ARM_WIDTH = 30.0  # mm


def ridden_edge(
    corner: Vector,
    turned: float,
    arm: float,
    error: float,
    gap: float,
    form: EdgeProfile,
    other: float | None,
    *,
    across: float,
    upward: float,
) -> Surface:
    """corner: of handle and arm, on the fence. turned: of the square as it is seated;
    gap: that it stands off.

    In its own frame the square lies with the handle to the left: the handle's face runs
    from the corner towards -X, the ridden edge from the corner upwards, the body
    between them. Turned over about the arm's long axis it is the mirror image in X
    (across -1); against a far fence it is that in Y (upward -1). other: the angle that
    the arm's other edge, where that is the one ridden on, makes with it.
    """
    # 90 deg + e from the handle's face, through the body
    upright = math.pi / 2.0 - error
    along = Vector(math.cos(upright), math.sin(upright))
    outward = Vector(math.sin(upright), -math.cos(upright))
    base = Vector(0.0, gap)
    if other is not None:
        base += Vector(-ARM_WIDTH, 0.0)
        along, outward = along.turned(other), outward.turned(other)
        outward = -outward

    def laid(v: Vector) -> Vector:
        return Vector(v.x * across, v.y * upward).turned(turned)

    return Surface(corner + laid(base), laid(along), laid(outward), form, 0.0, arm)

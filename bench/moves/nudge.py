"""The move made live: what the indicator must see, and how much is still to go while
the screw bites.

The indicator stands on the jig, near the fence's free end or on the arm of the square.
Away from the operator and right are positive; r grows as the plunger is pushed in.
Pure; mm and rad.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from bench.gear import Jig


class LiveMoveError(ValueError):
    """The move cannot be made live; the message says why."""


class Tip(msgspec.Struct, frozen=True):
    """The place of the indicator's tip. distance: mm from the pivot along the fence, or
    along the arm."""

    arm: bool
    distance: float
    jig: Jig

    def target(self, rotation: float) -> float:
        """mm that the surface at the tip must go: +Y on the fence, +X on the arm.

        The arm goes by dX = a v at v mm beyond the pivot's line: it does not see the
        pivot's slop along the travel; slop along the fence shows in full. The fence
        goes by dy_n = -a (x_n - x_p); the pivot right of the tip makes that negative.
        """
        if self.arm:  # from a far fence the arm points toward you
            return rotation * self.distance * (1 if self.jig.fence == "near" else -1)
        return rotation * self.distance * (1 if self.jig.pivot == "right" else -1)


def tip_at(
    touches: Literal["fence", "arm"],
    stands: Literal["beyond", "behind", "left", "right"],
    distance: float | None,
    jig: Jig,
) -> Tip:
    """Raises NoLive where the indicator cannot stand so."""
    if jig.lever is None:
        raise LiveMoveError(
            f"the distance from pivot to screw of {jig.name} is not known"
        )
    arm = touches == "arm"
    if arm and distance is None:
        raise LiveMoveError(
            "on the arm: give how far from the pivot's line the tip stands"
        )
    if arm != (stands in ("left", "right")):
        raise LiveMoveError("beyond or behind the fence, left or right of the arm")
    if distance is None:
        distance = abs(jig.lever)
    if distance == 0:
        raise LiveMoveError(
            "at the pivot nothing moves: stand the indicator near the free end"
        )
    return Tip(arm, distance, jig)


class Nudge(msgspec.Struct, frozen=True):
    """One live move. target: mm the surface must go (+Y on the fence, +X on the arm).
    start: reading then.

    stands: where the indicator is from the surface it touches: "beyond" (looking back
    toward the operator), "behind", "right" or "left" of it. aim_past: mm by which
    tightening drew the fence back last time, signed like the target's axis; it is aimed
    off.
    """

    target: float
    start: float
    stands: Literal["beyond", "behind", "right", "left"] = "beyond"
    aim_past: float = 0.0

    def moved(self, reading: float) -> float:
        """mm the surface has gone since the start, signed like the target."""
        rise = reading - self.start
        return rise if self.stands in ("beyond", "right") else -rise

    def to_go(self, reading: float) -> float:
        """mm still to go before tightening, signed: 0 is there, a change of sign is
        past it."""
        return self.target + self.aim_past - self.moved(reading)

    def short_of(self, reading: float) -> float:
        """mm short of the target itself, after the last screw."""
        return self.target - self.moved(reading)


def drawn_by_tightening(before: float, after: float, nudge: Nudge) -> float:
    """mm that the screw drew the fence while it bit, signed like the target's axis."""
    return nudge.moved(after) - nudge.moved(before)

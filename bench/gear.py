"""The user's gear, as pure types: indicator, travel, caliper, saw, jig, square, leaves.

Lengths in mm, angles in rad, slopes in rad. The defaults are those of an absent
settings file. Positions along the fence are from the blade, right positive; the user
never types a signed one, so the signs are made here, once.
"""

from __future__ import annotations

from typing import Literal

import msgspec

LONGEST_NAME = 80  # characters of a name, or of any text that a client sends
# leaves of a set, marks along the travel: common practice has up to some 30
MOST_LENGTHS = 200
LeftRight = Literal["left", "right"]
OTHER_SIDE: dict[LeftRight, LeftRight] = {"left": "right", "right": "left"}
MitrePoint = Literal["point-away", "point-toward"]  # from whoever pushes the sled


class Indicator(msgspec.Struct, frozen=True):
    resolution: float | None = None  # mm; None: seen from the readings themselves
    max_error: float | None = None  # mm over the whole range
    # mm over a tenth; None: one count + 1 % of the span
    short_span_error: float | None = None
    grows: Literal["pushed-in", "pulled-out"] = "pushed-in"
    tilt: float = 0.03490658503988659  # rad, 2 deg: half-width of the plunger's lean
    age: float | None = None  # s, how old a reading is when it arrives; None: unknown


class Travel(msgspec.Struct, frozen=True):
    scale_error: float = 0.001  # relative half-width
    grows: Literal["away", "toward"] = "away"
    # mm
    marks: tuple[float, ...] = (
        25.0,
        50.0,
        75.0,
        100.0,
        125.0,
        150.0,
        175.0,
        200.0,
        225.0,
    )
    by_marks: bool = True  # no travel instrument: the sled is stopped at the marks


class Caliper(msgspec.Struct, frozen=True):
    resolution: float = 0.01
    max_error: float = 0.02


class Saw(msgspec.Struct, frozen=True):
    name: str
    rip_fence: LeftRight = "right"  # of the blade
    parallel: float = 0.05 / 150  # rad, slot to blade
    toe: float = 0.08 / 500  # rad, how far the rip fence may open at the rear
    wobble: float = 0.05  # mm
    # mm either way that the arbor floats along its axis; None: not said
    end_float: float | None = None


class Jig(msgspec.Struct, frozen=True):
    """A sliding fixture with a pivot screw and an adjusting screw."""

    name: str
    saw: str | None = None
    fence: Literal["near", "far"] = "near"
    pivot: LeftRight = "right"  # the end that stays, as you stand pushing
    pivot_to_blade: float | None = None
    pivot_to_screw: float | None = None
    pivot_to_stop: float | None = None  # where leaves and stop touch; None: the screw
    screw_pitch: float | None = None
    widest_board: float | None = None
    tolerance: float = 0.05 / 300  # rad
    # of a sled with two fences at 45 degrees: where they meet, and which end of each
    # stays; None: one fence across the travel
    mitre: MitrePoint | None = None
    mitre_pivot: Literal["point", "outer"] = "point"
    # the wall of the slots against which it is held in every cut; None: not said
    hold: LeftRight | None = None
    runner_length: float | None = None  # mm; None: not said

    @property
    def moving_end(self) -> LeftRight:
        return OTHER_SIDE[self.pivot]

    @property
    def lever(self) -> float | None:
        """x_a - x_p in mm: from the pivot to where the move is made; negative with the
        pivot right."""
        reach = (
            self.pivot_to_stop
            if self.pivot_to_stop is not None
            else self.pivot_to_screw
        )
        if reach is None:
            return None
        return -reach if self.pivot == "right" else reach

    def mitre_fence(self, which: LeftRight) -> Jig:
        """One fence of a mitre sled as a sled of its own: by the end that moves, it
        turns as a fence across the travel does. Both are as long from the pivot."""
        stays = which if self.mitre_pivot == "outer" else OTHER_SIDE[which]
        return msgspec.structs.replace(self, pivot=stays)


class Square(msgspec.Struct, frozen=True):
    name: str
    arm: float | None = None  # mm
    tolerance: float | None = None  # mm over the arm
    long_edge: float | None = None  # mm, of a 45-degree square


class Gear(msgspec.Struct, frozen=True):
    indicator: Indicator = Indicator()
    travel: Travel = Travel()
    caliper: Caliper = Caliper()
    saws: dict[str, Saw] = {}
    jigs: dict[str, Jig] = {}
    squares: dict[str, Square] = {}
    leaves: tuple[float, ...] = ()  # mm

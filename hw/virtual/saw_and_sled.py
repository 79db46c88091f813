"""A table saw, its sled and its square as bodies in the plane, drawn from a seed.

Frame: seen from above, +X right, +Y away from the operator, rotations in rad counter-
clockwise; lengths in mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from random import Random
from typing import Literal, Self

from .bodies import Bodies
from .edge_profile import EdgeProfile
from .mitre import MitreFences
from .motion import Pose
from .plane import BodyFrame, Surface, Vector
from .traits import Traits
from .upright import UPRIGHT_FENCE_PLACEMENTS, UprightSquare, distance_to_face

LeftRight = Literal["left", "right"]
NearFar = Literal["near", "far"]
SAW_NAME = "pretend-saw"  # its name in the settings
LEAF_SET = (0.04, 0.05, 0.06, 0.08, 0.10, 0.15, 0.20, 0.25, 0.30)  # mm
ARM = 300.0  # mm of the square's arm
PUSH = 220.0  # mm that the sled is pushed; more than the arm is ridden
# mm from the arm's tip (or from the handle) to the plunger at the start of a push
TIP_CLEAR = 15.0
RUNNERS_MIDDLE = Vector(0.0, 200.0)  # of the runners, in the sled


@dataclass
class SawAndSled:
    """fence_angle, slot_angle, blade_angle, rip_fence_angle: in the plane's own frame,
    rad. fence_lean, blade_lean: rad, of the face's top toward the operator, of the
    blade's to the left. square_error: e; 90 deg + e lies between handle and ridden
    edge, through the square's body. acts, noise: the chance in what hands do, and in
    instruments.
    """

    traits: Traits
    fence: NearFar
    pivot: LeftRight
    pivot_to_blade: float
    pivot_to_screw: float
    pivot_to_stop: float
    arm: float
    slot_angle: float
    fence_angle: float
    square_error: float
    blade_angle: float
    rip_fence_angle: float
    rip_fence_side: LeftRight
    edge: EdgeProfile
    other_edge: EdgeProfile
    other_edge_angle: float
    rip_fence_form: EdgeProfile
    bodies: Bodies
    mitre: MitreFences
    fence_lean: float
    blade_lean: float
    acts: Random
    noise: Random

    @classmethod
    def draw(
        cls,
        seed: int,
        traits: Traits | None = None,
        *,
        fence: NearFar = "near",
        rip_fence_side: LeftRight = "right",
        rotation: float | None = None,
        square_error: float | None = None,
    ) -> Self:
        """The saw of that seed; rotation and square_error, where given, take the place
        of those drawn."""
        traits = traits or Traits()
        random, lean = Random(f"saw {seed}"), Random(f"plumb {seed}")
        slot = random.uniform(-traits.slot, traits.slot)
        turned = random.uniform(-traits.rotation, traits.rotation)
        error = random.gauss(0.0, traits.square)
        ridden = (60.0, ARM - TIP_CLEAR) if fence == "near" else (30.0, 255.0)

        def edge() -> EdgeProfile:
            bow = random.gauss(0.0, traits.bow)
            return EdgeProfile.draw(random, ARM, traits.texture, bow, ridden)

        stop = random.uniform(470.0, 490.0)
        saw = cls(
            traits=traits,
            fence=fence,
            pivot=random.choice(("left", "right")),
            pivot_to_blade=round(random.uniform(240.0, 260.0)),
            pivot_to_screw=round(stop + 20.0),
            pivot_to_stop=round(stop),
            arm=ARM,
            slot_angle=slot,
            fence_angle=slot + (turned if rotation is None else rotation),
            square_error=error if square_error is None else square_error,
            blade_angle=slot + random.gauss(0.0, traits.blade),
            rip_fence_angle=slot + random.gauss(0.0, traits.rip_fence),
            rip_fence_side=rip_fence_side,
            edge=edge(),
            other_edge=edge(),
            other_edge_angle=random.gauss(0.0, 30e-6),
            rip_fence_form=EdgeProfile.draw(
                random, 900.0, traits.texture, 0.0, (450.0, 450.0 + PUSH)
            ),
            bodies=Bodies.draw(seed, traits),
            mitre=MitreFences.draw(seed, traits),
            fence_lean=lean.gauss(0.0, traits.fence_lean),
            blade_lean=lean.gauss(0.0, traits.blade_lean),
            acts=Random(f"acts {seed}"),
            noise=Random(f"noise {seed}"),
        )
        if traits.dent:  # near where a push ends
            end = ridden[0] + 15.0 if fence == "near" else ridden[1] - 15.0
            saw.edge = saw.edge.raised(end, 12.0, -traits.dent)
        return saw

    def truth(self) -> dict[str, float]:
        """What the instrument ought to find, as things stand now; rad and mm.

        rotation: of the fence, against the edge that the blade would cut;
        reference_error: the square's e; blade, rip_fence: against the slots.
        """
        return {
            "rotation": self.fence_angle - self.slot_angle - self._turned_at_teeth(),
            "reference_error": self.square_error,
            "blade": self.blade_angle - self.slot_angle,
            "rip_fence": self.rip_fence_angle - self.slot_angle,
            "yaw_play": self.traits.yaw_play,
            "side_play": self.traits.side_play,
            **self.mitre.truth(),
        }

    @property
    def teeth(self) -> float:
        """Y in mm, with the sled at the start, of leading teeth and plunger: clear of
        the arm's tip, or of the handle of a square that points toward the operator."""
        clear = self.arm - TIP_CLEAR if self.fence == "near" else -30.0
        return self.pivot_point.y + clear

    def _turned_at_teeth(self) -> float:
        """rad by which the line that the teeth draw through the sled in a whole push
        runs off the slot's own direction at the start: the slot curves."""
        if not self.traits.slot_curve:
            return 0.0
        tooth = Vector(0.0, self.teeth)
        places = []
        for k in range(23):
            frame = self.sled_frame(Pose(PUSH * k / 22))
            back = (tooth - frame.middle - frame.shift).turned(-frame.angle)
            places.append(back.turned(-self.slot_angle))
        mean_x = sum(p.x for p in places) / len(places)
        mean_y = sum(p.y for p in places) / len(places)
        across = sum((p.x - mean_x) * (p.y - mean_y) for p in places)
        return -across / sum((p.y - mean_y) ** 2 for p in places)

    def face(self) -> Surface:
        """The working face of the sled fence, with its form."""
        return self.bodies.face(
            self.pivot_point, self.fence_angle, far=self.fence == "far"
        )

    def gear(self) -> dict[str, object]:
        """This saw, sled and square, and a set of leaves, as tables of the settings
        file without the ports; all invented."""
        sled = {
            "saw": SAW_NAME,
            "fence": self.fence,
            "pivot": self.pivot,
            "pivot_to_blade": f"{self.pivot_to_blade:g} mm",
            "pivot_to_screw": f"{self.pivot_to_screw:g} mm",
            "pivot_to_stop": f"{self.pivot_to_stop:g} mm",
            "widest_board": "600 mm",
            "tolerance": "0.05 mm per 300 mm",
        }
        square = {"arm": f"{self.arm:g} mm", "tolerance": "0.05 mm"}
        return {
            "units": "mm",
            "saw": {SAW_NAME: {"rip_fence": self.rip_fence_side}},
            "jig": {"pretend-sled": sled},
            "square": {"pretend-square": square},
            "leaves": {"set": [f"{leaf:.2f} mm" for leaf in LEAF_SET]},
        }

    @property
    def free_end(self) -> LeftRight:
        return "left" if self.pivot == "right" else "right"

    @property
    def pivot_point(self) -> Vector:
        """The pivot's axis, on the face of the fence, in the sled."""
        x = self.pivot_to_blade if self.pivot == "right" else -self.pivot_to_blade
        return Vector(x, 0.0 if self.fence == "near" else 400.0)

    def hold(
        self,
        lean: LeftRight | None = None,
        twist: LeftRight | None = None,
        *,
        back: bool = False,
    ) -> tuple[float, float]:
        """(x, yaw) at which hands hold the sled within its play this time; back: as it
        is drawn back."""
        x = self.acts.gauss(0.0, self.traits.hold_side)
        yaw = self.acts.gauss(0.0, self.traits.hold_yaw)
        if lean is not None:
            x = x / 2.0 + (self.traits.side_play / 2.0) * (
                1.0 if lean == "right" else -1.0
            )
            yaw /= 2.0
        if back:
            yaw += self.traits.return_yaw
        half = self.traits.yaw_play / 2.0
        if twist is not None:  # the far end of the sled is pressed that way
            return x, half * (-1.0 if twist == "right" else 1.0)
        return x, min(max(yaw, -half), half)

    def chance(self, sd: float) -> float:
        """Of a hand, this time; nothing is drawn where it has none."""
        return self.acts.gauss(0.0, sd) if sd else 0.0

    def turn_fence(self, end: str, way: str, distance: float) -> None:
        """Turn the fence about its pivot: its free end moves by distance mm and the
        hand's scatter, read at the stop.

        ValueError when `end` is the end that stays or `way` is neither away nor toward.
        """
        if end != self.free_end:
            raise ValueError(
                f"the {end} end is the pivot of this sled; the {self.free_end} end"
                " moves"
            )
        if way not in ("away", "toward"):
            raise ValueError(f"the way is away or toward, not {way!r}")
        went = distance + self.chance(self.traits.hand)
        self.shift_free_end(went if way == "away" else -went)

    def shift_free_end(self, dy: float) -> None:
        """Move the fence's face exactly dy mm (positive: away), read at the stop."""
        sine = dy / self.pivot_to_stop
        face = Vector(1.0 if self.free_end == "right" else -1.0, 0.0).turned(
            self.fence_angle
        )
        back = Vector(0.0, 1.0).turned(self.fence_angle)
        # the free end goes round an arc about the pivot; dy is its height over the old
        # face
        after = face + face * (math.sqrt(1.0 - sine * sine) - 1.0) + back * sine
        self.fence_angle += math.atan2(
            face.x * after.y - face.y * after.x, face.dot(after)
        )

    def sled_frame(self, pose: Pose) -> BodyFrame:
        curve = self.traits.slot_curve
        along = Vector(0.0, pose.s)
        if curve:  # round the centre of the arc, which lies to the left
            turned = curve * pose.s
            along = Vector(math.cos(turned) - 1.0, math.sin(turned)) * (1.0 / curve)
        shift = Vector(pose.x, 0.0) + along.turned(self.slot_angle)
        return BodyFrame(RUNNERS_MIDDLE, shift, pose.yaw + curve * pose.s)

    def distance_beside(
        self, square: UprightSquare, placement: str | None, height: float
    ) -> float | None:
        """mm from a plunger held to the upright edge at a height to fence or blade."""
        start, points = square.plunger(height)
        if placement in UPRIGHT_FENCE_PLACEMENTS:
            # seen from the fence's right end, away from the operator is to the right
            top = Vector(0.0, 1.0).turned(self.fence_lean)
            out = top.x if self.fence == "near" else -top.x
            return distance_to_face(start, points, math.atan2(out, top.y))
        if square.side == "left":
            start, points = Vector(-start.x, start.y), Vector(-points.x, points.y)
        return self.bodies.distance_up_plate(
            start, points, self.blade_angle, self.blade_lean
        )

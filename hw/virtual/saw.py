"""The virtual saw: the set-ups of a measurement, and the depth of its plunger.

No sign is put in by formula: points of a body are turned and moved, and the plunger's
axis is intersected with the result. There is no input, output or clock.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from . import mitre, upright
from .bodies import FOOT, turn_of
from .motion import START, Pose
from .plane import Probe, Surface, Vector, reach
from .saw_and_sled import PUSH, RUNNERS_MIDDLE, LeftRight, SawAndSled
from .square import ridden_edge
from .straightedge_carriage import FACE_RUN, StraightedgeCarriage
from .upright import UprightSquare

_ALONG = ("as-is", "pressed", "rolled-over")  # a straightedge
_PASSES = ("handle-left", "handle-right", "-", "free-end", *_ALONG)
_LEANS = ("leaned-left", "leaned-right", "twisted-left", "twisted-right")
_OTHERS = (*mitre.MITRE_PLACEMENTS, *upright.UPRIGHT_PLACEMENTS)
KNOWN_PLACEMENTS = (*_PASSES, "front", "rear", *_LEANS, *_OTHERS)
PLATE_PUSH = 160.0  # mm past the arbor, as far before it as behind it
SLIPS = ("not-turned", "wrong-side", "near-tip")
PLUNGER_RANGE = 12.7  # mm
BLADE_RADIUS = 90.0  # mm, of the flat that can be touched below the gullets
TWIST_AT = 260.0  # mm along Y from the runners' middle
_NOWHERE = Surface(Vector(0.0, 0.0), Vector(0.0, 1.0), Vector(1.0, 0.0))


@dataclass
class VirtualSaw(SawAndSled):
    """A saw, and what a measurement sets up on it. Make one with `draw`."""

    placement: str | None = None
    lifted: bool = True
    handle: LeftRight = "left"
    side: LeftRight = "right"  # of what it touches, on which the indicator stands
    seat_angle: float = 0.0
    seat_gap: float = 0.0
    stance: float = 0.0  # rad, of the square all through this set-up
    _probe: Probe | None = None
    _along: StraightedgeCarriage | None = None
    _upright: UprightSquare | None = None
    _height: float = 0.0  # mm, of the plunger beside an upright square
    _preload: float = 2.5  # mm of depth at the distance _home
    _home: float = 0.0  # mm from the plunger's origin to what it touched when set up
    _rests: float = 0.0  # mm along X at which the carriage came to rest this time
    _slip: str | None = None
    _mount: str | None = None
    # the surface that is touched, and whether it rides on the sled; for this set-up
    _surface_key: tuple[object, ...] | None = None
    _touched: tuple[Surface, bool] = (_NOWHERE, False)

    @property
    def run(self) -> float:
        """mm of one push: of the sled, or of the indicator along the sled fence."""
        if self._along is not None:
            return FACE_RUN
        if self.placement in mitre.RIGHT_ANGLE_PLACEMENTS:
            return mitre.LEG_RUN
        return PUSH if turn_of(self.placement or "") is None else PLATE_PUSH

    @property
    def travel_begins(self) -> float:
        """What the travel scale shows at the start, mm; along the sled fence it shows
        the place from the blade."""
        return 0.0 if self._along is None else -FACE_RUN / 2.0

    # -- what hands do -----------------------------------------------------------------

    def slip(self, kind: str) -> None:
        """Let the next `place` go wrong: "not-turned" (square and stand stay),
        "wrong-side" (stand across the arm), "near-tip" (a pass from beyond the tip)."""
        if kind not in SLIPS:
            raise ValueError(
                f"no slip is called {kind!r}; there are {', '.join(SLIPS)}"
            )
        self._slip = kind

    def lift(self) -> None:
        """Take away what the plunger touches."""
        self.lifted = True

    def lower(self) -> None:
        self.lifted = False

    def place(
        self,
        placement: str,
        pose: Pose = START,
        *,
        mount: str | None = None,
        at: float | None = None,
        side: str | None = None,
    ) -> None:
        """Set up the square (or the carried indicator) and the plunger, preloaded 2 to
        3 mm at this pose.

        placement: handle-left, handle-right; "-": the rip fence; front, rear: one spot
        of the blade body, the indicator as it was set at the first; free-end: on the
        jig, looking back at the fence's face near its free end; leaned-left,
        leaned-right: on the right of the sled's side at the runners' middle;
        twisted-left, twisted-right: `at` mm beyond it (TWIST_AT unless said); as-is,
        rolled-over: riding along a straightedge, its tip on the sled fence; pressed: a
        whole hand on it; turn-90 and the like: on the plate, turned by hand to that
        mark, standing or carried along the slot (mount); those of `mitre` and
        `upright`, the latter `at` mm above the table, beside the blade on that side.
        """
        slip, self._slip = self._slip, None
        turn = turn_of(placement)
        if placement not in KNOWN_PLACEMENTS and turn is None:
            known = ", ".join(KNOWN_PLACEMENTS)
            raise ValueError(f"no set-up is called {placement!r}; there are {known}")
        stays = self._stand_stays(placement, mount, slip)
        if turn is not None:
            self.bodies.turn_plate(turn)
        if placement in ("front", "rear"):
            self._rests = self.chance(self.traits.carriage_float)
        if not stays:
            self._mount = mount
            self._set_up(placement, slip, at, side)
        if slip != "not-turned" or not stays:
            self.placement = placement
        self.seat()
        self.lifted = False
        if not stays:
            self._preload = self.acts.uniform(2.0, 3.0)
            self._home = 0.0
            distance = self._distance(pose)
            if distance is None:  # beyond the tip: the stand was set at the arm's end
                distance = self._distance(pose._replace(s=pose.s + 40.0))
            self._home = distance or 0.0

    def _stand_stays(self, placement: str, mount: str | None, slip: str | None) -> bool:
        """Whether the next set-up leaves the indicator where it stands."""
        before = self.placement or ""
        if placement in ("front", "rear"):
            stays = {placement, before} == {"front", "rear"}
        elif turn_of(placement) is not None:
            stays = turn_of(before) is not None and mount == self._mount
        else:
            leans = placement.partition("-")[0] in ("leaned", "twisted")
            stays = leans and before.startswith(placement[:6])
        return stays or (slip == "not-turned" and self._probe is not None)

    def slide(self, height: float) -> None:
        """Slide a plunger along the upright edge to another height, mm."""
        self._height = height

    def seat(self) -> None:
        """Lift the square, wipe, press it home: it comes to rest a little differently
        each time. The plate has nothing to seat; the face of the fence is wiped."""
        if turn_of(self.placement or "") is not None:
            return
        if self._along is not None:
            self.bodies.wipe(self.traits.dust / self.arm)
            return
        self.seat_angle = self.acts.gauss(0.0, self.traits.seat)
        self.seat_gap = abs(self.acts.gauss(0.0, self.traits.seat)) * 100.0
        forms = (self.edge, self.other_edge, self.rip_fence_form)
        if self.placement in mitre.MITRE_PLACEMENTS:
            forms = (self.mitre.long_edge, self.mitre.leg, self.edge)
        for form in forms:
            form.wipe(self.acts, self.traits.dust * form.length / self.arm)

    def bump(self, step: float) -> None:
        """The stand is knocked: everything reads `step` mm more from now on."""
        self._preload += step

    # -- what the plunger feels --------------------------------------------------------

    def depth(self, pose: Pose) -> float:
        """mm that the plunger is pushed in, the sled at that pose; 0 in the air."""
        if self.lifted or (self._probe is None and self._upright is None):
            return 0.0
        distance = self._distance(pose)
        if distance is None:
            return 0.0
        depth = self._preload - (distance - self._home) * (1.0 + self.traits.gain)
        return min(max(depth, 0.0), PLUNGER_RANGE)

    def _distance(self, pose: Pose) -> float | None:
        if self._upright is not None:
            return self.distance_beside(self._upright, self.placement, self._height)
        if self._probe is None:
            return None
        if self._along is not None:
            return self._along.distance(pose.s + self.travel_begins, pose.x)
        frame = self.sled_frame(pose)
        probe = self._probe.carried_by(frame) if self._probe.rides else self._probe
        if self.placement in ("front", "rear"):
            probe = replace(probe, origin=probe.origin + Vector(self._rests, 0.0))
        if turn_of(self.placement or "") is not None:
            return self.bodies.distance_to_plate(
                probe.origin, probe.points, self.blade_angle
            )
        angles = (self.fence_angle, self.seat_angle, self.stance)
        key = (*angles, self.seat_gap, self.placement, self.side)
        # worked out anew only after a move, a seat or another set-up
        if key != self._surface_key:
            self._surface_key, self._touched = key, self._surface()
        surface, rides = self._touched
        met = reach(probe, surface.carried_by(frame) if rides else surface)
        if met is None:
            return None
        # above the middle of the roll the arm moves to the right as the sled rolls
        rolled = self.traits.off_plane * self.traits.roll * pose.s / PUSH
        return met[0] + (probe.points.x * rolled if rides else 0.0)

    def _set_up(
        self, placement: str, slip: str | None, at: float | None, side: str | None
    ) -> None:
        self._along = self._upright = None
        if placement in upright.UPRIGHT_PLACEMENTS:
            self._hold_to_upright(placement, at or 0.0, side)
        elif placement in ("handle-left", "handle-right"):
            self._stand_beside_arm(placement, slip)
        elif placement in mitre.MITRE_PLACEMENTS:
            foot = Vector(0.0, self.mitre.begins(placement))
            self._stand(mitre.side_of(placement), foot)
        elif placement == "-":
            self._stand(
                "left" if self.rip_fence_side == "right" else "right",
                Vector(0.0, 0.0),
                rides=True,
            )
        elif placement in ("front", "rear"):
            self._stand("right", Vector(0.0, -BLADE_RADIUS), rides=True)
        elif placement.startswith(("leaned", "twisted")):
            far = TWIST_AT if at is None else at
            off = 0.0
            if placement.startswith("twisted"):  # the place is never quite met
                off = far + self.chance(self.traits.spot_off)
            self._stand("right", RUNNERS_MIDDLE + Vector(300.0, off))
        elif placement in _ALONG:
            self._along = self.bodies.lay_straightedge(self.face(), placement)
            self._probe = self._along.probe(self.travel_begins)
        elif turn_of(placement) is not None:
            carried = self._mount == "carried"
            y = -PLATE_PUSH / 2.0 if carried else FOOT[0]
            self._stand("right", Vector(0.0, y), rides=carried)
        else:
            self._look_back_at_fence()

    def _stand(self, side: LeftRight, foot: Vector, *, rides: bool = False) -> None:
        """Stand the indicator on that side of what it touches, its plunger pointing
        across the travel. rides: on the sled."""
        self.side = side
        away = 500.0 if side == "right" else -500.0
        self._probe = Probe(
            Vector(foot.x + away, foot.y),
            Vector(-1.0 if side == "right" else 1.0, 0.0),
            rides,
        )

    def _stand_beside_arm(self, placement: str, slip: str | None) -> None:
        self.handle = "left" if placement == "handle-left" else "right"
        right = (self.handle == "left") != (slip == "wrong-side")
        y = self.teeth
        if slip == "near-tip":
            y += 27.0 if self.fence == "near" else 180.0 - self.arm
        self.stance = self.chance(self.traits.stance)
        if placement == "handle-right":
            y += self.chance(self.traits.stand_shift)
        self._stand("right" if right else "left", Vector(0.0, y))

    def _hold_to_upright(self, placement: str, height: float, side: str | None) -> None:
        self.side, self._height = "left" if side == "left" else "right", height
        self._probe = None
        seat = self.acts.gauss(0.0, self.traits.seat)
        self._upright = UprightSquare(
            self.square_error, seat, "away" in placement, self.side
        )
        if placement in upright.BLADE_TURNS:
            self.bodies.turn_plate(upright.BLADE_TURNS[placement])

    def _look_back_at_fence(self) -> None:
        """The plunger points at the face of the fence, near its free end."""
        beyond = 1.0 if self.fence == "near" else -1.0
        stop = self.pivot_to_stop if self.free_end == "right" else -self.pivot_to_stop
        self._probe = Probe(
            self.pivot_point + Vector(stop, 50.0 * beyond),
            Vector(0.0, -beyond),
            rides=True,
        )

    def _surface(self) -> tuple[Surface, bool]:
        """What the plunger touches, and whether it is part of the sled."""
        if self.placement in ("handle-left", "handle-right"):
            return self._arm(), True
        if self.placement in mitre.MITRE_PLACEMENTS:
            edge = self.mitre.edge(
                self.placement, self.slot_angle, self.seat_angle, self.seat_gap
            )
            return edge, True
        if self.placement == "-":
            inward = -1.0 if self.rip_fence_side == "right" else 1.0
            base = Vector(-120.0 * inward, -450.0)
            along = Vector(0.0, 1.0).turned(self.rip_fence_angle)
            outward = Vector(inward, 0.0).turned(self.rip_fence_angle)
            return Surface(base, along, outward, self.rip_fence_form, 0.0, 900.0), False
        if self.placement in ("front", "rear"):
            along = Vector(0.0, 1.0).turned(self.blade_angle)
            outward = Vector(1.0, 0.0).turned(self.blade_angle)
            rim = BLADE_RADIUS + 10.0
            return Surface(Vector(0.0, 0.0), along, outward, None, -rim, rim), False
        if self.placement != "free-end":  # the sled's own side
            return Surface(Vector(300.0, 0.0), Vector(0.0, 1.0), Vector(1.0, 0.0)), True
        face = Vector(1.0, 0.0).turned(self.fence_angle)
        out = Vector(0.0, 1.0 if self.fence == "near" else -1.0).turned(
            self.fence_angle
        )
        return Surface(self.pivot_point, face, out), True

    def _arm(self) -> Surface:
        """The edge of the square's arm under the plunger, in the sled."""
        # slid along by the handle's length when turned over: it rests on the same
        # stretch of the fence
        x = -20.0 if self.handle == "left" else -170.0
        face = Vector(1.0, 0.0).turned(self.fence_angle)
        # the arm's other edge is met
        turned_over = (self.side == "left") == (self.handle == "left")
        return ridden_edge(
            self.pivot_point + face * ((x - self.pivot_point.x) / face.x),
            self.fence_angle + self.seat_angle + self.stance,
            self.arm,
            self.square_error,
            self.seat_gap,
            self.other_edge if turned_over else self.edge,
            self.other_edge_angle if turned_over else None,
            across=1.0 if self.handle == "left" else -1.0,
            upward=1.0 if self.fence == "near" else -1.0,
        )

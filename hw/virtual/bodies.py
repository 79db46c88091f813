"""The saw's plate, the sled fence's form, slots and runners, and a test board.

Each body is drawn from a random stream of its own, so that a seed's saw, sled and
square do not depend on it; mm and rad.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cached_property
from random import Random

from .board import TRIM_WIDTH, Board, Cut
from .edge_profile import EdgeProfile
from .plane import Surface, Vector
from .plate import FULL_TURN, Plate, Space
from .slots import SlotsAndRunners
from .straightedge_carriage import FACE_RUN, HALF, StraightedgeCarriage
from .traits import Traits

HANDLE_SPAN = (
    -170.0,
    -20.0,
)  # of the fence: where the square's handle lies, either way up
RIM = 100.0  # of the plate's body, below the gullets
# where a standing indicator touches the plate: mm away from the operator and up, from
# the arbor
FOOT = (-70.0, 40.0)
FORM_MEAN = 45.0  # mm over which the fence's form is averaged for its straightness
ARBOR_BELOW = 20.0  # mm under the table, with the blade right up
TRUTH_TURNS = 720  # turns of the plate from which its truth is worked out
BOARD_WIDTH = 412.0  # mm across, before it is cut
WHOLE_HAND = 5.0  # times as hard as two fingers, against a straightedge


def turn_of(placement: str) -> float | None:
    """rad of a set-up `turn-DEGREES`; None of any other."""
    head, _, degrees = placement.partition("-")
    try:
        return math.radians(float(degrees)) if head == "turn" else None
    except ValueError:
        return None


@dataclass
class Bodies:
    """plate_turn: rad, as the hand left it. end_float: mm of the arbor along its axis
    now. jaws: what the caliper is laid across, and where, mm; jaw_errors: mm, of its
    outside and inside jaws; feel_error: mm, of this laying. edge_errors: mm by which
    the strip's edge stands off its line, by end."""

    traits: Traits
    seed: int
    plate: Plate
    fence_form: EdgeProfile
    straightedge: EdgeProfile
    jaw_errors: tuple[float, float]
    acts: Random
    plate_turn: float = 0.0
    end_float: float = 0.0
    jaws: tuple[str, float] | None = None
    feel_error: float = 0.0
    board: Board | None = field(default=None)
    edge_errors: dict[str, float] = field(default_factory=dict)

    @classmethod
    def draw(cls, seed: int, traits: Traits) -> Bodies:
        random = Random(f"bodies {seed}")
        long = (0.0, 2.0 * HALF)

        def edge(bow: float) -> EdgeProfile:
            crown = random.gauss(0.0, bow)
            return EdgeProfile.draw(random, long[1], traits.texture, crown, long)

        face = edge(traits.fence_bow)
        # the angle of the fence is that of the line that the square's handle rests on
        low, high = (place + HALF for place in HANDLE_SPAN)
        middle = (low + high) / 2.0
        slope, height = face.rest(low, high, middle)
        return cls(
            traits,
            seed,
            Plate.draw(random, traits.plate_tilt, traits.plate_warp, RIM),
            face.levelled(slope, height, middle),
            edge(traits.straightedge_bow),
            (random.gauss(0.0, traits.jaws), random.gauss(0.0, traits.jaws)),
            Random(f"body acts {seed}"),
        )

    @cached_property
    def slideways(self) -> SlotsAndRunners:
        traits = self.traits
        random = Random(f"ways {self.seed}")
        return SlotsAndRunners.draw(
            random, traits.side_play, traits.texture, traits.slot_bow, traits.pinch
        )

    # -- the plate ---------------------------------------------------------------------

    def turn_plate(self, turn: float) -> None:
        """By hand, to a mark: never quite to it, and the arbor floats a little along
        its axis."""
        self.plate_turn = turn + self.acts.gauss(0.0, self.traits.to_mark)
        self.end_float = self.acts.gauss(0.0, self.traits.end_float)

    def distance_to_plate(
        self, origin: Vector, points: Vector, stands: float
    ) -> float | None:
        """mm from a plunger at that height to the plate as it stands turned; stands:
        rad, of the blade in the saw."""
        arbor = Vector(self.end_float, 0.0).turned(stands)
        start = Space(origin.x - arbor.x, origin.y - arbor.y, FOOT[1])
        return self.plate.reach(
            start, Space(points.x, points.y, 0.0), self.plate_turn, stands
        )

    def distance_up_plate(
        self, start: Vector, points: Vector, stands: float, lean: float
    ) -> float | None:
        """mm from a plunger in the upright plane through the arbor (x to the right, y
        up from the table) to the plate; lean: rad, of its top to the left."""
        arbor = Vector(self.end_float, -ARBOR_BELOW)
        begins, ray = (start - arbor).turned(-lean), points.turned(-lean)
        return self.plate.reach(
            Space(begins.x, 0.0, begins.y),
            Space(ray.x, 0.0, ray.y),
            self.plate_turn,
            stands,
        )

    def plate_truth(self) -> dict[str, float]:
        """What the plate shows where a standing indicator touches it: total, tilt, warp
        (mm), phase (rad of turn).

        Of the displacement along +X: range; full swing of its first wave round the
        turn, and where that is largest; range of what is left.
        """
        start, ray = Space(500.0, *FOOT), Space(-1.0, 0.0, 0.0)
        turns = [FULL_TURN * k / TRUTH_TURNS for k in range(TRUTH_TURNS)]
        met = [self.plate.reach(start, ray, turn) for turn in turns]
        places = [500.0 - away for away in met if away is not None]
        mean = sum(places) / TRUTH_TURNS
        waves = [
            2.0
            / TRUTH_TURNS
            * sum(x * of(t) for x, t in zip(places, turns, strict=True))
            for of in (math.cos, math.sin)
        ]
        along, across = waves
        left = [
            x - mean - along * math.cos(t) - across * math.sin(t)
            for x, t in zip(places, turns, strict=True)
        ]
        return {
            "total": max(places) - min(places),
            "tilt": 2.0 * math.hypot(along, across),
            "warp": max(left) - min(left),
            "phase": math.atan2(across, along) % FULL_TURN,
        }

    # -- the sled fence's form ---------------------------------------------------------

    def face(self, pivot: Vector, angle: float, *, far: bool) -> Surface:
        """The working face of the fence, its form beginning HALF to the left of the
        blade."""
        along = Vector(1.0, 0.0).turned(angle)
        outward = Vector(0.0, -1.0 if far else 1.0).turned(angle)
        return Surface(
            pivot + along * ((-HALF - pivot.x) / along.x),
            along,
            outward,
            self.fence_form,
            0.0,
            2.0 * HALF,
        )

    def lay_straightedge(self, face: Surface, placement: str) -> StraightedgeCarriage:
        return StraightedgeCarriage(
            face,
            self.straightedge,
            placement == "rolled-over",
            self.acts.gauss(0.0, self.traits.blocks),
            self.traits.edge_gives * (WHOLE_HAND if placement == "pressed" else 1.0),
        )

    def wipe(self, dust: float) -> None:
        """The face is wiped, and the straightedge's edge."""
        for form in (self.fence_form, self.straightedge):
            form.wipe(self.acts, dust * form.length)

    def form_truth(
        self, begins: float = -FACE_RUN / 2.0, ends: float = FACE_RUN / 2.0
    ) -> dict[str, float]:
        """Of a stretch, mm from the blade, by default all that the indicator is pushed
        along.

        straightness: mm, of the narrowest strip that holds its form averaged over
        FORM_MEAN. crown: mm by which the middle stands out of the line through the ends
        (least squares).
        """
        low, high = HALF + begins, HALF + ends
        return {
            "straightness": self.fence_form.zone(low, high, FORM_MEAN),
            "crown": self.fence_form.crown(low, high),
        }

    # -- widths ------------------------------------------------------------------------

    def lay_caliper(self, what: str, at: float) -> None:
        """Across a slot, a runner, their spacings, or the strip ("near", "far"), at a
        place in mm along it."""
        self._width(what, at)  # raises ValueError where there is no such width
        self.jaws = (what, at)
        self.feel_error = self.acts.gauss(0.0, self.traits.felt)

    def between_jaws(self) -> float:
        """mm that the caliper is open, with its errors; closed where it is laid across
        nothing."""
        if self.jaws is None:
            return 0.0
        inside = self.jaws[0] in ("slot-left", "slot-right")
        return self._width(*self.jaws) + self.jaw_errors[inside] + self.feel_error

    def _width(self, what: str, at: float) -> float:
        if what not in ("near", "far"):
            return self.slideways.width(what, at)
        if self.board is None:
            raise ValueError("no board was cut yet")
        return self.board.width(at) + self.edge_errors.get(what, 0.0)

    def runner_truth(self, sides: tuple[int, ...] = (0,)) -> dict[str, float]:
        """side_play in mm, yaw_play in rad, relief in mm, of those runners in their
        slots (0 left, 1 right)."""
        side, yaw = self.slideways.play(sides)
        return {
            "side_play": side,
            "yaw_play": yaw,
            "relief": self.slideways.relief(sides),
        }

    # -- a test board ------------------------------------------------------------------

    def cut_board(
        self,
        face: Surface,
        way: Callable[[], Vector],
        kept: str,
        turns: int,
        *,
        far: bool,
    ) -> None:
        """way: of the blade through the sled, as it is held in one cut."""

        def next_cut() -> Cut:
            seat = self.acts.gauss(0.0, self.traits.seat)
            return Cut(lambda left, right: rest_line(face, left, right, seat), way())

        self.board = Board.rough(BOARD_WIDTH, kept, far=far)
        self.board.cut_edges(next_cut, turns)
        if self.traits.sawn_edge:
            for end in ("near", "far"):
                self.edge_errors[end] = self.acts.gauss(0.0, self.traits.sawn_edge)

    def board_truth(self, face: Surface, slot: float, kept: str = "left") -> float:
        """rad by which the line that a cut board rests on, beside the blade, is turned
        against the cut."""
        across = BOARD_WIDTH - 2 * TRIM_WIDTH
        ends = (-across, 0.0) if kept == "left" else (0.0, across)
        left, right = rest_line(face, *ends)
        return (right - left).angle - slot


def rest_line(
    face: Surface, left: float, right: float, seat: float = 0.0
) -> tuple[Vector, Vector]:
    """Two points, from left to right, of the edge of a board that lies on the face over
    that stretch, pressed home at its middle; seat: rad by which it is not quite home.
    """
    assert face.form is not None
    middle = (left + right) / 2.0
    slope, height = face.form.rest(left + HALF, right + HALF, middle + HALF)
    ends = [
        face.base
        + face.along * (x + HALF)
        + face.outward * (height + slope * (x - middle))
        for x in (left, right)
    ]
    along = (ends[1] - ends[0]).turned(seat)
    return ends[0], ends[0] + along

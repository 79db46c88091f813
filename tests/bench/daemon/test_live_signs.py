"""Which way a live move says, against bodies: a fence with a square's arm on it is turned about its pivot, and the
indicator reads how far its plunger's axis runs before it meets them. No sign of ours enters the picture."""

from __future__ import annotations

import itertools

import msgspec
import pytest
from everyday import everyday
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon

from bench.finding import Finding, Quantity
from bench.gear import Jig
from bench.procedure.live_move import LiveMove
from bench.protocol import LiveMoveNotice, LiveMoveRequest
from bench.render.notices import with_words

LOOK = {"beyond": (0, -1), "behind": (0, 1), "right": (-1, 0), "left": (1, 0)}  # which way the plunger points
CASES = list(itertools.product(["near", "far"], ["left", "right"], LOOK, [0.0006, -0.0006]))


class Bodies:
    """The fence, 20 mm thick, and an arm 300 mm long at the blade, turned by `rotation` about the pivot."""

    def __init__(self, jig: Jig, stands: str) -> None:
        away = 1 if jig.fence == "near" else -1  # the way the working face looks, and the arm points
        self.pivot = ((250.0 if jig.pivot == "right" else -250.0), -10.0 * away)
        self.fence = Polygon([(-600, 0), (600, 0), (600, -20.0 * away), (-600, -20.0 * away)])
        self.arm = Polygon([(-10, 0), (10, 0), (10, 300.0 * away), (-10, 300.0 * away)])
        self.on_arm = stands in ("left", "right")
        self.free = Point(-1 if jig.pivot == "right" else 1, 0)
        x, y = (
            (0.0, self.pivot[1] + 200.0 * away) if self.on_arm else (self.pivot[0] + 480.0 * self.free.x, 0.0)
        )
        dx, dy = LOOK[stands]
        self.axis = LineString([(x - 100 * dx, y - 100 * dy), (x + 100 * dx, y + 100 * dy)])

    def turned(self, body: Polygon, rotation: float) -> Polygon:
        return affinity.rotate(body, rotation, origin=self.pivot, use_radians=True)

    def reading(self, rotation: float) -> float:
        """mm that the plunger is pushed in."""
        met = self.axis.intersection(self.turned(self.arm if self.on_arm else self.fence, rotation))
        return 100.0 - Point(self.axis.coords[0]).distance(met)

    def free_end(self, rotation: float) -> float:
        """y of a point of the fence 480 mm from the pivot, toward the end that moves."""
        tip = Point(self.pivot[0] + 480.0 * self.free.x, self.pivot[1])
        return affinity.rotate(tip, rotation, origin=self.pivot, use_radians=True).y


class Turning:
    def __init__(self, fence: str, pivot: str, stands: str, rotation: float) -> None:
        self.jig = Jig("s", fence=fence, pivot=pivot, pivot_to_blade=250.0, pivot_to_screw=480.0)
        self.bodies, self.rotation, self.t = Bodies(self.jig, stands), rotation, 0.0
        touches = "arm" if stands in ("left", "right") else "fence"
        ask = LiveMoveRequest(True, "f", touches, stands, 200.0 if touches == "arm" else None)  # type: ignore[arg-type]
        quantity = Quantity("fence", rotation, "rad", 2e-5, 9.0, self.jig.tolerance, "outside", "")
        found = Finding(id="f", check="fence-square", quantities=[quantity], verdict="outside", jig="s")
        self.live = LiveMove(ask, found, self.jig, 0.001)
        for _ in range(2):
            self.turn(rotation)
            self.live.press()
        assert self.live.phase == "go"

    def said(self) -> LiveMoveNotice:
        return with_words(self.live.notice(), "mm")

    def turn(self, to: float, steps: int = 20) -> LiveMoveNotice:
        first = self.rotation
        for n in range(1, steps + 1):
            self.t += 0.05
            self.live.readings([self.t], [self.bodies.reading(first + (to - first) * n / steps)])
        self.rotation = to
        return self.said()


@pytest.mark.parametrize(("fence", "pivot", "stands", "rotation"), everyday(CASES, 3))
def test_the_way_that_is_said_squares_the_fence(fence: str, pivot: str, stands: str, rotation: float) -> None:
    turning = Turning(fence, pivot, stands, rotation)
    said = turning.said()
    gone = turning.bodies.free_end(0.0) - turning.bodies.free_end(rotation)
    assert said.end == ("left" if pivot == "right" else "right")
    assert said.way == ("away" if gone > 0 else "toward")
    assert said.to_go == pytest.approx(abs(gone), abs=0.002)
    said = turning.turn(rotation / 2)
    assert not said.wrong and said.to_go < abs(gone) * 0.75
    turning.turn(0.0)
    said = turning.turn(0.0)
    assert said.there and said.to_go < 0.003
    said = turning.turn(-rotation / 2)
    assert said.past and said.words.startswith("Too far by")
    assert said.way == ("toward" if gone > 0 else "away")


@pytest.mark.parametrize(("fence", "pivot", "stands", "rotation"), everyday(CASES, 3))
def test_turned_further_out_it_is_the_wrong_way(fence: str, pivot: str, stands: str, rotation: float) -> None:
    turning = Turning(fence, pivot, stands, rotation)
    way = turning.said().way
    said = turning.turn(rotation * 1.1)
    assert said.wrong and said.way == way
    you = {"away": "away from you", "toward": "toward you"}[way]
    assert said.words.startswith(f"Wrong way: move the {said.end} end {you}.")


def test_the_jig_of_the_cases_is_the_one_of_the_bodies() -> None:
    """A far fence's arm points toward you: with its sign left out half of the cases above are the wrong way."""
    far = Jig("s", fence="far", pivot="right", pivot_to_blade=250.0, pivot_to_screw=480.0)
    near = msgspec.structs.replace(far, fence="near")
    here, there = (Bodies(jig, "right") for jig in (near, far))
    assert (here.reading(6e-4) - here.reading(0)) * (there.reading(6e-4) - there.reading(0)) < 0

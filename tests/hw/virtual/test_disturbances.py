"""What few saws have, switched on one by one on a saw that is quiet otherwise, against shapely's own turning.

Each is off unless asked for, and then draws nothing: a seed's saw stays what it was.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from recording import Recorder
from shapely import affinity
from shapely.geometry import Point

from hw.virtual.motion import Pose
from hw.virtual.saw import VirtualSaw
from hw.virtual.saw_and_sled import PUSH, RUNNERS_MIDDLE
from hw.virtual.traits import Traits

OFF = ("stance", "return_yaw", "stand_shift", "slot_curve", "dent", "off_plane", "roll", "gain")


def quiet(fence: str = "near", **given: float) -> VirtualSaw:
    return VirtualSaw.draw(5, Traits.quiet(**given), fence=fence, rotation=3e-4)


def slopes(saw: VirtualSaw, placement: str, *, back: bool = False) -> tuple[float, float]:
    """Slope and second derivative of one pass."""
    recorder = Recorder(saw, resolution=0.0, indicator_age=0.0, travel_age=0.0)
    saw.place(placement)
    sweep = recorder.push(PUSH)
    if back:
        sweep = recorder.pull_back()
    s, r = np.array(sweep).T
    inside = (s > 5) & (s < PUSH - 5)
    bend, slope, _ = np.polyfit(s[inside] - PUSH / 2, r[inside], 2)
    return float(slope), float(2 * bend)


def test_all_are_off_by_default() -> None:
    assert all(getattr(Traits(), name) == 0.0 for name in OFF)


@pytest.mark.parametrize("fence", ["near", "far"])
@pytest.mark.parametrize("curve", [1e-6, -2e-6])
def test_a_curved_slot_turns_the_sled_as_shapely_turns_it(fence: str, curve: float) -> None:
    saw = quiet(fence, slot_curve=curve)
    along = np.array([-math.sin(saw.slot_angle), math.cos(saw.slot_angle)])
    left = np.array([-along[1], along[0]])
    centre = np.array(RUNNERS_MIDDLE) + left / curve
    for s in (0.0, 80.0, 220.0):
        frame = saw.sled_frame(Pose(s))
        for p in ((0.0, 0.0), (100.0, 350.0)):
            turned = affinity.rotate(Point(p), curve * s, origin=tuple(centre), use_radians=True)
            q = frame.point(type(RUNNERS_MIDDLE)(*p))
            assert (q.x, q.y) == pytest.approx((turned.x, turned.y), abs=1e-7)
    right, of_right = slopes(saw, "handle-left")
    other, of_other = slopes(saw, "handle-right")
    # the plunger right of the arm is pushed in as the arm goes right, that on the left as it goes left
    assert of_right == pytest.approx(curve, rel=0.02) and of_other == pytest.approx(-curve, rel=0.02)
    assert (right - other) / 2 == pytest.approx(saw.truth()["rotation"], abs=1e-6)


def test_a_sled_drawn_back_on_its_other_wall() -> None:
    saw = quiet(return_yaw=1e-4, yaw_play=1e-3)
    plain = quiet(yaw_play=1e-3)
    for placement, sign in (("handle-left", 1.0), ("handle-right", -1.0)):
        assert slopes(saw, placement)[0] == pytest.approx(slopes(plain, placement)[0], abs=1e-9)
        back = slopes(saw, placement, back=True)[0] - slopes(plain, placement, back=True)[0]
        assert back == pytest.approx(sign * 1e-4, rel=0.01)


def test_a_roll_enters_the_fence_and_not_the_square() -> None:
    saw, plain = quiet(off_plane=20.0, roll=150e-6), quiet()
    off = [slopes(saw, p)[0] - slopes(plain, p)[0] for p in ("handle-left", "handle-right")]
    assert (off[0] - off[1]) / 2 == pytest.approx(20.0 * 150e-6 / PUSH, rel=0.01)
    assert (off[0] + off[1]) / 2 == pytest.approx(0.0, abs=1e-9)


def test_gain_multiplies_the_slope() -> None:
    saw, plain = quiet(gain=0.02), quiet()
    assert slopes(saw, "handle-left")[0] == pytest.approx(1.02 * slopes(plain, "handle-left")[0], rel=1e-6)


def test_stance_lasts_a_set_up_and_a_dent_lies_at_the_end() -> None:
    saw = quiet(stance=5e-5)
    first = slopes(saw, "handle-left")[0]
    stance = saw.stance
    saw.seat()
    assert saw.stance == stance
    assert first - slopes(quiet(), "handle-left")[0] == pytest.approx(stance, rel=1e-3)
    saw.place("handle-right")
    assert saw.stance != stance
    dented = quiet(dent=0.05)
    dented.place("handle-left")
    depth = [dented.depth(Pose(s)) - dented.depth(Pose(0.0)) for s in (100.0, 210.0)]
    assert depth[1] - 2.1 * depth[0] < -0.03


def test_a_stand_set_down_elsewhere_meets_another_place_of_the_arm() -> None:
    moved = quiet(stand_shift=15.0, texture=0.002)
    moved.place("handle-left")
    before = moved._probe
    moved.place("handle-right")
    assert before is not None and moved._probe is not None
    assert moved._probe.origin.y != before.origin.y == moved.teeth

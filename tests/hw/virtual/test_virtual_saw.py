"""The virtual saw against shapely: polygons are cut, turned and swept there, and must say the same.

No expected sign is taken from a formula here but where a test says so; shapely's own affine maps and
intersections carry the geometry.
"""

import math
from itertools import pairwise

import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from recording import Recorder
from shapely import affinity
from shapely.geometry import LineString, Polygon, box
from shapely.ops import split

from hw.virtual.motion import Pose
from hw.virtual.saw import VirtualSaw
from hw.virtual.traits import Traits

ANGLES = st.floats(-2e-3, 2e-3)


def quiet(seed=1, **kept):
    known = {
        name: kept.pop(name)
        for name in ("fence", "rotation", "square_error", "rip_fence_side")
        if name in kept
    }
    return VirtualSaw.draw(seed, Traits.quiet(**kept), **known)


def slope(pairs):
    n = len(pairs)
    mean_s, mean_r = sum(s for s, _ in pairs) / n, sum(r for _, r in pairs) / n
    return sum((s - mean_s) * (r - mean_r) for s, r in pairs) / sum((s - mean_s) ** 2 for s, _ in pairs)


def bearing(line):
    (x1, y1), (x2, y2) = line
    return math.atan2(y2 - y1, x2 - x1)


def degrees(angle):
    return math.degrees(angle)


# -- the truth, by cutting a board ---------------------------------------------------------------------


@given(a=ANGLES, slot=ANGLES, seed=st.integers(0, 50), far=st.booleans())
def test_a_cut_board_is_out_of_square_by_the_truth(a, slot, seed, far):
    """A board on the fence, cut by a tooth that stands still while the sled slides along the slots."""
    saw = quiet(seed, fence="far" if far else "near", rotation=a)
    saw.slot_angle, saw.fence_angle = slot, slot + a
    # the board, lying against the face of the fence, turned with it about the pivot
    pivot = tuple(saw.pivot_point)
    upward = -1 if far else 1
    board = box(-300, min(0, 380 * upward), 200, max(0, 380 * upward))
    board = affinity.translate(board, 0, pivot[1])
    board = affinity.rotate(board, degrees(saw.fence_angle), origin=pivot)
    # where the sled has gone by s, the standing tooth has gone by -s in the sled; shapely moves a point
    way = (-math.sin(slot), math.cos(slot))
    tooth = shapely.Point(0.0, 450.0)
    path = LineString([
        affinity.translate(tooth, -s * way[0], -s * way[1]).coords[0] for s in (-1500.0, 0.0, 1500.0)
    ])  # fmt: skip
    left = min(split(board, path).geoms, key=lambda part: part.centroid.x)
    corners = list(left.exterior.coords)[:-1]
    # the corner between fence edge and cut: the right one of the two on the fence
    on_fence = sorted(corners, key=lambda c: c[1] * upward)[:2]
    corner = max(on_fence)
    far_end = min(on_fence)
    cut_end = max((c for c in corners if c not in on_fence), key=lambda c: c[0])
    along_fence = math.atan2(far_end[1] - corner[1], far_end[0] - corner[0])
    along_cut = math.atan2(cut_end[1] - corner[1], cut_end[0] - corner[0])
    inside = (along_fence - along_cut) * upward % (2 * math.pi)
    # the fence turned counter-clockwise drops the left end of a near fence: the left board's corner opens
    assert inside - math.pi / 2 == pytest.approx(upward * saw.truth()["rotation"], abs=1e-9)


# -- readings, by sweeping a polygon ---------------------------------------------------------------------


def square_polygon(e):
    """Handle to the left, arm upwards, its right edge at 90 deg + e from the handle's lower face."""
    lean = math.pi / 2 - e
    tip = (300 * math.cos(lean), 300 * math.sin(lean))
    return Polygon([(0, 0), tip, (tip[0] - 25, tip[1]), (-25, 20), (-150, 20), (-150, 0)])


def swept_reading(saw, handle, side, y, s):
    """How far a plunger at height y is pushed in by the square, by shapely alone (up to a constant)."""
    square = square_polygon(saw.square_error)
    if handle == "right":
        square = affinity.scale(square, -1, 1, origin=(0, 0))
    if saw.fence == "far":
        square = affinity.scale(square, 1, -1, origin=(0, 0))
    angle = degrees(saw.fence_angle)
    square = affinity.rotate(square, angle, origin=(0, 0))
    face = affinity.rotate(LineString([(-900, 0), (900, 0)]), angle, origin=(saw.pivot_point.x, 0))
    x = -20.0 if handle == "left" else -170.0
    height = face.intersection(LineString([(x, -50), (x, 50)])).y + saw.pivot_point.y
    square = affinity.translate(square, x, height)
    square = affinity.translate(square, -s * math.sin(saw.slot_angle), s * math.cos(saw.slot_angle))
    met = square.intersection(LineString([(-900, y), (900, y)]))
    west, _, east, _ = met.bounds
    return east if side == "right" else -west


@given(a=ANGLES, e=ANGLES, seed=st.integers(0, 50), far=st.booleans(), left=st.booleans())
def test_the_plunger_follows_a_swept_polygon(a, e, seed, far, left):
    saw = quiet(seed, fence="far" if far else "near", rotation=a, square_error=e)
    handle = "left" if left else "right"
    saw.place(f"handle-{handle}")
    y = 370.0 if far else 285.0
    start = saw.depth(Pose(0.0))
    swept = swept_reading(saw, handle, saw.side, y, 0.0)
    for s in (50.0, 130.0, 220.0):
        moved = swept_reading(saw, handle, saw.side, y, s) - swept
        assert saw.depth(Pose(s)) - start == pytest.approx(moved, abs=1e-6)


# What a standing indicator says of the two placements: b1 = a - e and b2 = a + e on a near fence, the other
# way about on a far one. Here, for once, the rule itself is checked against the swept readings.
@pytest.mark.parametrize("fence", ["near", "far"])
@given(a=ANGLES, e=ANGLES, seed=st.integers(0, 20))
def test_both_placements_give_rotation_and_square(fence, a, e, seed):
    saw = quiet(seed, fence=fence, rotation=a, square_error=e)
    b = {}
    for placement, grows in (("handle-left", 1.0), ("handle-right", -1.0)):
        saw.place(placement)
        assert saw.side == ("right" if placement == "handle-left" else "left")
        b[placement] = grows * (saw.depth(Pose(220.0)) - saw.depth(Pose(0.0))) / 220.0
    first, second = b["handle-left"], b["handle-right"]
    found_e = (second - first) / 2 if fence == "near" else (first - second) / 2
    assert (first + second) / 2 == pytest.approx(
        a, abs=2e-8
    )  # 2e-8: slot and fence off the axes, second order
    assert found_e == pytest.approx(e, abs=2e-8)


@pytest.mark.parametrize("side", ["right", "left"])
def test_a_carried_plunger_reads_the_rip_fence(side):
    """The fence as a polygon on the table, the indicator going along the slots past it."""
    saw = quiet(4, rip_fence_side=side, rip_fence=0.5e-3)
    saw.place("-")
    turned = saw.truth()["rip_fence"]
    assert abs(turned) > 1e-5
    assert saw.side == ("left" if side == "right" else "right")
    wall = box(100, -500, 200, 900) if side == "right" else box(-200, -500, -100, 900)
    wall = affinity.rotate(wall, degrees(turned), origin=(0, 0))  # seen along the slots
    gaps = []
    for s in (0.0, 220.0):
        ray = LineString([(0, s), (900 if side == "right" else -900, s)])
        gaps.append(ray.intersection(wall).distance(shapely.Point(0, s)))
    pushed_in = saw.depth(Pose(220.0)) - saw.depth(Pose(0.0))
    assert pushed_in == pytest.approx(gaps[0] - gaps[1], abs=1e-6)
    # carried: left b = dr/ds, right b = -dr/ds
    assert pushed_in / 220.0 * (1 if side == "right" else -1) == pytest.approx(turned, abs=1e-8)


def test_one_spot_of_the_blade_touched_at_front_and_rear():
    saw = quiet(9, blade=0.4e-3)
    saw.place("front", Pose(10.0))
    front = saw.depth(Pose(10.0))
    saw.place("rear", Pose(160.0))
    rear = saw.depth(Pose(160.0))
    dx = rear - front  # on the right: pushed in as the blade stands more to the right
    assert -dx / 150.0 == pytest.approx(saw.truth()["blade"], abs=1e-8)


# -- moves ---------------------------------------------------------------------------------------------


@given(dy=st.floats(-1.5, 1.5).filter(lambda dy: abs(dy) > 1e-6), seed=st.integers(0, 50), far=st.booleans())
def test_turning_the_fence_moves_its_face_there_by_that_much(dy, seed, far):
    saw = quiet(seed, fence="far" if far else "near")
    pivot = tuple(saw.pivot_point)
    reach = saw.pivot_to_stop * (1 if saw.free_end == "right" else -1)
    before = LineString([pivot, (pivot[0] + reach, pivot[1])])
    before = affinity.rotate(before, degrees(saw.fence_angle), origin=pivot)
    was = saw.truth()["rotation"]
    saw.turn_fence(saw.free_end, "away" if dy > 0 else "toward", abs(dy))
    after = affinity.rotate(before, degrees(saw.truth()["rotation"] - was), origin=pivot)
    tip = shapely.Point(after.coords[1])
    assert tip.distance(
        LineString([pivot, affinity.scale(before, 2, 2, origin=pivot).coords[1]])
    ) == pytest.approx(abs(dy), abs=1e-7)
    assert (tip.y > before.coords[1][1]) == (dy > 0)


@pytest.mark.parametrize(("pivot", "way"), [("right", "away"), ("left", "toward")])
def test_a_fence_out_by_0_0003_is_cured_by_0_150_over_500(pivot, way):
    """Worked by a separate simulation of boards being cut: a +0.0003, 500 mm from pivot to stop."""
    saw = quiet(2, rotation=0.0003)
    saw.pivot, saw.pivot_to_blade, saw.pivot_to_stop = pivot, 250.0, 500.0
    saw.turn_fence(saw.free_end, way, 0.150)
    assert saw.truth()["rotation"] == pytest.approx(0.0, abs=1e-9)


def test_the_end_that_stays_cannot_be_turned():
    saw = quiet(2)
    with pytest.raises(ValueError, match="pivot"):
        saw.turn_fence(saw.pivot, "away", 0.1)
    with pytest.raises(ValueError, match="away or toward"):
        saw.turn_fence(saw.free_end, "left", 0.1)


@pytest.mark.parametrize("fence", ["near", "far"])
def test_an_indicator_on_the_jig_sees_the_free_end_go(fence):
    saw = quiet(6, fence=fence)
    saw.place("free-end")
    before = saw.depth(Pose())
    saw.turn_fence(saw.free_end, "away", 0.2)
    assert saw.depth(Pose()) - before == pytest.approx(0.2 if fence == "near" else -0.2, abs=1e-5)
    assert saw.depth(Pose(5.0, 0.03, 3e-5)) == pytest.approx(
        saw.depth(Pose()), abs=1e-9
    )  # leaning does not show


# -- slips and leaning -----------------------------------------------------------------------------------


def test_leaning_shows_on_which_side_a_standing_indicator_is():
    saw = quiet(3)
    for placement, sign in (("handle-left", 1.0), ("handle-right", -1.0)):
        saw.place(placement)
        left, right = saw.hold("left"), saw.hold("right")
        seen = [saw.depth(Pose(0.0, *hold)) for hold in (left, right)]
        assert sign * (seen[1] - seen[0]) == pytest.approx(saw.traits.side_play, abs=1e-5)


def test_a_square_not_turned_over_looks_dead_square():
    saw = quiet(5, rotation=0.0004, square_error=0.0001)
    saw.place("handle-left")
    first = saw.depth(Pose(220.0)) - saw.depth(Pose(0.0))
    saw.slip("not-turned")
    saw.place("handle-right")
    second = -(saw.depth(Pose(220.0)) - saw.depth(Pose(0.0)))  # declared left
    assert first + second == pytest.approx(0.0, abs=1e-9)
    assert (second - first) / 440.0 == pytest.approx(-0.0003, abs=1e-8)
    saw.place("handle-right")  # the slip is over
    assert saw.handle == "right"


def test_a_stand_on_the_wrong_side_reads_backwards():
    saw = quiet(5, rotation=0.0006, square_error=0.0)
    saw.place("handle-left")
    right = saw.depth(Pose(220.0)) - saw.depth(Pose(0.0))
    saw.slip("wrong-side")
    saw.place("handle-left")
    wrong = saw.depth(Pose(220.0)) - saw.depth(Pose(0.0))
    assert right == pytest.approx(0.132, abs=1e-4)
    assert wrong == pytest.approx(-0.132, abs=0.03)  # the arm's other edge is not quite parallel
    assert saw.depth(Pose(0.0, *saw.hold("left"))) > saw.depth(Pose(0.0))  # and leaning tells


@pytest.mark.parametrize("fence", ["near", "far"])
def test_off_the_tip_the_plunger_hangs_free(fence):
    saw = quiet(5, fence=fence)
    saw.slip("near-tip")
    saw.place("handle-left")
    on, off = (100.0, 0.0) if fence == "near" else (0.0, 200.0)
    assert saw.depth(Pose(off)) == 0.0
    assert 1.5 < saw.depth(Pose(on)) < 3.5


def test_a_knocked_stand_and_a_lifted_square():
    saw = quiet(5)
    saw.place("handle-left")
    before = saw.depth(Pose())
    saw.bump(0.05)
    assert saw.depth(Pose()) - before == pytest.approx(0.05)
    saw.lift()
    assert saw.depth(Pose()) == 0.0


def test_unknown_names_are_refused():
    saw = quiet()
    with pytest.raises(ValueError, match="handle-up"):
        saw.place("handle-up")
    with pytest.raises(ValueError, match="sneeze"):
        saw.slip("sneeze")


def test_side_and_yaw_play_are_felt_at_the_sleds_side():
    saw = quiet(8)
    seen = {}
    for placement in ("leaned-left", "leaned-right", "twisted-left", "twisted-right"):
        how, _, way = placement.partition("-")
        saw.place(placement, Pose())
        hold = saw.hold(lean=way) if how == "leaned" else saw.hold(twist=way)
        seen[placement] = saw.depth(Pose(0.0, *hold))
    assert seen["leaned-right"] - seen["leaned-left"] == pytest.approx(saw.traits.side_play, abs=1e-6)
    yaw = (seen["twisted-right"] - seen["twisted-left"]) / 260.0
    assert yaw == pytest.approx(saw.traits.yaw_play, rel=1e-3)


# -- drawing ---------------------------------------------------------------------------------------------


def test_a_seed_is_one_saw():
    def day(seed):
        saw = VirtualSaw.draw(seed)
        saw.place("handle-left")
        recorder = Recorder(saw)
        saw.seat()
        swept = recorder.push() + recorder.pull_back()
        saw.turn_fence(saw.free_end, "away", 0.1)
        return saw.truth(), saw.gear(), swept

    assert day(7) == day(7)
    assert day(7) != day(8)


def test_saws_are_out_to_either_side_and_pivot_at_either_end():
    saws = [VirtualSaw.draw(seed) for seed in range(30)]
    turned = [saw.truth()["rotation"] for saw in saws]
    assert max(map(abs, turned)) <= 0.8e-3
    assert max(turned) > 0.5e-3
    assert min(turned) < -0.5e-3
    assert {saw.pivot for saw in saws} == {"left", "right"}


def test_gear_describes_the_saw():
    saw = VirtualSaw.draw(3)
    jig = saw.gear()["jig"]["pretend-sled"]
    assert jig["pivot"] == saw.pivot
    assert jig["pivot_to_stop"] == f"{saw.pivot_to_stop:g} mm"
    assert jig["saw"] in saw.gear()["saw"]


# -- whole sweeps with everything in them ------------------------------------------------------------------


@pytest.mark.ci
def test_noisy_sweeps_scatter_about_the_truth():
    """3 + 3 reseated pushes and a plain least-squares line. Each push carries seat 20 and hold 18 urad."""
    errors = []
    for seed in range(12):
        saw = VirtualSaw.draw(seed)
        b = []
        for placement, sign in (("handle-left", 1.0), ("handle-right", -1.0)):
            saw.place(placement)
            recorder = Recorder(saw, rate=60.0)
            slopes = []
            for _ in range(3):
                saw.seat()
                slopes.append(sign * slope(recorder.push()))
                recorder.pull_back()
            b.append(sum(slopes) / 3.0)
        errors.append((b[0] + b[1]) / 2.0 - saw.truth()["rotation"])
    mean = sum(errors) / len(errors)
    spread = math.sqrt(sum(error**2 for error in errors) / len(errors))
    expected = math.hypot(20e-6, 18e-6) / math.sqrt(6.0)
    assert abs(mean) < 4.0 * expected / math.sqrt(len(errors))
    assert 0.5 * expected < spread < 2.0 * expected


def test_a_push_is_uneven_but_never_turns_back_and_readings_are_counts():
    saw = VirtualSaw.draw(11)
    saw.place("handle-left")
    swept = Recorder(saw, travel_resolution=0.001).push(220.0, 200.0)
    travel = [s for s, _ in swept]
    assert max(travel) == pytest.approx(220.0, abs=0.01)
    steps = [after - before for before, after in pairwise(travel)]
    assert min(steps) > -0.004  # noise of the scale at rest
    moving = [step for step in steps[25:-25] if step]
    assert max(moving) > 1.1 * min(moving)
    for _, reading in swept:
        assert reading * 1000 == pytest.approx(round(reading * 1000), abs=1e-6)


def test_the_arms_texture_belongs_to_the_arm():
    """The same place of the arm gives the same height from both sides of it: nothing of it is the sled's."""
    saw = VirtualSaw.draw(13, Traits.quiet(texture=0.01, slot=0.0), rotation=0.0, square_error=0.0)
    found = []
    for placement, sign in (("handle-left", 1.0), ("handle-right", 1.0)):
        saw.place(placement)
        level = saw.depth(Pose(100.0))
        found.append([sign * (saw.depth(Pose(s)) - level) for s in range(0, 220, 5)])
    assert max(map(abs, found[0])) > 0.005
    assert found[0] == pytest.approx(found[1], abs=1e-5)

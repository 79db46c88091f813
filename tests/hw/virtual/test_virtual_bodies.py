"""The plate, the sled fence's form, the runners and the test board against general libraries: points are turned by SciPy,
polygons cut and turned by shapely, play found by SciPy's linear programming. No expected sign is taken from a formula.
"""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from everyday import everyday
from hypothesis import given
from hypothesis import strategies as st

from hw.virtual.board import KERF, STRIP_WIDTH, TRIM_WIDTH
from hw.virtual.bodies import FOOT, rest_line, turn_of
from hw.virtual.edge_profile import EdgeProfile
from hw.virtual.hands import Hands
from hw.virtual.motion import Pose
from hw.virtual.plane import Vector
from hw.virtual.plate import WAVES, Plate, Space
from hw.virtual.saw import KNOWN_PLACEMENTS, VirtualSaw
from hw.virtual.slots import SLED_RUNNER, SLED_STEP, TABLE_SLOT, SlotsAndRunners
from hw.virtual.straightedge_carriage import EDGE_DISTANCE, EDGE_WIDTH, FACE_RUN, FOOT_OFFSET, HALF
from hw.virtual.traits import Traits

SEEDS = st.integers(0, 60)


# -- the plate -------------------------------------------------------------------------------------------


def turned_plate(plate: Plate, turn: float, stands: float):
    """Points of the plate's right-hand face near the foot, turned by SciPy; (n, 3) mm."""
    from scipy.spatial.transform import Rotation

    there = math.atan2(FOOT[1], FOOT[0]) - turn
    radius, round_ = np.meshgrid(np.linspace(70.0, 92.0, 45), np.linspace(there - 0.1, there + 0.1, 47))
    y, z = radius * np.cos(round_), radius * np.sin(round_)
    flat = np.column_stack((np.zeros(y.size), y.ravel(), z.ravel()))
    # tilted about the line in its flat that lies a quarter turn behind `leans`, so that `leans` goes to +X
    leans = np.array([0.0, math.cos(plate.leans), math.sin(plate.leans)])
    axis = np.cross(leans, [1.0, 0.0, 0.0])
    tilted = Rotation.from_rotvec(axis * plate.tilt).apply(flat)
    normal = Rotation.from_rotvec(axis * plate.tilt).apply([1.0, 0.0, 0.0])
    assert Rotation.from_rotvec(axis * plate.tilt).apply(leans)[0] >= 0.0
    place = np.arctan2(tilted[:, 2], tilted[:, 1])
    share = (tilted[:, 1] ** 2 + tilted[:, 2] ** 2) / plate.rim**2
    warp = sum(h * np.cos(w * (place - at)) for w, (h, at) in zip(WAVES, plate.waves, strict=True))
    body = tilted + normal * (share * warp)[:, None]
    return Rotation.from_rotvec([0.0, 0.0, stands]).apply(Rotation.from_rotvec([turn, 0.0, 0.0]).apply(body))


@pytest.mark.ci
@given(seed=SEEDS, turn=st.floats(0.0, 2 * math.pi), stands=st.floats(-2e-3, 2e-3))
def test_a_plunger_meets_the_plate_where_turned_points_lie(seed, turn, stands):
    from scipy.interpolate import LinearNDInterpolator

    plate = VirtualSaw.draw(seed).bodies.plate
    points = turned_plate(plate, turn, stands)
    near = np.hypot(points[:, 1] - FOOT[0], points[:, 2] - FOOT[1]) < 4.0
    there = float(LinearNDInterpolator(points[near][:, 1:], points[near][:, 0])(*FOOT))
    away = plate.reach(Space(500.0, *FOOT), Space(-1.0, 0.0, 0.0), turn, stands)
    assert 500.0 - away == pytest.approx(there, abs=2e-5)


def test_a_standing_indicator_reads_the_plate_as_it_comes_round():
    """Pushed in where the plate stands farthest right; the truth's swing is that of all readings round the turn."""
    saw = VirtualSaw.draw(4, Traits.quiet(plate_warp=0.006))
    truth = saw.bodies.plate_truth()
    read = {}
    for degrees in range(0, 360, 5):
        saw.place(f"turn-{degrees}", mount="still")
        read[degrees] = saw.depth(Pose())
    assert max(read.values()) - min(read.values()) == pytest.approx(truth["total"], rel=0.01)
    first = np.fft.rfft(np.array([*read.values()]))[1] * 2 / len(read)
    assert 2 * abs(first) == pytest.approx(truth["tilt"], rel=1e-3)
    assert -np.angle(first) % (2 * np.pi) == pytest.approx(truth["phase"], abs=1e-3)


def test_carried_along_the_slot_the_plate_is_met_from_before_the_arbor_to_behind_it():
    saw = VirtualSaw.draw(4, Traits.quiet())
    read = {}
    for degrees in (0, 90, 180, 270):
        saw.place(f"turn-{degrees}", mount="carried")
        assert saw.run == 160.0
        read[degrees] = [saw.depth(Pose(s)) for s in (0.0, 160.0)]
    # carried on the right, a blade that goes right towards the rear pushes it in; even turns take the tilt out
    swings = [rear - front for front, rear in read.values()]
    assert math.atan(-sum(swings) / 4 / 160.0) == pytest.approx(saw.truth()["blade"], abs=2e-7)
    assert max(swings) - min(swings) > 1e-3  # each alone has the tilt in it


# -- the sled fence's form ---------------------------------------------------------------------------------


def line_of(edge: EdgeProfile, low: float, high: float):
    from shapely.geometry import LineString

    return LineString([(k * 0.5, h) for k, h in enumerate(edge.heights) if low <= k * 0.5 <= high])


@given(seed=SEEDS, low=st.floats(0.0, 300.0), wide=st.floats(150.0, 500.0), share=st.floats(0.1, 0.9))
def test_a_straight_edge_rests_on_the_convex_hull(seed, low, wide, share):
    edge = VirtualSaw.draw(seed).bodies.fence_form
    low, pushed = round(low), round(low) + round(wide) * share
    slope, height = edge.rest(low, low + round(wide), pushed)
    form = line_of(edge, low, low + round(wide))
    hull = form.convex_hull
    top = max(y for x, y in hull.intersection(line(pushed, -9.0, pushed, 9.0)).coords)
    assert height == pytest.approx(top, abs=1e-9)
    over = [height + slope * (x - pushed) - y for x, y in form.coords]
    assert min(over) == pytest.approx(0.0, abs=1e-9)  # touches, and nothing stands through it
    assert sum(o < 1e-9 for o in over) >= 2


def line(*xy: float):
    from shapely.geometry import LineString

    return LineString([xy[:2], xy[2:]])


@given(seed=SEEDS)
def test_the_narrowest_strip_is_that_of_the_rotated_rectangle(seed):
    """Heights stretched, so that the narrowest rectangle lies along the edge; straightness is across that."""
    edge = VirtualSaw.draw(seed, Traits.quiet(fence_bow=0.05, texture=0.002)).bodies.fence_form
    form = line_of(edge, 150.0, 750.0)
    box = form.minimum_rotated_rectangle
    (x0, y0), (x1, y1), (x2, y2) = list(box.exterior.coords)[:3]
    sides = sorted((math.hypot(x1 - x0, y1 - y0), math.hypot(x2 - x1, y2 - y1)))
    assert edge.zone(150.0, 750.0) == pytest.approx(sides[0], rel=1e-3)


@pytest.mark.ci
@given(seed=SEEDS)
def test_the_averaged_form_is_that_of_local_lines(seed):
    """SciPy's filter of Savitzky and Golay of the first order, which goes to the very ends by the last line."""
    from scipy.signal import savgol_filter

    edge = VirtualSaw.draw(seed).bodies.fence_form
    heights = [h for k, h in enumerate(edge.heights) if 150.0 <= k * 0.5 <= 750.0]
    smooth = savgol_filter(heights, 91, 1, mode="interp")
    assert [y for _, y in edge._points(150.0, 750.0, 45.0)] == pytest.approx(smooth.tolist(), abs=1e-9)


@pytest.mark.parametrize("fence", ["near", "far"])
@given(seed=SEEDS)
def test_rolled_over_the_straightedges_form_turns_its_sign(fence, seed):
    """Both set-ups made of points by hand: the straightedge's polygon is mirrored by shapely, the base set on it."""
    from shapely import affinity
    from shapely.geometry import LineString

    saw = VirtualSaw.draw(
        seed, Traits.quiet(fence_bow=0.05, straightedge_bow=0.03, texture=0.002), fence=fence
    )
    outward = 1.0 if fence == "near" else -1.0
    bar = LineString(
        [(k * 0.5 - HALF, -EDGE_WIDTH / 2 - h) for k, h in enumerate(saw.bodies.straightedge.heights)]
    )
    for placement in ("as-is", "rolled-over"):
        saw.place(placement)
        assert (saw.run, saw.travel_begins) == (FACE_RUN, -FACE_RUN / 2)
        lies = bar if placement == "as-is" else affinity.scale(bar, 1.0, -1.0, origin=(0.0, 0.0))
        heights = np.array(lies.coords)[:, 1] + EDGE_DISTANCE  # over the face's line, away from the fence

        def rides(u: float, heights: np.ndarray = heights) -> float:
            places = np.arange(heights.size) * 0.5 - HALF
            feet = np.interp([u - FOOT_OFFSET, u + FOOT_OFFSET], places, heights)
            return float(feet.mean()) - saw.bodies.fence_form.at(u + HALF)

        for u in (-250.0, -40.0, 90.0, 280.0):
            read = saw.depth(Pose(u + FACE_RUN / 2)) - saw.depth(Pose(0.0))
            assert read == pytest.approx(rides(-FACE_RUN / 2) - rides(u), abs=5e-5)
    assert outward * saw.face().outward.y > 0.0


def test_what_the_handle_rests_on_is_the_fences_angle():
    saw = VirtualSaw.draw(3, Traits(fence_bow=0.1))
    ends = rest_line(saw.face(), -170.0, -20.0)
    assert math.atan2(ends[1].y - ends[0].y, ends[1].x - ends[0].x) == pytest.approx(
        saw.fence_angle, abs=1e-9
    )


# -- slots and runners -------------------------------------------------------------------------------------


def most(bounds, aim):
    """The largest aim . (x, slope) of lines that pass between the bounds, by linear programming."""
    from scipy.optimize import linprog

    rows, limits = [], []
    for u, low, high in bounds:
        rows += [[1.0, u], [-1.0, -u]]
        limits += [high, -low]
    found = linprog(
        [-a for a in aim], A_ub=rows, b_ub=limits, bounds=[(None, None)] * len(aim), method="highs"
    )
    return -found.fun if found.success else None


@pytest.mark.ci
@given(seed=st.integers(0, 12), both=st.booleans(), pinch=st.sampled_from([0.0, 0.05, 0.2]))
def test_play_is_what_linear_programming_finds(seed, both, pinch):
    ways = VirtualSaw.draw(seed, Traits(pinch=pinch)).bodies.slideways
    sides = (0, 1) if both else (0,)
    side_play = yaw_play = 0.0
    relief = 0.0
    for at in np.arange(-SLED_RUNNER, TABLE_SLOT + 1.0, SLED_STEP):
        bounds = []
        for side in sides:
            for u in np.arange(0.0, SLED_RUNNER + 1.0, 10.0):
                if 0.0 <= at + u <= TABLE_SLOT:
                    slot, runner = ways.slots[side].walls(at + u), ways.runners[side].walls(u)
                    bounds.append((u - SLED_RUNNER / 2, slot[0] - runner[0], slot[1] - runner[1]))
        if 0.0 <= at <= TABLE_SLOT - SLED_RUNNER and (right := most(bounds, (1.0, 0.0))) is not None:
            side_play = max(side_play, right + most(bounds, (-1.0, 0.0)))
            yaw_play = max(yaw_play, most(bounds, (0.0, 1.0)) + most(bounds, (0.0, -1.0)))
        if len(bounds) > len(sides):
            relief = max(relief, -spare(bounds))
    found = ways.play(sides)
    assert found[0] == pytest.approx(side_play, abs=1e-6)
    assert found[1] == pytest.approx(yaw_play, abs=1e-7)
    assert ways.relief(sides) == pytest.approx(relief, abs=1e-6)


def spare(bounds) -> float:
    """The most room that a line has, both sides together: g in low + g/2 <= x + m u <= high - g/2."""
    from scipy.optimize import linprog

    rows, limits = [], []
    for u, low, high in bounds:
        rows += [[1.0, u, 0.5], [-1.0, -u, 0.5]]
        limits += [high, -low]
    found = linprog([0.0, 0.0, -1.0], A_ub=rows, b_ub=limits, bounds=[(None, None)] * 3, method="highs")
    assert found.success
    return -found.fun


def test_the_sled_runs_with_the_play_that_its_leaning_shows():
    for seed in range(3):
        saw = VirtualSaw.draw(seed)
        side, yaw = saw.bodies.slideways.play()
        assert side == pytest.approx(saw.traits.side_play, abs=1e-4)
        assert 0.7 < yaw / saw.traits.yaw_play < 1.4  # walls that bow give and take


def test_a_caliper_is_laid_across_what_there_is():
    bodies = VirtualSaw.draw(2, Traits.quiet()).bodies
    assert bodies.between_jaws() == 0.0
    for what, at in (("slot-left", 600.0), ("runner-right", 0.0), ("slot-spacing", 300.0)):
        bodies.lay_caliper(what, at)
        assert bodies.between_jaws() == pytest.approx(bodies.slideways.width(what, at))
    for what, at in (("runner-left", 500.0), ("slot-middle", 0.0), ("tongue-left", 0.0), ("near", 15.0)):
        with pytest.raises(ValueError, match=r"ends|width|board"):
            bodies.lay_caliper(what, at)
    assert bodies.between_jaws() == pytest.approx(bodies.slideways.width("slot-spacing", 300.0))  # as it was


# -- the test board ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("fence", "kept"), everyday(product(("near", "far"), ("left", "right")), 3))
@given(a=st.floats(-2e-3, 2e-3), slot=st.floats(-1e-3, 1e-3), seed=SEEDS, turns=st.integers(1, 5))
def test_a_board_cut_and_turned_by_shapely_gives_the_same_strip(fence, kept, a, slot, seed, turns):
    from shapely import affinity
    from shapely.geometry import LineString, Polygon, box

    saw = VirtualSaw.draw(seed, Traits.quiet(), fence=fence)
    saw.slot_angle, saw.fence_angle = slot, slot + a
    saw.bodies.cut_board(saw.face(), lambda: Vector(0.0, 1.0).turned(slot), kept, turns, far=fence == "far")
    board = saw.bodies.board
    # a board square to begin with, but for one corner; laid, cut and turned here by shapely's own affine maps
    shape = Polygon([(0.0, 0.0), (412.0, 0.6), (411.0, 412.0), (0.8, 411.3)])
    blade = affinity.rotate(box(-KERF / 2, -2000.0, KERF / 2, 2000.0), slot, origin=(0, 0), use_radians=True)
    clockwise = (kept == "left") == (fence == "near")
    for number in range(turns + 1):
        take = STRIP_WIDTH if number == turns else TRIM_WIDTH
        corners = list(shape.exterior.coords)[:-1]
        edges = [
            (p, q) for p, q in zip(corners, [*corners[1:], corners[0]], strict=True) if abs(p[0] - q[0]) > 200
        ]
        p, q = (min if fence == "near" else max)(edges, key=lambda e: e[0][1] + e[1][1])
        p, q = sorted((p, q))
        shape = affinity.rotate(
            shape, saw.fence_angle - math.atan2(q[1] - p[1], q[0] - p[0]), origin=p, use_radians=True
        )
        length = math.hypot(q[0] - p[0], q[1] - p[1])
        x = take + KERF / 2 - length if kept == "left" else -(take + KERF / 2)
        pivot = saw.pivot_point
        y = pivot.y + (x - pivot.x) * math.tan(saw.fence_angle)
        start = Vector(x * 1.0, y)
        along = Vector(1.0, 0.0).turned(saw.fence_angle)
        # the saw lays it off along the fence from the blade; x is taken along the fence's own line
        foot = saw.face().base + along * (x + HALF)
        shape = affinity.translate(shape, foot.x - p[0], foot.y - p[1])
        assert abs(foot.y - start.y) < 1e-3
        halves = sorted(shape.difference(blade).geoms, key=lambda part: part.centroid.x)
        shape, off = (halves[0], halves[-1]) if kept == "left" else (halves[-1], halves[0])
        if number < turns:
            shape = affinity.rotate(shape, -90.0 if clockwise else 90.0, origin=(0.0, 0.0))
    way = Vector(0.0, 1.0).turned(slot)
    leads = way if fence == "near" else Vector(-way.x, -way.y)
    begins = min(x * leads.x + y * leads.y for x, y in off.exterior.coords)
    for at in (15.0, 200.0, 360.0):
        middle = Vector(leads.x * (begins + at), leads.y * (begins + at))
        across = LineString([
            (middle.x - way.y * 2000.0, middle.y + way.x * 2000.0), (middle.x + way.y * 2000.0, middle.y - way.x * 2000.0)
        ])  # fmt: skip
        assert board.width(at) == pytest.approx(off.intersection(across).length, abs=1e-6)


def test_a_strip_is_as_long_as_the_board_and_no_longer():
    saw = VirtualSaw.draw(1)
    with pytest.raises(ValueError, match="no board"):
        saw.bodies.lay_caliper("near", 15.0)
    saw.bodies.cut_board(saw.face(), lambda: Vector(0.0, 1.0), "left", 4, far=False)
    saw.bodies.lay_caliper("far", 385.0)
    with pytest.raises(ValueError, match="ends before 500"):
        saw.bodies.lay_caliper("far", 500.0)


# -- as set-ups --------------------------------------------------------------------------------------------


def test_set_ups_are_named_and_their_seed_is_one_saw():
    assert turn_of("turn-112.5") == pytest.approx(math.radians(112.5))
    assert turn_of("turn-back") is None and turn_of("front") is None
    assert {"as-is", "rolled-over"} <= set(KNOWN_PLACEMENTS)
    one, two = (VirtualSaw.draw(9).bodies for _ in range(2))
    assert one.plate == two.plate and one.fence_form == two.fence_form
    assert isinstance(one.slideways, SlotsAndRunners) and one.slideways.width(
        "slot-left", 0.0
    ) == two.slideways.width("slot-left", 0.0)
    assert VirtualSaw.draw(10).bodies.plate != one.plate


async def test_hands_run_along_the_fence_and_back_to_the_sled():
    clock = [0.0]
    hands = Hands(VirtualSaw.draw(1), lambda: clock[0], pace=0.0)
    hands.saw.place("as-is")
    assert hands.travel_at(0.0) == pytest.approx(-FACE_RUN / 2, abs=0.02)
    hands.saw.place("handle-left")
    assert hands.travel_at(0.0) == pytest.approx(0.0, abs=0.02)
    await hands.measure("slot-left", 150.0)
    assert hands.caliper_at(0.0) == pytest.approx(19.05, abs=0.06)

"""Play of runners, against scipy's linear programmes, polygons of the feasible set and real bodies in slots."""

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.columns import GeometryError
from bench.geometry.feasible_lines import feasible_lines
from bench.geometry.runner_play import Widths, fit_at, positions, runner_fit

RUNNER = Widths([0.0, 500.0], [19.0, 19.0])
SLOT = Widths(np.arange(0.0, 701.0, 100.0), np.full(8, 19.1))


def bodies(seed, two=False, bowed=True):
    """Invented slots and runners, some of which bind, with stations that do not match."""
    rng = np.random.default_rng(seed)

    def strip(length, low, high, count):
        inner = np.sort(rng.choice(np.arange(10, int(length) - 9), count, replace=False))
        stations = np.concatenate(([0.0], inner, [length]))
        centres = rng.normal(0, 0.02, stations.size) if bowed else None
        return Widths(stations, rng.uniform(low, high, stations.size), centres)

    number = 2 if two else 1
    runners = [strip(400.0, 18.93, 19.02, rng.integers(0, 4)) for _ in range(number)]
    slots = [strip(600.0, 19.0, 19.12, rng.integers(0, 5)) for _ in range(number)]
    return runners, slots


def conditions(runners, slots, at):
    """Every condition of the definition as rows of A (x, t, relief) <= b, and the places they are at."""
    rows, limits, places = [], [], []
    for runner, slot in zip(runners, slots, strict=True):
        stations = [u for u in runner.s if slot.s[0] - 1e-9 <= at + u <= slot.s[-1] + 1e-9]
        stations += [s - at for s in slot.s if runner.s[0] - 1e-9 <= s - at <= runner.s[-1] + 1e-9]
        for u in stations:
            room = np.interp(at + u, slot.s, slot.w) / 2 - np.interp(u, runner.s, runner.w) / 2
            centre = np.interp(at + u, slot.s, slot.c) - np.interp(u, runner.s, runner.c)
            rows += [[1.0, -u, -0.5], [-1.0, u, -0.5]]
            limits += [room + centre, room - centre]
            places.append(u)
    return np.array(rows), np.array(limits), np.array(places)


def by_linear_programme(runners, slots, at):
    """(yaw play, side play, relief) or None where unbounded."""
    from scipy.optimize import linprog

    rows, limits, _ = conditions(runners, slots, at)
    scale = np.array([1.0, 1e-3, 1.0])
    free = [(None, None), (None, None)]
    tight = linprog([0, 0, 1], rows * scale, limits, bounds=[*free, (0, None)], method="highs")
    assert tight.status == 0
    if tight.fun > 1e-9:
        return 0.0, 0.0, tight.fun
    middle = (min(r.s[0] for r in runners) + max(r.s[-1] for r in runners)) / 2
    ranges = []
    for aim in ([0.0, 1.0], [1.0, -middle * 1e-3]):
        ends = [
            linprog(sign * np.array(aim), (rows * scale)[:, :2], limits, bounds=free, method="highs")
            for sign in (1, -1)
        ]
        ranges.append(None if any(e.status != 0 for e in ends) else -(ends[0].fun + ends[1].fun))
    yaw = None if ranges[0] is None else ranges[0] * 1e-3
    return yaw, ranges[1], 0.0


def test_a_straight_runner_in_a_straight_slot():
    """19.00 x 500 in 19.10: yaw play 0.000400, side play 0.100."""
    found = runner_fit([RUNNER], [SLOT])
    assert found.yaw_play == pytest.approx(0.0004)
    assert found.side_play == pytest.approx(0.1)
    assert (found.relief, found.whole, found.tight) == (0.0, True, None)


def test_a_pinch_between_the_ends_of_the_runner_is_not_overlooked():
    """The runner has no station there; pinched to 18.99 it binds and 0.01 opens it."""
    pinched = Widths(SLOT.s, np.where(SLOT.s == 300.0, 18.99, 19.1))
    found = runner_fit([RUNNER], [pinched])
    assert (found.yaw_play, found.side_play) == (0.0, 0.0)
    assert found.relief == pytest.approx(0.01)
    assert found.tight == (300.0, 300.0)
    free = {p.at for p in found.positions if p.relief == 0.0}
    assert free == {-500.0, -400.0, -300.0, 400.0, 500.0, 600.0, 700.0}


def test_a_tip_in_the_slot_is_unbounded_but_for_a_runner_s_middle():
    found = {p.at: p for p in runner_fit([RUNNER], [SLOT]).positions}
    assert (found[-500.0].yaw_play, found[-500.0].side_play) == (None, None)
    short = Widths([-1.0, 0.0, 1.0], [19.0, 19.0, 19.0])
    block = Widths([0.0], [19.1])
    assert fit_at([short], [block], 0.0).yaw_play is None
    assert fit_at([short], [block], 0.0).side_play == pytest.approx(0.1)
    assert fit_at([short], [block], 1.0).side_play is None
    swollen = fit_at([Widths([-1.0, 0.0, 1.0], [19.2] * 3)], [block], 0.0)
    assert (swollen.yaw_play, swollen.side_play) == (0.0, 0.0)
    assert swollen.relief == pytest.approx(0.1)


def test_part_of_the_runner_out_of_the_slot_touches_nothing():
    """With 200 of 500 mm in, the rest may be any width; the yaw is that of a 200 mm runner."""
    fat_behind = Widths([0.0, 250.0, 300.0, 500.0], [25.0, 25.0, 19.0, 19.0])
    found = fit_at([fat_behind], [SLOT], -300.0)
    assert found.yaw_play == pytest.approx(2 * 0.1 / 200.0)


def test_a_touch_is_no_bind():
    found = runner_fit([Widths([0.0, 500.0], [19.1, 19.1])], [SLOT])
    assert (found.yaw_play, found.side_play) == pytest.approx((0.0, 0.0), abs=1e-10)
    assert found.relief == 0.0
    assert fit_at([Widths([0.0, 500.0], [19.1, 19.1])], [SLOT], -500.0).yaw_play is None


def test_a_bowed_slot_binds_a_straight_runner_at_three_places():
    slot = Widths([0.0, 250.0, 500.0], [19.04] * 3, [0.0, 0.05, 0.0])
    found = fit_at([RUNNER], [slot], 0.0)
    assert found.relief == pytest.approx(0.05 - 0.04)
    assert found.tight == (0.0, 250.0, 500.0)


def test_two_runners_a_hair_too_far_apart():
    """Spacing 0.08 wide of the slots' with 0.1 clearance in either leaves 0.02."""
    wide = RUNNER.shifted([0.0], [0.08])
    found = runner_fit([RUNNER, wide], [SLOT, SLOT])
    assert found.side_play == pytest.approx(0.02)
    assert found.yaw_play == pytest.approx(2 * 0.02 / 500.0)
    assert runner_fit([RUNNER, RUNNER.shifted([0.0], [0.13])], [SLOT, SLOT]).relief == pytest.approx(0.03)


def test_runners_that_toe_in_use_up_clearance_at_one_end():
    found = fit_at([RUNNER, RUNNER.shifted([0.0, 500.0], [0.0, 0.1])], [SLOT, SLOT], 100.0)
    yaw, side, relief = by_linear_programme(
        [RUNNER, RUNNER.shifted([0.0, 500.0], [0.0, 0.1])], [SLOT, SLOT], 100.0
    )
    assert (found.yaw_play, found.side_play, found.relief) == pytest.approx((yaw, side, relief))


def test_a_runner_longer_than_its_slot_is_judged_where_it_fills_it():
    found = runner_fit([Widths([0.0, 900.0], [19.0, 19.0])], [SLOT])
    assert not found.whole
    assert found.yaw_play == pytest.approx(2 * 0.1 / 700.0)


@pytest.mark.parametrize(
    "two",
    [pytest.param(False, id="one runner", marks=pytest.mark.ci), pytest.param(True, id="two runners")],
)
@given(seed=st.integers(0, 10**6))
def test_every_position_agrees_with_linear_programming(two, seed):
    runners, slots = bodies(seed, two)
    places = positions(runners, slots)
    for at in places[:: max(1, len(places) // 5)]:
        found = fit_at(runners, slots, at)
        yaw, side, relief = by_linear_programme(runners, slots, at)
        assert found.relief == pytest.approx(relief, abs=1e-7)
        for mine, theirs in ((found.yaw_play, yaw), (found.side_play, side)):
            assert (mine is None) == (theirs is None)
            if theirs is not None:
                assert mine == pytest.approx(theirs, abs=2e-7)


@given(st.integers(0, 10**6))
def test_the_play_is_the_extent_of_the_polygon_that_all_conditions_leave(seed):
    runners, slots = bodies(seed)
    middle = runners[0].s[-1] / 2
    at = float(np.random.default_rng(seed).uniform(0.0, 200.0))
    rows, limits, _ = conditions(runners, slots, at)
    feasible = shapely.box(-50.0, -50.0, 50.0, 50.0)  # of (offset at the middle, yaw in mrad)
    for (on_x, on_t, _), limit in zip(rows, limits, strict=True):
        normal = np.array([on_x, (on_t + on_x * middle) * 1e-3])
        size = np.hypot(*normal)
        normal, reach = normal / size, limit / size
        along = np.array([-normal[1], normal[0]])
        corners = [normal * reach + along * 500, normal * reach - along * 500]
        feasible = feasible.intersection(
            shapely.Polygon([*corners, corners[1] - normal * 1000, corners[0] - normal * 1000])
        )
    found = fit_at(runners, slots, at)
    if feasible.is_empty:
        assert found.relief > 0.0
        return
    low_x, low_t, high_x, high_t = feasible.bounds
    assert found.side_play == pytest.approx(high_x - low_x, abs=1e-6)
    assert found.yaw_play == pytest.approx((high_t - low_t) * 1e-3, abs=1e-8)


def test_a_real_body_turns_in_a_real_slot_just_as_far():
    """Outlines in a geometry library, turned and pushed: it fits inside the play and not beyond it."""
    runner = Widths([0.0, 100.0, 250.0, 400.0], [19.0, 18.8, 18.9, 19.05])
    slot = Widths([0.0, 150.0, 300.0, 600.0], [19.3, 19.2, 19.4, 19.25], [0.0, 0.05, -0.04, 0.0])

    def outline(strip):
        left = [(c - w / 2, s) for s, w, c in zip(strip.s, strip.w, strip.c, strict=True)]
        right = [(c + w / 2, s) for s, w, c in zip(strip.s, strip.w, strip.c, strict=True)]
        return shapely.Polygon(left + right[::-1])

    at = 120.0
    found = fit_at([runner], [slot], at)
    body = shapely.affinity.translate(outline(runner), 0.0, at)

    def fits(yaw):
        turned = shapely.affinity.rotate(body, yaw, origin=(0.0, at), use_radians=True)
        moves = np.linspace(-0.5, 0.8, 1301)
        return any(slot_body.contains(shapely.affinity.translate(turned, x, 0.0)) for x in moves)

    slot_body = outline(slot).buffer(1e-4, join_style="mitre")
    low, high = found.yaw
    assert fits((low + high) / 2)
    width = high - low
    assert fits(high - 0.03 * width) and not fits(high + 0.03 * width)
    assert fits(low + 0.03 * width) and not fits(low - 0.03 * width)


@given(st.integers(0, 10**6), st.floats(-0.3, 0.3), st.floats(-1e-3, 1e-3))
def test_a_slot_that_lies_elsewhere_or_askew_has_the_same_play(seed, move, lean):
    runners, slots = bodies(seed)
    before = runner_fit(runners, slots)
    moved = [s.shifted([0.0, 600.0], [move, move + 600.0 * lean]) for s in slots]
    after = runner_fit(runners, moved)
    mirrored = runner_fit([Widths(-r.s, r.w, r.c) for r in runners], [Widths(-s.s, s.w, s.c) for s in slots])
    for other in (after, mirrored):
        assert other.relief == pytest.approx(before.relief, abs=1e-8)
        assert other.yaw_play == pytest.approx(before.yaw_play, abs=1e-9)
        assert other.side_play == pytest.approx(before.side_play, abs=1e-8)


@given(st.integers(0, 10**6), st.floats(0.0, 0.1))
def test_taking_wood_off_never_tightens_and_the_relief_just_opens_it(seed, off):
    runners, slots = bodies(seed)
    before = runner_fit(runners, slots)
    thinner = [Widths(r.s, r.w - off, r.c) for r in runners]
    after = runner_fit(thinner, slots)
    assert after.relief == pytest.approx(max(0.0, before.relief - off), abs=1e-8)
    for old, new in zip(before.positions, after.positions, strict=True):
        assert new.yaw_play is None or new.yaw_play >= old.yaw_play - 1e-10
    opened = [Widths(r.s, r.w - before.relief, r.c) for r in runners]
    assert runner_fit(opened, slots).relief == 0.0


@given(st.integers(0, 10**6))
def test_more_stations_on_the_same_straight_pieces_change_nothing_at_a_position(seed):
    """Widths run straight between stations, so no place between needs a look."""
    runners, slots = bodies(seed)
    at = float(np.random.default_rng(seed + 1).uniform(-300.0, 500.0))
    dense = [r.shifted(np.linspace(3.0, 397.0, 60), np.zeros(60)) for r in runners]
    packed = [s.shifted(np.linspace(5.0, 595.0, 80), np.zeros(80)) for s in slots]
    plain, fine = fit_at(runners, slots, at), fit_at(dense, packed, at)
    # out of the slot the runner's and the slot's ends are stations already, but a tip's own width is not
    assert fine.relief >= plain.relief - 1e-9
    if 0.0 <= at <= 200.0:
        assert fine.relief == pytest.approx(plain.relief, abs=1e-9)
        assert fine.yaw_play == pytest.approx(plain.yaw_play, abs=1e-10)
        assert fine.side_play == pytest.approx(plain.side_play, abs=1e-9)


def test_lines_between_two_rows_of_points():
    found = feasible_lines([0.0, 10.0], [-1.0, -1.0], [1.0, 1.0], middle=5.0)
    assert found.slopes == pytest.approx((-0.2, 0.2))
    assert found.heights == pytest.approx((-1.0, 1.0))
    assert found.gap == pytest.approx(2.0)


@pytest.mark.parametrize(
    ("call", "says"),
    [
        (lambda: Widths([0.0], [0.0]), "above zero"),
        (lambda: fit_at([RUNNER], [SLOT], 900.0), "no part"),
    ],
)
def test_what_cannot_be_worked_out_says_why(call, says):
    with pytest.raises(GeometryError, match=says):
        call()

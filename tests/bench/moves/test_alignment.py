"""The saw's own moves: rip fence and blade as lines, their rear ends moved, the gap measured."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from shapely import affinity
from shapely.geometry import LineString, Point

from bench.moves.alignment import rip_fence_turn

SMALL = st.floats(-0.002, 0.002)
SIDE = st.sampled_from(["left", "right"])


def turned(x: float, length: float, rotation: float) -> LineString:
    """A line from (x, 0) away from the operator, turned about its front."""
    return affinity.rotate(LineString([(x, 0), (x, length)]), rotation, origin=(x, 0), use_radians=True)


def gap(a: LineString, b: LineString, y: float) -> float:
    probe = LineString([(-2000, y), (2000, y)])
    first, second = a.intersection(probe), b.intersection(probe)
    assert isinstance(first, Point)
    assert isinstance(second, Point)
    return abs(first.x - second.x)


def test_worked_case_of_toe() -> None:
    """Blade +0.0001, rip fence on the right -0.0002: it opens by 0.090 over 300; wanted are 0.030."""
    assert rip_fence_turn(-0.0003, "right") * 300 == pytest.approx(-0.090)
    assert rip_fence_turn(-0.0003, "right", 0.0001) * 300 == pytest.approx(-0.060)  # to the left


@given(SMALL, SMALL, SIDE, st.floats(300, 900), st.floats(0, 0.0003))
def test_the_rip_fence_opens_as_wanted_after_its_move(
    fence: float, blade: float, side: str, span: float, wanted: float
) -> None:
    x = 200.0 if side == "right" else -200.0
    before = turned(x, 1000, fence)
    blade_line = turned(0, 1000, blade)
    dx = rip_fence_turn(fence - blade, side, wanted) * span  # type: ignore[arg-type]
    rear = before.interpolate(span)
    front = Point(x, 0)
    direction = (rear.x + dx - front.x, rear.y - front.y)
    scale = 1.3
    after = LineString([(front.x, front.y), (front.x + scale * direction[0], front.y + scale * direction[1])])
    opened = gap(after, blade_line, 300) - gap(after, blade_line, 10)
    assert opened == pytest.approx(wanted * 290, abs=2e-5)


@given(SMALL, st.floats(150, 600))
def test_blade_and_table_go_opposite_ways_to_the_same_end(rotation: float, span: float) -> None:
    dx = rotation * span  # the way that the finding's move names: right where it is positive
    rear = turned(0, span, rotation).coords[-1]
    assert rear[0] + dx == pytest.approx(0, abs=2e-6 * span)  # the slot runs along Y
    slot = turned(100, span, 0.0)
    assert slot.coords[-1][0] - dx - 100 == pytest.approx(rear[0], abs=2e-6 * span)


def test_a_rip_fence_is_never_told_to_close() -> None:
    with pytest.raises(ValueError, match="must not close"):
        rip_fence_turn(0.0001, "right", -0.0001)

"""Live: what the indicator sees while real polygons are turned about their pivot."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pivot import pivot_at
from shapely import affinity
from shapely.geometry import LineString, Point

from bench.gear import Jig
from bench.moves.nudge import Nudge, Tip, drawn_by_tightening

ROTATIONS = st.floats(-0.002, 0.002).filter(lambda a: abs(a) > 1e-6)


def crossing(line: LineString, probe: LineString) -> Point:
    point = line.intersection(probe)
    assert isinstance(point, Point)
    return point


def test_worked_case() -> None:
    """a +0.0003, pivot at +250, indicator at the blade: +0.075."""
    assert Tip(False, 250, Jig("s", pivot="right")).target(0.0003) == pytest.approx(0.075)


@given(ROTATIONS, st.sampled_from(["left", "right"]), st.floats(50, 900))
def test_the_fence_at_the_indicator_goes_as_foretold(rotation: float, pivot: str, reach: float) -> None:
    jig = Jig(name="s", pivot=pivot, pivot_to_blade=250)  # type: ignore[arg-type]
    offset = -reach if pivot == "right" else reach
    square = LineString([(-2000, 0), (2000, 0)])
    crooked = affinity.rotate(square, rotation, origin=(pivot_at(jig), 0), use_radians=True)
    x_n = pivot_at(jig) + offset
    probe = LineString([(x_n, -100), (x_n, 100)])
    seen = crossing(square, probe).y - crossing(crooked, probe).y
    assert Tip(False, reach, jig).target(rotation) == pytest.approx(seen, rel=1e-4)


@given(ROTATIONS, st.floats(-0.2, 0.2), st.floats(50, 400))
def test_the_arm_shows_the_turn_whatever_the_pivot_does_along_the_travel(
    rotation: float, slop: float, beyond: float
) -> None:
    pivot = (250.0, 0.0)
    arm = LineString([(100, -50), (100, 1000)])  # along the travel when the fence is square
    crooked = affinity.rotate(arm, rotation, origin=pivot, use_radians=True)
    turned_back = affinity.translate(
        affinity.rotate(crooked, -rotation, origin=pivot, use_radians=True), 0, slop
    )
    probe = LineString([(0, beyond), (500, beyond)])
    seen = crossing(turned_back, probe).x - crossing(crooked, probe).x
    # 150 mm off the pivot's line the arm also shifts by half a rotation squared of it.
    assert Tip(True, beyond, Jig("s")).target(rotation) == pytest.approx(seen, abs=3e-6 * 150)


@pytest.mark.parametrize(("stands", "rise"), [("beyond", 1), ("behind", -1), ("right", 1), ("left", -1)])
def test_remaining_by_where_the_indicator_stands(stands: str, rise: int) -> None:
    """Beyond a face that comes away toward it, and right of one that goes right, the plunger is pushed in."""
    nudge = Nudge(target=0.15, start=2.0, stands=stands)  # type: ignore[arg-type]
    assert nudge.to_go(2.0) == pytest.approx(0.15)
    assert nudge.to_go(2.0 + rise * 0.10) == pytest.approx(0.05)
    assert nudge.to_go(2.0 + rise * 0.20) == pytest.approx(-0.05)  # past it
    assert nudge.to_go(2.0 - rise * 0.05) == pytest.approx(0.20)  # the wrong way


@given(st.floats(-0.5, 0.5).filter(lambda t: abs(t) > 0.01), st.floats(-0.05, 0.05))
def test_aiming_past_by_the_last_draw_ends_on_the_target(target: float, draw: float) -> None:
    first = Nudge(target=target, start=1.0)
    at_target = 1.0 + target
    drawn = drawn_by_tightening(at_target, at_target + draw, first)
    assert drawn == pytest.approx(draw, abs=1e-12)
    again = Nudge(target=target, start=1.0, aim_past=-drawn)
    reading = 1.0 + target + again.aim_past
    assert again.to_go(reading) == pytest.approx(0, abs=1e-12)
    assert again.short_of(reading + draw) == pytest.approx(0, abs=1e-12)

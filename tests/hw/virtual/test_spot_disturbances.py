"""Disturbances of the virtual saw that are there only where they are asked for."""

from __future__ import annotations

import statistics
from functools import partial

import pytest

from hw.virtual.motion import Pose
from hw.virtual.saw import TWIST_AT, VirtualSaw
from hw.virtual.straightedge_carriage import FACE_RUN
from hw.virtual.traits import Traits

START, REAR = Pose(10.0), Pose(160.0)


def touched(saw: VirtualSaw, times: int) -> list[float]:
    """Rear less front of the blade's spot, slid to and fro."""
    found = []
    for _ in range(times):
        saw.place("front", START)
        front = saw.depth(START)
        saw.place("rear", REAR)
        found.append(saw.depth(REAR) - front)
    return found


def test_slid_to_and_fro_the_blades_spot_reads_the_same_where_nothing_floats() -> None:
    saw = VirtualSaw.draw(2, Traits.quiet())
    away = (saw.truth()["blade"]) * 150.0
    for lean in touched(saw, 3):
        assert abs(lean) == pytest.approx(abs(away), abs=1e-6)


def test_a_carriage_that_floats_scatters_each_visit() -> None:
    saw = VirtualSaw.draw(2, Traits.quiet(carriage_float=0.005))
    leans = touched(saw, 400)
    assert statistics.stdev(leans) == pytest.approx(0.005 * 2**0.5, rel=0.15)


@pytest.mark.parametrize("fence", ["near", "far"])
def test_a_straightedge_gives_way_alike_as_it_lies_and_rolled_over_and_more_under_the_whole_hand(
    fence,
) -> None:
    """By 16 u^2 (1 - u)^2 of its middle's way under a force at the share u of a beam on two blocks."""
    changes = []
    for placement in ("as-is", "rolled-over", "pressed"):
        stiff, slim = (
            VirtualSaw.draw(3, Traits.quiet(edge_gives=gives), fence=fence) for gives in (0.0, 0.008)
        )
        read = []
        for saw in (stiff, slim):
            saw.place(placement, Pose(0.0))
            read.append(saw.depth(Pose(FACE_RUN / 2)) - saw.depth(Pose(0.0)))
        changes.append(read[1] - read[0])
    u = 150.0 / 900.0
    wanted = 0.008 * (1.0 - 16.0 * (u * (1.0 - u)) ** 2)
    assert changes[:2] == [pytest.approx(wanted, abs=1e-6)] * 2  # toward the face: it stands proud
    assert changes[2] == pytest.approx(5 * wanted, rel=1e-3)


def test_a_twist_is_read_beside_its_place() -> None:
    exact = VirtualSaw.draw(4, Traits.quiet())
    exact.place("twisted-left", Pose(0.0))
    level = exact.depth(Pose(0.0))
    swing = exact.depth(Pose(0.0, yaw=-1e-3)) - level
    off = []
    for _ in range(20):
        beside = VirtualSaw.draw(len(off), Traits.quiet(spot_off=8.0))
        beside.place("twisted-left", Pose(0.0))
        off.append((beside.depth(Pose(0.0, yaw=-1e-3)) - beside.depth(Pose(0.0))) / swing - 1.0)
    assert statistics.stdev(off) == pytest.approx(8.0 / TWIST_AT, rel=0.3)


def test_a_sawn_edge_stands_off_at_the_place_of_a_width_whenever_it_is_read() -> None:
    widths = []
    for edge in (0.0, 0.02):
        saw = VirtualSaw.draw(5, Traits.quiet(sawn_edge=edge))
        saw.bodies.cut_board(saw.face(), partial(getattr, saw.face(), "outward"), "left", 4, far=False)
        for what, at in (("near", 15.0), ("far", 385.0)):
            saw.bodies.lay_caliper(what, at)
            once, again = saw.bodies.between_jaws(), saw.bodies.between_jaws()
            assert once == again
            widths.append(once)
    assert all(0.0 < abs(a - b) < 0.1 for a, b in zip(widths[:2], widths[2:], strict=True))

"""A sled whose fence stands beyond the board: the cut edge comes to it the other way round, and so does the sign.

The boards are cut by the virtual saw, whose cuts are held against shapely in tests/hw/virtual/test_virtual_bodies.py.
"""

from __future__ import annotations

from itertools import product

import pytest
from everyday import everyday
from hypothesis import given
from hypothesis import strategies as st

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.gear import Jig
from hw.virtual.plane import Vector
from hw.virtual.saw import VirtualSaw
from hw.virtual.traits import Traits


def gear(saw: VirtualSaw) -> EvidenceGear:
    return EvidenceGear(
        jig=Jig("sled", saw="cabinet", fence=saw.fence, pivot=saw.pivot, widest_board=600.0, tolerance=1e-4)
    )


@pytest.mark.parametrize(("fence", "kept"), everyday(product(("near", "far"), ("left", "right")), 3))
@given(a=st.floats(-1.5e-3, 1.5e-3).filter(lambda a: abs(a) > 1e-5), seed=st.integers(0, 20))
def test_the_strip_tells_which_way_the_fence_is_out(fence, kept, a, seed):
    saw = VirtualSaw.draw(seed, Traits.quiet(), fence=fence, rotation=a)
    way = Vector(0.0, 1.0).turned(saw.slot_angle)
    saw.bodies.cut_board(saw.face(), lambda: way, kept, 4, far=fence == "far")
    board = saw.bodies.board
    traces = [Trace(end, [at], [board.width(at)]) for end, at in (("near", 15.0), ("far", 375.0))]
    options = {"kept": kept, "turns": 4}
    (found,) = find("test-board").evaluate(Evidence("test-board", traces, options, gear(saw))).quantities
    assert found.value == pytest.approx(saw.truth()["rotation"], abs=3e-7)
    left_end_near = a > 0  # counter-clockwise the left end comes toward the operator
    assert ("near you" in found.way) == (left_end_near == (found.way.startswith("left")))


@pytest.mark.parametrize(
    ("fence", "kept", "turned"),
    [
        ("near", "left", " clockwise"),
        ("near", "right", " counter-clockwise"),
        ("far", "left", " counter-clockwise"),
        ("far", "right", " clockwise"),
    ],
)
def test_the_words_turn_the_cut_edge_onto_the_fence(fence, kept, turned):
    saw = VirtualSaw.draw(1, fence=fence)
    near, _ = find("test-board").plan({"kept": kept}, gear(saw))
    assert turned + ":" in near.words

"""The move of a fence's end: signs by moving real polygons, the worked cases, the words."""

from __future__ import annotations

import math
import re

import msgspec
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st
from pivot import pivot_at
from shapely import affinity
from shapely.geometry import LineString, Point, Polygon, box

from bench.finding import Move, Remark
from bench.gear import Jig
from bench.moves.lever import (
    FILM,
    LEAF_TOLERANCE,
    LEVER_SHARE,
    fence_dy,
    fence_move,
    leads_with_leaves,
    move_uncertainty,
    why_no_move,
)
from bench.render.clock import clock_words
from bench.render.remarks import move_words

SIDES = ("left", "right")
FENCES = ("near", "far")


def sled(pivot: str = "right", fence: str = "near", **more: float) -> Jig:
    return Jig(
        name="sled",
        pivot=pivot,  # type: ignore[arg-type]
        fence=fence,  # type: ignore[arg-type]
        **{"pivot_to_blade": 250.0, "pivot_to_screw": 500.0, **more},
    )


def made(rotation: float, jig: Jig, leaves: tuple[float, ...] = (), units: str = "mm") -> Move:
    """The move with its text in these units, as whoever is sent it has it."""
    move = fence_move(rotation, 2e-5, jig, leaves)
    assert move is not None
    move = msgspec.json.decode(msgspec.json.encode(move), type=Move)
    return msgspec.structs.replace(move, text=move_words(move, units))  # type: ignore[arg-type]


# Worked by an independent simulation of surfaces being swept: rotation, x_p, x_a, dy.
@pytest.mark.parametrize(
    ("rotation", "x_pivot", "x_stop", "dy"), [(0.0003, 250, -250, 0.150), (0.0003, -250, 250, -0.150)]
)
def test_worked_cases(rotation: float, x_pivot: float, x_stop: float, dy: float) -> None:
    assert fence_dy(rotation, x_stop - x_pivot) == pytest.approx(dy, abs=1e-12)
    jig = sled("right" if x_pivot > 0 else "left")
    assert pivot_at(jig) == x_pivot
    assert jig.lever == x_stop - x_pivot
    move = made(rotation, jig, (0.04, 0.05, 0.10, 0.15))
    assert (move.end, move.way) == (("left", "away") if dy > 0 else ("right", "toward"))
    assert move.distance == pytest.approx(0.150, abs=1e-12)
    assert move.leaves == [0.15]
    assert move.leaves_left_over == pytest.approx(0, abs=1e-9)


def fence_line(jig: Jig, rotation: float) -> LineString:
    """The working face as a line through the pivot, turned by rotation (counter-clockwise from above)."""
    flat = LineString([(-2000, 0), (2000, 0)])
    return affinity.rotate(flat, rotation, origin=(pivot_at(jig), 0), use_radians=True)


def y_at(line: LineString, x: float) -> float:
    crossing = line.intersection(LineString([(x, -500), (x, 500)]))
    assert isinstance(crossing, Point)
    return float(crossing.y)


@settings(max_examples=2 * settings().max_examples)
@given(
    st.floats(-0.002, 0.002).filter(lambda a: abs(a) > 1e-6),
    st.sampled_from(SIDES),
    st.sampled_from(FENCES),
    st.floats(100, 900),
    st.floats(50, 700),
)
def test_moving_the_end_makes_the_rotation_vanish(
    rotation: float, pivot: str, fence: str, reach: float, to_blade: float
) -> None:
    jig = sled(pivot, fence, pivot_to_stop=reach, pivot_to_blade=to_blade)
    move = made(rotation, jig)
    x_stop = pivot_at(jig) + (-reach if move.end == "left" else reach)
    crooked = fence_line(jig, rotation)
    # Take hold of the fence there, move it, and see which way it now points.
    y_new = y_at(crooked, x_stop) + (move.distance if move.way == "away" else -move.distance)
    left_out = math.atan2(y_new - 0.0, x_stop - pivot_at(jig))
    left_out = math.remainder(left_out, math.pi)
    assert abs(left_out) < 1e-5 * abs(rotation) + 1e-15
    # The other way would have doubled it.
    y_wrong = y_at(crooked, x_stop) - (move.distance if move.way == "away" else -move.distance)
    assert abs(math.remainder(math.atan2(y_wrong, x_stop - pivot_at(jig)), math.pi)) > 1.9 * abs(rotation)


def solid_fence(jig: Jig, rotation: float) -> Polygon:
    """A fence 20 mm thick whose working face lies on y = 0 when it is square, board side open."""
    body = box(-1500, -20, 1500, 0) if jig.fence == "near" else box(-1500, 0, 1500, 20)
    return affinity.rotate(body, rotation, origin=(pivot_at(jig), 0), use_radians=True)


def swing_until_touching(jig: Jig, obstacle: shapely.Geometry, start: float, toward: float) -> float:
    """Rotation at which the fence, swung from start, first touches the obstacle."""
    free, touching = start, toward
    assert not solid_fence(jig, free).intersects(obstacle)
    assert solid_fence(jig, touching).intersects(obstacle)
    for _ in range(60):
        middle = (free + touching) / 2
        if solid_fence(jig, middle).intersects(obstacle):
            touching = middle
        else:
            free = middle
    return (free + touching) / 2


@pytest.mark.parametrize("pivot", SIDES)
@pytest.mark.parametrize("fence", FENCES)
@pytest.mark.parametrize("rotation", [0.0003, -0.0003, 0.0011, -0.0011])
def test_the_procedure_in_the_hands_ends_square(pivot: str, fence: str, rotation: float) -> None:
    """Solid fence, solid leaves, solid stop: do what the text says, in its order."""
    jig = sled(pivot, fence, pivot_to_stop=480)
    distance = abs(rotation) * 480
    move = made(rotation, jig, (distance,))
    assert move.leaves == [distance]
    assert jig.lever is not None
    x_stop = pivot_at(jig) + jig.lever
    looks = 1.0 if fence == "near" else -1.0  # the way the working face looks, along Y
    face = y_at(fence_line(jig, rotation), x_stop)
    # A stop with a round nose, so that where it touches is one place.
    nose = 1.0

    def stop_at(y: float) -> Polygon:
        return Point(x_stop, y + looks * nose).buffer(nose, quad_segs=64)

    if "Hold the leaf against the working face" in move.text:
        assert leads_with_leaves(jig, move.way)
        stop = stop_at(face + looks * distance)  # leaves between face and stop, then out
        swing = -2 * rotation
        ended = swing_until_touching(jig, stop, rotation, swing)
    else:
        assert "Set a stop against the bare working face" in move.text
        backwards = "away from you" if looks < 0 else "toward you"
        assert f"move the sled fence {backwards}. Slip the leaf between" in move.text
        leaf = stop_at(face).buffer(distance, quad_segs=64)  # the stop with the leaf before it
        ended = swing_until_touching(jig, leaf, -3 * rotation, rotation)
    assert abs(ended) < 2e-3 * abs(rotation)


def test_unknown_distances_give_no_move_and_a_reason() -> None:
    assert fence_move(0.0003, 2e-5, None) is None
    bare = Jig(name="little")
    assert fence_move(0.0003, 2e-5, bare) is None
    assert why_no_move(bare) == Remark("no-lever", values={"jig": "little"})
    assert fence_move(0.0, 2e-5, sled()) is None
    assert why_no_move(sled()).code == "move-too-small"


def test_a_move_needs_no_distance_to_the_blade() -> None:
    move = fence_move(0.0003, 2e-5, Jig(name="s", pivot_to_screw=500))
    assert move is not None
    assert (move.end, move.way) == ("left", "away")


def test_the_stop_counts_for_the_move_and_the_screw_for_its_turns() -> None:
    jig = sled(pivot_to_stop=480.0, screw_pitch=1.25)
    move = made(0.0003, jig)
    assert move.distance == pytest.approx(0.0003 * 480)
    (screw,) = (step for step in move.steps if step.code == "move-jack-screw")
    assert screw.values["turns"] == pytest.approx(0.0003 * 500 / 1.25)
    assert "0.12 turn, 7 minutes on a clock face" in move.text
    assert "1.25 mm" in move.text
    assert "clockwise" not in move.text  # the hand of the thread is not known
    assert "turn," not in made(0.0003, sled(pivot_to_stop=480.0)).text
    without_screw = made(0.0003, Jig(name="s", pivot_to_stop=480, screw_pitch=1.25))
    assert "move-jack-screw" not in {step.code for step in without_screw.steps}


def test_turns_as_a_clock_shows_them() -> None:
    assert clock_words(0.12) == "0.12 turn, 7 minutes on a clock face"
    assert clock_words(0.05) == "0.05 turn, 3.0 minutes on a clock face"
    assert clock_words(1.5) == "1.50 turns, 1 full and 30 minutes on a clock face"
    assert clock_words(2.999) == "3.00 turns, 3 full and 0 minutes on a clock face"


def test_uncertainty_is_the_square_sum_of_its_parts() -> None:
    """JCGM 100:2008: uncorrelated parts add in squares (5.1.2), a rectangle has a / sqrt 3 (4.3.7)."""
    alone = move_uncertainty(2.1e-5, 0.0, 500, 0)
    assert alone == pytest.approx(2.1e-5 * 500)
    with_lever = move_uncertainty(2.1e-5, 0.0003, 500, 0)
    assert with_lever**2 - alone**2 == pytest.approx((1.96 * LEVER_SHARE * 0.0003 * 500) ** 2 / 3)
    stacks = [move_uncertainty(0.0, 0.0, 500, n) for n in (1, 2, 3)]
    known = [1.96 / math.sqrt(3) * (LEAF_TOLERANCE * math.sqrt(n) + FILM) for n in (1, 2, 3)]
    assert stacks == pytest.approx(known)
    assert move_uncertainty(0.0, 0.0, 500, 0) == 0.0
    assert made(0.0003, sled()).uncertainty < made(0.0003, sled(), (0.15,)).uncertainty


def test_no_leaf_so_thin() -> None:
    move = made(0.00003, sled(), (0.04, 0.05))
    assert move.leaves == []
    assert move.leaves_left_over == pytest.approx(move.distance)
    assert "Even the thinnest leaf is too thick. Do it live" in move.text
    assert "No leaves are listed" in made(0.00003, sled()).text


def test_a_stack_that_misses_says_by_how_much() -> None:
    short = made(0.003, sled(), (0.04, 0.05, 0.10, 0.15))
    assert short.leaves == [0.15, 0.10, 0.05]
    assert short.leaves_left_over == pytest.approx(1.2)
    assert "1.2 mm short" in short.text
    over = made(0.0003, sled(), (0.2,))
    assert over.leaves_left_over == pytest.approx(-0.05)
    assert "0.05 mm too thick" in over.text
    assert "short" not in made(0.0003, sled(), (0.15,)).text


@pytest.mark.parametrize("units", ["mm", "inch"])
@pytest.mark.parametrize("rotation", [0.0003, -0.0003])
def test_the_text_says_end_way_how_much_and_where_in_the_users_units(rotation: float, units: str) -> None:
    move = made(rotation, sled(pivot_to_stop=482.6), (0.0508, 0.1016), units)
    assert f"Move the left end {move.way}" in move.text
    if units == "mm":
        assert "482.6 mm from the pivot" in move.text
        assert "thou" not in move.text
    else:
        assert "19 in from the pivot" in move.text
        assert "4 thou + 2 thou" in move.text
        assert not re.search(r"\bmm\b", move.text)
    assert move.text.endswith("Then take the verifying passes.")

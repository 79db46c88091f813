"""The turned test board, against boards that a geometry library turns and cuts."""

import numpy as np
import pytest
import shapely
import shapely.affinity
from hypothesis import given
from hypothesis import strategies as st

from bench.geometry.board import board_rotation
from bench.geometry.columns import GeometryError


def cut_a_board(rotation, kept="left", size=440.0, strip=25.0, apart=369.42, crooked=0.0):
    """Five cuts of one board, seen from above: the blade cuts along x = 0, the fence runs through the origin
    turned by `rotation`, the board lies beyond it. Returns the strip's widths near the fence and far from it.
    """
    side = -1.0 if kept == "left" else 1.0  # where the board lies
    along = np.array([np.cos(rotation), np.sin(rotation)])
    keep = (
        shapely.box(-5000.0, -5000.0, 0.0, 5000.0)
        if kept == "left"
        else shapely.box(0.0, -5000.0, 5000.0, 5000.0)
    )
    board = shapely.Polygon([(0.0, 0.0), (size, crooked), (size - crooked, size + 3.0), (5.0, size)])
    edge = np.array([[0.0, 0.0], [size, crooked]])  # what lies on the fence, from left to right

    for turn in range(5):
        run = edge[1] - edge[0]
        angle = np.arctan2(along[1], along[0]) - np.arctan2(run[1], run[0])
        board = shapely.affinity.rotate(board, angle, origin=tuple(edge[0]), use_radians=True)
        board = shapely.affinity.translate(board, -edge[0][0], -edge[0][1])
        trim = strip if turn == 4 else 12.0  # more than the board is crooked: each cut runs clear through
        overhang = board.bounds[2] if kept == "left" else board.bounds[0]
        slide = (-side * trim - overhang) / along[0]
        board = shapely.affinity.translate(board, slide * along[0], slide * along[1])
        assert board.intersection(shapely.LineString([-5000 * along, 5000 * along]).buffer(1e-6)).length > 100
        off = board.difference(keep)
        board = board.intersection(keep)
        fresh = sorted(y for x, y in set(board.exterior.coords) if abs(x) < 1e-9)
        # the fresh edge goes onto the fence: its far end comes to the right turned clockwise, to the left
        # turned counter-clockwise
        ends = [[0.0, fresh[0]], [0.0, fresh[-1]]]
        edge = np.array(ends if kept == "left" else ends[::-1])

    def width(y):
        return shapely.intersection(off, shapely.LineString([(-5000.0, y), (5000.0, y)])).length

    return width(15.0), width(15.0 + apart)


@pytest.mark.parametrize("kept", ["left", "right"])
@pytest.mark.parametrize("rotation", [0.001, -0.001, 0.0003, 0.0])
def test_a_board_really_cut_five_times_tells_the_fence(rotation, kept):
    near, far = cut_a_board(rotation, kept)
    assert board_rotation([near], [far], 369.42, 4, kept) == pytest.approx(rotation, abs=2e-8)


@given(st.floats(-0.003, 0.003), st.floats(-3.0, 3.0), st.sampled_from(["left", "right"]))
def test_however_crooked_the_board_began(rotation, crooked, kept):
    near, far = cut_a_board(rotation, kept, crooked=crooked, apart=350.0)
    assert board_rotation([near], [far], 350.0, 4, kept) == pytest.approx(rotation, abs=2e-7)


def test_the_cut_that_was_worked_by_simulation():
    """Widths from independent simulations of boards being cut."""
    assert board_rotation([25.3921], [23.9144], 369.42) == pytest.approx(0.001, abs=1e-7)
    assert board_rotation([25.4081], [26.8801], 368.0) == pytest.approx(-0.001, abs=1e-7)
    assert board_rotation([25.3921], [23.9144], 369.42, kept="right") == pytest.approx(-0.001, abs=1e-7)


@given(st.floats(1.0, 50.0), st.floats(1.0, 50.0), st.floats(100.0, 600.0), st.floats(-0.5, 0.5))
def test_zero_errors_cancel_and_swapped_ends_flip(near, far, apart, zero):
    plain = board_rotation([near], [far], apart)
    assert board_rotation([near + zero], [far + zero], apart) == pytest.approx(plain, abs=1e-12)
    assert board_rotation([far], [near], apart) == pytest.approx(-plain)
    assert board_rotation([near], [far], apart, kept="right") == pytest.approx(-plain)


def test_an_end_without_a_width_says_so():
    with pytest.raises(GeometryError, match="far widths"):
        board_rotation([25.0], [], 400.0)

"""The forecast drawn: which way the edge leans is told against a body that is turned and cut by shapely."""

from __future__ import annotations

import pytest
from shapely import affinity
from shapely.geometry import Polygon, box

from bench.console.drawings.cut import draw_bars, draw_edge
from bench.console.drawings.glyphs import RICH

TURN = 0.3  # rad, far more than any fence, so that it is seen


def document(value: float, at: str) -> dict:
    row = {"part": "fence", "value": value, "standard_uncertainty": 1e-5, "check": "fence-square"}
    square = {"value": value, "uncertainty": 1e-5}
    return {"rows": [row], "square": square, "tolerance": 1e-4, "at": at}


def longer_away(turn: float, at: str) -> bool:
    """A board on a fence that is turned counter-clockwise by `turn`, cut along the travel: the part to that side."""
    board = affinity.rotate(box(-100, 0, 100, 60), turn, origin=(0, 0), use_radians=True)
    side = box(-500, -500, 0, 500) if at == "left" else box(0, -500, 500, 500)
    part = affinity.rotate(board.intersection(side), -turn, origin=(0, 0), use_radians=True)
    assert isinstance(part, Polygon)
    near, far = (part.intersection(box(-500, y, 500, y + 1)).bounds for y in (1.0, 58.0))
    reach = (far[2] - near[2]) if at == "left" else (near[0] - far[0])
    return reach > 0


@pytest.mark.parametrize("at", ["left", "right"])
@pytest.mark.parametrize("turn", [TURN, -TURN])
def test_edge_and_bars_lie_as_the_part_comes_out(turn: float, at: str) -> None:
    drawn = document(turn * 1e-3, at)
    edge = [_of(line, "trace") for line in draw_edge(drawn, 60, 9, RICH)]
    there = [column for column in edge if column is not None]
    leans_right = there[0] > there[-1]  # the first row is the farthest from the fence
    # to the left of the cut the part is longer where the edge leans right, to the right where it leans left
    assert (leans_right == (at == "left")) == longer_away(turn, at)
    (bar,) = draw_bars(drawn, 60, RICH)[1:]
    filled = [n for n, sign in enumerate("".join(text for text, _ in bar)) if sign == RICH.full]
    centre = "".join(text for text, _ in bar).index(RICH.down)
    assert (min(filled) > centre) == longer_away(turn, at)


def _of(line, role: str) -> int | None:
    """The first column of a row that is drawn in that role."""
    column = 0
    for text, its in line:
        if its == role:
            return column
        column += len(text)
    return None

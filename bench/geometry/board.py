"""Rotation of a fence from one test board turned and cut several times.

Rotation counter-clockwise positive; lengths in mm, angles in rad.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from bench.geometry.columns import Column, column
from bench.uncertainty.sweeps import scatter_within


@dataclass(frozen=True)
class BoardRotation:
    """rotation: rad, of the line the board rests on. reading: mm, standard deviation of
    one width, pooled over both ends, with its degrees_of_freedom: 0 where one reading
    at either end leaves it unknown."""

    rotation: float
    reading: float
    degrees_of_freedom: int


def board_rotation(
    near: Column,
    far: Column,
    apart: float,
    turns: int = 4,
    kept: Literal["left", "right"] = "left",
) -> BoardRotation:
    """Rotation a = (w_near - w_far) / (turns apart) from the strip cut along the first
    edge after n turns.

    near, far: (k,) widths read where the strip touched the fence and at its other end,
    `apart` mm from it. kept: the side of the blade the board lies on: left, the freshly
    cut edge turned clockwise onto the fence; right, counter-clockwise, which flips the
    sign; against a fence beyond the board the two change places. Four turns for the
    usual board with five cuts. A caliper's scale error cancels. Source: geometry of the
    turned board (proved in the tests by cutting one).
    """
    w_near, w_far = column("near widths", near), column("far widths", far)
    rotation = float(w_near.mean() - w_far.mean()) / (turns * apart)
    squares, freedom = scatter_within((w_near.tolist(), w_far.tolist()))
    reading = (squares / freedom) ** 0.5 if freedom else 0.0
    return BoardRotation(rotation if kept == "left" else -rotation, reading, freedom)

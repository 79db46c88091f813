"""Rotation of a fence from one test board turned and cut several times.

Rotation counter-clockwise positive; lengths in mm, angles in rad.
"""

from __future__ import annotations

from typing import Literal

from bench.geometry.columns import Column, column


def board_rotation(
    near: Column,
    far: Column,
    apart: float,
    turns: int = 4,
    kept: Literal["left", "right"] = "left",
) -> float:
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
    return rotation if kept == "left" else -rotation

"""Rotation of a fence from one test board turned and cut several times.

Rotation counter-clockwise positive; lengths in mm, angles in rad.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from bench.geometry.reversal import Column, GeometryError, column

# rad, one seating of the board; found by simulation of sleds, no source
DEFAULT_SEAT = 30e-6


@dataclass(frozen=True)
class BoardRotation:
    """rotation: rad, of the line the board rests on. parts: standard uncertainties,
    rad, by name.

    standard_uncertainty: all parts in quadrature. degrees_of_freedom: of the part
    "width repeatability", 0 where one reading at either end leaves it unknown (that
    part is then missing). taper: mm, w_near - w_far.
    """

    rotation: float
    standard_uncertainty: float
    parts: dict[str, float]
    degrees_of_freedom: float
    taper: float


def board_rotation(
    near: Column,
    far: Column,
    apart: float,
    turns: int = 4,
    kept: Literal["left", "right"] = "left",
    *,
    yaw_play: float = 0.0,
    seat: float = DEFAULT_SEAT,
    width_uncertainty: float | None = None,
    apart_uncertainty: float = 0.0,
) -> BoardRotation:
    """Rotation a = (w_near - w_far) / (turns apart) from the strip cut along the first
    edge after n turns.

    near, far: (k,) widths read where the strip touched the fence and at its other end,
    `apart` mm from it. kept: the side of the blade the board lies on: left, the freshly
    cut edge turned clockwise onto the fence; right, counter-clockwise, which flips the
    sign; against a fence beyond the board the two change places. Four turns for the
    usual board with five cuts. yaw_play: full range the sled can yaw in, rad: each cut
    falls anywhere in it, yaw_play / sqrt(12 turns). seat: standard uncertainty of one
    seating, rad: seat / sqrt(turns). width_uncertainty: standard uncertainty of one
    width, mm; from the scatter of the readings at both ends, pooled, unless given. With
    one reading an end the last is sqrt(2) u / (turns apart). A caliper's scale error
    cancels. Raises GeometryError for a length or a count that is not above zero.
    Source: geometry of the turned board (proved in the tests by cutting one); JCGM
    100:2008, 4.3.7 and 5.1.
    """
    w_near, w_far = column("near widths", near), column("far widths", far)
    if not apart > 0.0:
        raise GeometryError(
            f"apart {apart}: give the length between the places where the widths were"
            " read"
        )
    if turns < 1:
        raise GeometryError(
            f"turns {turns}: the board must have been turned once at least"
        )
    if min(yaw_play, seat, apart_uncertainty, width_uncertainty or 0.0) < 0.0:
        raise GeometryError("an uncertainty or a play below zero: give zero or more")
    taper = float(w_near.mean() - w_far.mean())
    rotation = taper / (turns * apart) * (1.0 if kept == "left" else -1.0)
    freedom = float(w_near.size + w_far.size - 2)
    if width_uncertainty is None and freedom > 0.0:
        squares = float(
            np.sum((w_near - w_near.mean()) ** 2) + np.sum((w_far - w_far.mean()) ** 2)
        )
        width_uncertainty = float(np.sqrt(squares / freedom))
    elif width_uncertainty is not None:
        freedom = float("inf")
    parts = {
        "play": yaw_play / float(np.sqrt(12.0 * turns)),
        "seat": seat / float(np.sqrt(turns)),
    }
    if width_uncertainty is not None:
        share = float(np.sqrt(1.0 / w_near.size + 1.0 / w_far.size))
        parts["width repeatability"] = width_uncertainty * share / (turns * apart)
    if apart_uncertainty:
        parts["length between widths"] = abs(rotation) * apart_uncertainty / apart
    total = float(np.sqrt(sum(u * u for u in parts.values())))
    return BoardRotation(rotation, total, parts, freedom, taper)

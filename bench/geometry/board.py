"""Rotation of a fence from one test board turned and cut several times.

Rotation counter-clockwise positive; lengths in mm, angles in rad.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from bench.geometry.columns import Column, GeometryError, column


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
    cut_scatter: float = 0.0,
    edge: float = 0.0,
    width_uncertainty: float | None = None,
    apart_uncertainty: float = 0.0,
) -> BoardRotation:
    """Rotation a = (w_near - w_far) / (turns apart) from the strip cut along the first
    edge after n turns.

    near, far: (k,) widths read where the strip touched the fence and at its other end,
    `apart` mm from it. kept: the side of the blade the board lies on: left, the freshly
    cut edge turned clockwise onto the fence; right, counter-clockwise, which flips the
    sign; against a fence beyond the board the two change places. Four turns for the
    usual board with five cuts. cut_scatter: standard deviation of the direction of one
    cut, rad (hold, play and seating together): cut_scatter / sqrt(turns). edge:
    standard uncertainty in mm by which the strip's edge at the place of a width stands
    off its line, at either end: sqrt(2) edge / (turns apart), however often the width
    is read. width_uncertainty: standard uncertainty of one
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
    if min(cut_scatter, edge, apart_uncertainty, width_uncertainty or 0.0) < 0.0:
        raise GeometryError("an uncertainty below zero: give zero or more")
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
        "scatter of the cuts": cut_scatter / float(np.sqrt(turns)),
        "edge of the strip": edge * float(np.sqrt(2.0)) / (turns * apart),
    }
    if width_uncertainty is not None:
        share = float(np.sqrt(1.0 / w_near.size + 1.0 / w_far.size))
        parts["width repeatability"] = width_uncertainty * share / (turns * apart)
    if apart_uncertainty:
        parts["length between widths"] = abs(rotation) * apart_uncertainty / apart
    total = float(np.sqrt(sum(u * u for u in parts.values())))
    return BoardRotation(rotation, total, parts, freedom, taper)

"""The contact line of a board that is pushed against a fence: an edge of the convex
hull of the fence's profile.

Frame: +X right, +Y away from the operator, rotation counter-clockwise positive. Lengths
in mm, rotations in rad.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from bench.geometry.columns import (
    Array,
    Column,
    GeometryError,
    least_of_convex,
    noisy_copies,
    paired,
)
from bench.geometry.reversal import interpolation_matrix

# mm by which a push may be off its place; common practice, no source
EITHER_SIDE = 50.0


def upper_hull(x: Column, y: Column) -> list[int]:
    """Indices of the corners of the upper convex hull, left to right; points on an edge
    are left out.

    Source: monotone chain, A. M. Andrew (1979), Information Processing Letters 9(5),
    216-219.
    """
    xs, ys = paired(x, y, at_least=1)
    order = np.lexsort((ys, xs)).tolist()
    px, py = xs.tolist(), ys.tolist()
    corners: list[int] = []
    for i in order:
        if corners and px[corners[-1]] == px[i]:
            # sorted by height within one position: the later is the higher
            corners.pop()
        while len(corners) >= 2:
            a, b = corners[-2], corners[-1]
            if (px[b] - px[a]) * (py[i] - py[a]) >= (px[i] - px[a]) * (py[b] - py[a]):
                corners.pop()
            else:
                break
        corners.append(i)
    return corners


def lower_hull(x: Column, y: Column) -> list[int]:
    """Indices of the corners of the lower convex hull, left to right; points on an edge
    are left out."""
    return upper_hull(x, -np.asarray(y, dtype=np.float64))


@dataclass(frozen=True, eq=False)
class ContactLine:
    """The line a board rests on.

    rotation: rad. standard_uncertainty: rad, None without noise. copies: rotations of
    noisy copies of the profile (the same ones for every board on it, so boards can be
    compared copy by copy), else None. edge: the two places that carry the board
    (outermost of two edges where it is pushed exactly at the place between them). span:
    least and largest rotation for pushes up to `either_side` away, and for either way
    of rocking on a single place. board: the stretch that was used, cut to the profile.
    sensitivity: (n,) change of rotation per mm of each height.
    """

    rotation: float
    standard_uncertainty: float | None
    edge: tuple[float, float]
    span: tuple[float, float]
    board: tuple[float, float]
    sensitivity: Array = field(repr=False)
    copies: Array | None = field(default=None, repr=False)


def contact_line(
    x: Column,
    y: Column,
    board_from: float,
    board_to: float,
    pushed_at: float,
    *,
    fence: Literal["near", "far"] = "near",
    either_side: float = EITHER_SIDE,
    noise: Column | None = None,
) -> ContactLine:
    """Rotation of the line on which a board from `board_from` to `board_to` rests when
    pushed at `pushed_at`.

    x: (n,) places along the fence, all different. y: (n,) the face's place along +Y (so
    a face that stands proud is +y on a near fence and -y on a far one). The board lies
    beyond a near fence (upper hull) and on the near side of a far one (lower hull); the
    edge of the hull that spans the push carries it. Between samples the face is taken
    as straight; a board reaching past the profile is cut to it. Pushed exactly at a
    corner of the hull the board can rock either way: the mean of both edges. noise: of
    the heights, as in `reversal.standard_uncertainty`. It moves the carrying places
    too, so it is propagated through copies of the profile with noise added: their
    scatter, and how far their mean lies off. Raises GeometryError where board and
    profile have no stretch in common or the push is beside it.
    """
    xs, ys = paired(x, y)
    places = _places(xs, board_from, board_to, pushed_at)
    left, right = float(places[0]), float(places[-1])
    slack = 1e-9 * (right - left)
    matrix = interpolation_matrix(xs, places)
    heights = matrix @ ys
    hull = upper_hull if fence == "near" else lower_hull
    corners = hull(places, heights)
    at = places[corners]
    slopes = np.diff(heights[corners]) / np.diff(at)
    first, last = _edges_at(at, pushed_at, slack)
    turns = np.diff(matrix[corners], axis=0) / np.diff(at)[:, None]
    begin, _ = _edges_at(at, max(pushed_at - either_side, left), slack)
    _, end = _edges_at(at, min(pushed_at + either_side, right), slack)
    nearby = slopes[begin : end + 1]
    rotation = float(np.mean(slopes[first : last + 1]))
    copies = uncertainty = None
    if noise is not None:
        noisy = noisy_copies(ys, noise) @ matrix.T
        copies = _rotations(places - pushed_at, noisy, fence)
        uncertainty = float(np.hypot(copies.std(ddof=1), copies.mean() - rotation))
    edge = float(at[first]), float(at[last + 1])
    span = float(nearby.min()), float(nearby.max())
    turn = np.mean(turns[first : last + 1], axis=0)
    return ContactLine(rotation, uncertainty, edge, span, (left, right), turn, copies)


def _places(xs: Array, board_from: float, board_to: float, pushed_at: float) -> Array:
    """The ends of what the board and the profile have in common, and the places of the
    profile between them."""
    knots = np.sort(xs)
    left, right = max(board_from, float(knots[0])), min(board_to, float(knots[-1]))
    if not right > left:
        raise GeometryError(
            f"the board from {board_from:g} to {board_to:g} mm meets none of the"
            f" profile: that is from {knots[0]:g} to {knots[-1]:g} mm"
        )
    slack = 1e-9 * (right - left)
    if not left - slack <= pushed_at <= right + slack:
        raise GeometryError(
            f"pushed at {pushed_at:g} mm, beside the stretch {left:g} to {right:g} mm"
        )
    within = knots[(knots > left + slack) & (knots < right - slack)]
    return np.concatenate(([left], within, [right]))


def _rotations(
    from_push: Array, heights: Array, fence: Literal["near", "far"]
) -> Array:
    """Rotations (m,) for profiles (m, k) at once: of all lines above a profile, the one
    that carries the board is the lowest at the push, so its slope makes max(y - slope
    x) least.
    """
    up = heights if fence == "near" else -heights
    steepest = np.max(np.abs(np.diff(up, axis=1) / np.diff(from_push)), axis=1)
    found = least_of_convex(
        lambda m: np.max(up - m[:, None] * from_push, axis=1), -steepest, steepest
    )
    return found if fence == "near" else -found


def _edges_at(corners: Array, place: float, slack: float) -> tuple[int, int]:
    """First and last edge of the hull that reaches a place: two different ones only at
    a corner."""
    last_edge = corners.size - 2
    first = int(np.searchsorted(corners, place - slack, side="left")) - 1
    last = int(np.searchsorted(corners, place + slack, side="right")) - 1
    return min(max(first, 0), last_edge), min(max(last, 0), last_edge)

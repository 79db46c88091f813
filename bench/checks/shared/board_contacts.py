"""The lines that boards rest on along a sled fence whose profile is known.

A board rests on what stands highest, and that is a texture of millimetres as much as a
form of hand's breadths. The texture is what is left of the readings when the average is
taken off, where the passes agree on it: the profile no longer has it.

Lengths in mm, rotations in rad.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np

from bench.checks.model import Evidence, Trace
from bench.checks.shared.face_profile import SINGLE_FACE, Face, pass_scatter
from bench.checks.shared.results import budget_of, direction_rows
from bench.finding import Contact, Remark, note
from bench.geometry.cells import Array
from bench.geometry.contact import EITHER_SIDE, contact_line
from bench.geometry.reversal import WINDOW, level, smooth
from bench.uncertainty.budget import Part

Side = Literal["near", "far"]  # of the board, on which the sled fence stands

# mm of fence that a board must rest on to be told apart from a point
LEAST_BOARD = 50.0
TEXTURE_STEP = 1.0  # mm: places of the texture
FEWEST_AVERAGED = 3  # readings in what is averaged, else there is no texture to be seen


def _boards(
    evidence: Evidence, face: Face, remarks: list[Remark]
) -> list[tuple[float, float]]:
    """The widest board left of the blade, over it and right of it; else the whole
    profile and each half."""
    low, high = float(face.x[0]), float(face.x[-1])
    middle = (low + high) / 2
    plain = [(low, high), (low, middle), (middle, high)]
    jig = evidence.gear.jig
    wide = jig.widest_board if jig is not None else None
    if wide is None:
        return plain
    stretches = ((-wide, 0.0), (-wide / 2, wide / 2), (0.0, wide))
    cuts = dict.fromkeys((max(low, a), min(high, b)) for a, b in stretches)
    boards = [(a, b) for a, b in cuts if b - a >= max(LEAST_BOARD, 0.5 * wide)]
    if not boards:
        short = note("profile-short", **{"from": low, "to": high, "board": wide})
        remarks.append(short)
        return plain
    if max(stop - start for start, stop in boards) < wide - 5.0:
        remarks.append(note("profile-ends", board=wide))
    return boards


def contacts(
    evidence: Evidence,
    face: Face,
    placements: Sequence[str],
    rest: Sequence[Part | None],
    remarks: list[Remark],
) -> list[Contact]:
    """The line each board rests on when pushed at its middle, relative to the profile's
    own line."""
    fine = texture(face, evidence.traces, placements)
    side: Side = "far" if evidence.gear.far else "near"
    lines: list[Contact] = []
    boards = _boards(evidence, face, remarks)
    for board in (one for one in boards if one[1] - one[0] >= LEAST_BOARD):
        line, (low, high) = _contact(evidence, face, board, side, rest, fine)
        lines.append(line)
        if max(high - line.rotation, line.rotation - low) > line.uncertainty:
            stretch = {"from": line.from_, "to": line.to, "low": low, "high": high}
            remarks.append(note("board-turns", **stretch, either_side=EITHER_SIDE))
    return lines


def _contact(
    evidence: Evidence,
    face: Face,
    board: tuple[float, float],
    side: Side,
    rest: Sequence[Part | None],
    fine: tuple[Array, Array] | None,
) -> tuple[Contact, tuple[float, float]]:
    """One board's line, and the span of rotations for pushes to either side."""
    pushed, sign = sum(board) / 2, 1.0 if side == "near" else -1.0
    found = contact_line(
        face.x,
        sign * face.f,
        *board,
        pushed,
        fence=side,
        noise=face.covariance,
    )
    per = 2**0.5 / max(abs(found.edge[1] - found.edge[0]), LEAST_BOARD)
    of_passes = pass_scatter(face, sign * found.sensitivity, SINGLE_FACE * per)
    # a board stands on the texture that the average no longer has: as much again as
    # that was seen to turn it
    missed = contact_missed(face, fine, board, side)
    rows = [
        *of_passes.rows(found.standard_uncertainty or 0.0),
        *(Part(p.name, p.type, p.standard_uncertainty * per) for p in rest if p),
        face.bend_row(found.sensitivity),
        Part("form averaged away", "B", missed) if missed else None,
        *direction_rows(evidence, found.rotation),
    ]
    budget = budget_of(evidence, rows)
    return Contact(*board, pushed, found.rotation, budget.expanded), found.span


def texture(
    face: Face, traces: Sequence[Trace], placements: Sequence[str]
) -> tuple[Array, Array] | None:
    """(m,) places and (m,) mm of texture, the mean of the placements; None where
    readings stand too far apart.

    The straightedge's own texture is in it, of either sign: it makes the face look
    rougher, never smoother.
    """
    start, reach = float(face.x[0]), face.length
    cells = int(reach / TEXTURE_STEP)
    if (
        max(face.apart, TEXTURE_STEP) * FEWEST_AVERAGED > WINDOW
        or cells < FEWEST_AVERAGED
    ):
        return None
    at = start + (np.arange(cells) + 0.5) * reach / cells
    seen = []
    for placement in placements:
        passes = []
        for trace in traces:
            if trace.placement != placement or not trace.push:
                continue
            x, r = np.asarray(trace.travel), np.asarray(trace.reading)
            inside = (x >= start) & (x <= start + reach)
            if inside.sum() < FEWEST_AVERAGED:
                continue
            order = np.argsort(x[inside], kind="stable")
            places, heights = x[inside][order], level(x[inside], r[inside])[order]
            passes.append(np.interp(at, places, heights))
        if not passes:
            return None
        middle = np.median(passes, axis=0)  # a grain in one pass is no texture
        seen.append(middle - smooth(at, middle, at, WINDOW))
    return at, np.asarray(np.mean(seen, axis=0))


def contact_missed(
    face: Face,
    fine: tuple[Array, Array] | None,
    board: tuple[float, float],
    fence: Side,
) -> float:
    """rad by which a board turns on the textured face against the averaged one; 0 where
    no texture is known."""
    if fine is None:
        return 0.0
    sign = 1.0 if fence == "near" else -1.0
    at, rough = fine
    pushed = sum(board) / 2
    plain = sign * np.interp(at, face.x, face.f)
    averaged = contact_line(at, plain, *board, pushed, fence=fence)
    textured = contact_line(at, plain + sign * rough, *board, pushed, fence=fence)
    return abs(float(textured.rotation - averaged.rotation))

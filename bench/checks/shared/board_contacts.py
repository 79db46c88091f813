"""The lines that boards rest on along a sled fence whose profile is known.

Lengths in mm, rotations in rad.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from bench.checks.model import Evidence
from bench.checks.shared.edge_bending import Bending
from bench.checks.shared.face_profile import SINGLE, Face, pass_scatter
from bench.finding import Contact, Remark, note
from bench.uncertainty import Part, combine, tilt, travel_scale

AS_IS, ROLLED = "as-is", "rolled-over"
# mm of fence that a board must rest on to be told apart from a point
LEAST_BOARD = 50.0
EITHER_SIDE = 50.0  # mm by which a push may be off the board's middle


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
    boards: list[tuple[float, float]] = []
    for start, stop in ((-wide, 0.0), (-wide / 2, wide / 2), (0.0, wide)):
        cut = (max(low, start), min(high, stop))
        if cut[1] - cut[0] >= max(LEAST_BOARD, 0.5 * wide) and cut not in boards:
            boards.append(cut)
    if not boards:
        remarks.append(
            note("profile-short", **{"from": low, "to": high, "board": wide})
        )
        return plain
    if max(stop - start for start, stop in boards) < wide - 5.0:
        remarks.append(note("profile-ends", board=wide))
    return boards


def contacts(
    evidence: Evidence,
    face: Face,
    rest: Sequence[Part | None],
    bent: Bending,
    confidence: float,
    remarks: list[Remark],
) -> list[Contact]:
    """The line each board rests on when pushed at its middle, relative to the profile's
    own line."""
    from bench.checks.shared.face_texture import contact_missed, texture
    from bench.geometry.contact import contact_line

    fine = texture(
        face, evidence.traces, (AS_IS, ROLLED) if face.g is not None else (AS_IS,)
    )
    jig = evidence.gear.jig
    sign: float = -1.0 if jig is not None and jig.fence == "far" else 1.0
    side: Literal["near", "far"] = "near" if sign > 0 else "far"
    lines: list[Contact] = []
    for start, stop in _boards(evidence, face, remarks):
        if stop - start < LEAST_BOARD:
            continue
        pushed = (start + stop) / 2
        plain = contact_line(face.x, sign * face.f, start, stop, pushed, fence=side)
        edge = max(abs(plain.edge[1] - plain.edge[0]), LEAST_BOARD)
        of_passes = pass_scatter(face, sign * plain.sensitivity, SINGLE * 2**0.5 / edge)
        found = contact_line(
            face.x,
            sign * face.f,
            start,
            stop,
            pushed,
            fence=side,
            either_side=EITHER_SIDE,
            noise=face.covariance,
        )
        rotation = float(found.rotation)
        scatter = of_passes.rows(float(found.standard_uncertainty or 0.0))
        rows = [
            (
                None
                if p is None
                else Part(p.name, p.type, p.standard_uncertainty * 2**0.5 / edge)
            )
            for p in rest
        ]
        gear = evidence.gear
        # a board stands on the texture that the average no longer has: as much again as
        # that was seen to turn it
        missed = contact_missed(face, fine, (start, stop), pushed, side)
        combined = combine(
            [
                *scatter,
                *rows,
                bent.row(plain.sensitivity),
                Part("form averaged away", "B", missed) if missed else None,
                travel_scale(rotation, gear.travel.scale_error),
                tilt(rotation, gear.indicator.tilt),
            ],
            confidence,
        )
        lines.append(Contact(start, stop, pushed, rotation, combined.expanded))
        low, high = found.span
        if max(high - rotation, rotation - low) > combined.expanded:
            remarks.append(
                note(
                    "board-turns",
                    **{
                        "from": start,
                        "to": stop,
                        "low": float(low),
                        "high": float(high),
                        "either_side": EITHER_SIDE,
                    },
                )
            )
    return lines

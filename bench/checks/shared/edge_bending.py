"""How far the straightedge gives way under the indicator and the hand that pushes it,
alike as it lies and rolled over: reversal does not take it out. Lengths in mm, forces
in N.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import msgspec
import numpy as np

from bench.checks.model import Evidence
from bench.checks.options import given_number, number
from bench.checks.shared.face_profile import Face
from bench.checks.shared.straightedge import MODULUS
from bench.finding import Remark, note
from bench.geometry.cells import Array
from bench.geometry.columns import Column
from bench.geometry.reversal import levelling_matrix
from bench.geometry.straightness import Straightness
from bench.uncertainty import Part, rectangular

FORCE = 5.0  # N across the straightedge, of a hand that is not light; common practice
# mm, standard uncertainty at the middle where no size is said; common practice, no
# source
BEND = 0.005
# how many times as hard as with two fingers a whole hand presses; common practice, no
# source
HARDER = 2.5, 8.0


class Bending(msgspec.Struct, frozen=True):
    """profile: (n,) mm, standard uncertainty of how far the straightedge gives way at
    the places of the face."""

    profile: Array

    def row(self, sensitivity: Array) -> Part:
        """Of a number that is `sensitivity` times the heights of the face."""
        share = abs(float(sensitivity @ self.profile))
        return Part("straightedge that bends", "B", share)

    def row_of(self, face: Face, fit: Callable[[Column, Column], Straightness]) -> Part:
        """Of a straightness, which is no linear number of the heights: what bending
        either way does to it."""
        bend = math.sqrt(3) * self.profile
        plain, *bent = (
            float(fit(face.x, face.f + way * bend).straightness) for way in (0, 1, -1)
        )
        moved = max(abs(one - plain) for one in bent)
        return rectangular("straightedge that bends", moved)


def bending(evidence: Evidence, face: Face) -> tuple[Face, Bending, Remark]:
    """From the passes that were pressed, else from the straightedge's size, else as
    usual; the face without what was seen of it, and what is said of it.

    A beam on two blocks, the force at its middle, gives way there by F L^3 / (48 E I),
    I = h t^3 / 12 of a section t thick in the direction of the force and h high; and by
    16 u^2 (1 - u)^2 of that under a force at the share u of the span. The force may go
    either way: that is a rectangular half-width. Source: the simply supported beam,
    e.g. W. C. Young and R. G. Budynas (2002), Roark's Formulas for Stress and Strain,
    7th ed., table 8.1, case 1e (from memory); JCGM 100:2008, 4.3.7.
    """
    if face.pressed:
        return _as_pressed(face)
    options = evidence.options
    thick = given_number(options, "straightedge_thick")
    high = given_number(options, "straightedge_high")
    span = number(options, "straightedge_span", face.length)
    shape = _shape(face, span)
    if thick is None or high is None:
        said = note("straightedge-bends-usual", bend=BEND)
        return face, Bending(BEND * shape), said
    modulus = MODULUS[str(options.get("straightedge_of") or "steel")]
    gives = gives_way(FORCE, span, thick, high, modulus)
    said = note("straightedge-bends", gives=gives)
    return face, Bending(gives / math.sqrt(3) * shape), said


def _as_pressed(face: Face) -> tuple[Face, Bending, Remark]:
    """What pressing HARDER times as hard adds to the passes as it lies, taken in
    proportion from the face.

    A beam's form under a force that moves along it is of the fourth degree, wherever
    the blocks stand. It gives way in proportion to the force.
    """
    least, most = (1 / (times - 1) for times in reversed(HARDER))
    share, either_way = (least + most) / 2, (most - least) / 2
    u = (2 * face.x - face.x[0] - face.x[-1]) / face.length
    design = np.polynomial.legendre.legvander(u, 4)
    fit = levelling_matrix(face.x) @ design[:, 2:] @ np.linalg.pinv(design)[2:]
    first = face.lines[0]
    more = fit @ (np.mean(face.pressed, axis=0) - np.mean(first, axis=0))
    weight = face.weights[0]
    as_it_lies = (weight * np.eye(u.size) + share * fit) / (weight + share)
    one = face.covariance / face.share
    lines = [
        [as_it_lies @ line for line in first],
        *face.lines[1:],
        [-fit @ line for line in face.pressed],
    ]
    weights = (weight + share, *face.weights[1:], share)
    turns = (as_it_lies, *[np.eye(u.size)] * (len(lines) - 2), fit)
    parts = [
        w * w / len(group) * (turn @ one @ turn.T)
        for w, group, turn in zip(weights, lines, turns, strict=True)
    ]
    taken_off = msgspec.structs.replace(
        face,
        f=face.f - share * more,
        lines=lines,
        weights=weights,
        covariance=np.sum(parts, axis=0),
    )
    gives = float(np.max(np.abs(more)))
    said = note("straightedge-pressed", gives=gives, off=share * gives)
    return taken_off, Bending(either_way / math.sqrt(3) * more), said


def gives_way(
    force: float, span: float, thick: float, high: float, modulus: float
) -> float:
    """mm at the middle of a beam on two blocks `span` apart, force there in N, modulus
    in N/mm^2."""
    moment_of_area = high * thick**3 / 12.0
    return force * span**3 / (48.0 * modulus * moment_of_area)


def _shape(face: Face, span: float) -> Array:
    middle = (face.x[0] + face.x[-1]) / 2.0
    u = np.clip((face.x - middle) / max(span, face.length) + 0.5, 0.0, 1.0)
    return np.asarray(16.0 * u**2 * (1.0 - u) ** 2, dtype=np.float64)

"""How far the straightedge gives way under the indicator and the hand that pushes it,
alike as it lies and rolled over: reversal does not take it out. Lengths in mm, forces
in N.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Evidence
from bench.checks.options import Option, given_number, number
from bench.checks.shared.face_profile import Face
from bench.finding import Remark

if TYPE_CHECKING:
    from bench.geometry.cells import Array
    from bench.geometry.straightness import Straightness
    from bench.uncertainty import Part

# N/mm^2, modulus of elasticity of steel and of aluminium alloys: EN 1993-1-1:2005,
# 3.2.6, and EN 1999-1-1:2007, 3.2.5
MODULUS = {"steel": 210e3, "aluminium": 70e3}
FORCE = 5.0  # N across the straightedge, of a hand that is not light; common practice
# mm, standard uncertainty at the middle where no size is said; common practice, no
# source
BEND = 0.005


class Bending(msgspec.Struct, frozen=True):
    """at_middle: mm, standard uncertainty of how far the middle gives way. shape: (n,)
    of it at the places of the face, 1 at the middle of the blocks."""

    at_middle: float
    shape: Array

    def row(self, sensitivity: Array) -> Part:
        """Of a number that is `sensitivity` times the heights of the face."""
        from bench.uncertainty import Part

        share = abs(float(sensitivity @ self.shape))
        return Part("straightedge that bends", "B", share * self.at_middle)

    def row_of(self, face: Face, fit: Callable[[Array, Array], Straightness]) -> Part:
        """Of a straightness, which is no linear number of the heights: what bending
        either way does to it."""
        from bench.uncertainty import rectangular

        bend = math.sqrt(3) * self.at_middle * self.shape
        plain, *bent = (
            float(fit(face.x, face.f + way * bend).straightness) for way in (0, 1, -1)
        )
        moved = max(abs(one - plain) for one in bent)
        return rectangular("straightedge that bends", moved)


def bending(evidence: Evidence, face: Face) -> tuple[Bending, list[Remark]]:
    """From the straightedge's size, else as usual; what is said of it.

    A beam on two blocks, the force at its middle, gives way there by F L^3 / (48 E I),
    I = h t^3 / 12 of a section t thick in the direction of the force and h high; and by
    16 u^2 (1 - u)^2 of that under a force at the share u of the span. The force may go
    either way: that is a rectangular half-width. Source: the simply supported beam,
    e.g. W. C. Young and R. G. Budynas (2002), Roark's Formulas for Stress and Strain,
    7th ed., table 8.1, case 1e (from memory); JCGM 100:2008, 4.3.7.
    """
    options = evidence.options
    thick = given_number(options, "straightedge_thick")
    high = given_number(options, "straightedge_high")
    span = number(options, "straightedge_span", face.length)
    shape = _shape(face, span)
    if thick is None or high is None:
        usual = {"bend": BEND}
        return Bending(BEND, shape), [Remark("straightedge-bends-usual", values=usual)]
    modulus = MODULUS[str(options.get("straightedge_of") or "steel")]
    gives = gives_way(FORCE, span, thick, high, modulus)
    return Bending(gives / math.sqrt(3), shape), [
        Remark("straightedge-bends", values={"gives": gives})
    ]


def gives_way(
    force: float, span: float, thick: float, high: float, modulus: float
) -> float:
    """mm at the middle of a beam on two blocks `span` apart, force there in N, modulus
    in N/mm^2."""
    moment_of_area = high * thick**3 / 12.0
    return force * span**3 / (48.0 * modulus * moment_of_area)


def _shape(face: Face, span: float) -> Array:
    import numpy as np

    middle = (face.x[0] + face.x[-1]) / 2.0
    u = np.clip((face.x - middle) / max(span, face.length) + 0.5, 0.0, 1.0)
    return np.asarray(16.0 * u**2 * (1.0 - u) ** 2, dtype=np.float64)


BENDING_OPTIONS = (
    Option(
        "straightedge_thick",
        "length",
        "How thick the straightedge is, across the sled fence",
        low=0.5,
        high=200.0,
        needs="straightedge_high",
    ),
    Option(
        "straightedge_high",
        "length",
        "How high it stands above the sled's base",
        low=0.5,
        high=500.0,
        needs="straightedge_thick",
    ),
    Option(
        "straightedge_span",
        "length",
        "How far apart the blocks stand; else a pass's length",
        low=50.0,
        high=5000.0,
        needs="straightedge_thick",
    ),
    Option(
        "straightedge_of",
        "choice",
        "What the straightedge is of",
        None,
        tuple(MODULUS),
        needs="straightedge_thick",
    ),
)

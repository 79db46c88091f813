"""The leaf proof: a leaf of known thickness under the tip proves unit and way. Pure.

Lengths in mm. A leaf slipped under the tip pushes the plunger in by its thickness,
whatever the instrument calls that.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from bench.procedure.remark import Remark
from bench.units import INCH

SLACK = 0.01  # mm: burr, bow and dirt of a leaf (common practice, no source)
COUNTS = 2.0  # of the instrument, one for each reading
COARSE = 3.0  # a leaf must be so many counts thick to prove anything
FEWEST_COUNTS = 4.0  # a smaller change tells nothing of a factor
# relative: how near to a factor a contradiction must be to be called by its name
NEAR = 0.12
THINNEST, THICKEST = 0.02, 5.0  # mm

Outcome = Literal[
    "proved", "nothing", "way", "inches", "millimetres", "decimals", "other"
]


class Proof(NamedTuple):
    """factor: of the change to the leaf, where the outcome names one."""

    outcome: Outcome
    factor: float = 1.0


def allowed(count: float) -> float:
    """mm by which the change may differ from the leaf."""
    return COUNTS * count + SLACK


def judge_leaf(change: float, leaf: float, count: float) -> Proof:
    """change: of the reading, in mm, growing as the plunger is pushed in."""
    near = allowed(count)
    if abs(change - leaf) <= near:
        return Proof("proved")
    if abs(change + leaf) <= near:
        return Proof("way")
    if _like(change, leaf / INCH, count):
        return Proof("inches", 1 / INCH)
    if _like(change, leaf * INCH, count):
        return Proof("millimetres", INCH)
    for factor in (0.001, 0.01, 0.1, 10.0, 100.0, 1000.0):
        if _like(change, leaf * factor, count):
            return Proof("decimals", factor)
    if abs(change) < max(FEWEST_COUNTS * count, SLACK):
        return Proof("nothing")
    return Proof("other")


def leaf_remark(proof: Proof, change: float, leaf: float) -> Remark:
    """What the proof showed, for the person."""
    factor = proof.factor
    values = {"seen": abs(change), "leaf": leaf, "factor": factor, "part": 1 / factor}
    if proof.outcome == "proved":
        return Remark("leaf-proved", values)
    if proof.outcome == "way":
        return Remark("leaf-wrong-way", values)
    if proof.outcome == "inches":
        return Remark("leaf-inches", values)
    if proof.outcome == "millimetres":
        return Remark("leaf-millimetres", values)
    if proof.outcome == "decimals":
        more = factor > 1
        return Remark("leaf-decimals-more" if more else "leaf-decimals-less", values)
    if proof.outcome == "nothing":
        return Remark("leaf-nothing", values)
    return Remark("leaf-other-out" if change < 0 else "leaf-other", values)


def too_coarse(leaf: float, count: float) -> bool:
    return leaf < COARSE * count - 1e-9


def _like(change: float, wanted: float, count: float) -> bool:
    """A change that is some counts at the least, and near to what is wanted."""
    return wanted >= FEWEST_COUNTS * count and abs(change - wanted) <= max(
        NEAR * wanted, min(1.5 * count, 0.3 * wanted)
    )

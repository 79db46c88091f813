"""The leaf proof: a leaf of known thickness under the tip proves unit and way. Pure.

Lengths in mm. A leaf slipped under the tip pushes the plunger in by its thickness,
whatever the instrument calls that.
"""

from __future__ import annotations

from typing import Literal, NamedTuple

from bench.units import INCH, System, length_words

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
    outcome: Outcome
    words: str


def allowed(count: float) -> float:
    """mm by which the change may differ from the leaf."""
    return COUNTS * count + SLACK


def judge_leaf(change: float, leaf: float, count: float, units: System) -> Proof:
    """change: of the reading as it is understood (growing as the plunger is pushed in)."""
    seen, is_ = (
        length_words(abs(x), units, 3 if units == "mm" else 1) for x in (change, leaf)
    )
    near = allowed(count)
    if abs(change - leaf) <= near:
        return Proof("proved", f"I saw {seen} going in: right unit, right way.")
    if abs(change + leaf) <= near:
        return Proof(
            "way",
            f"I saw {seen} going OUT where a leaf of {is_} pushes it in: the way is"
            " wrong. Nothing is kept; find the indicator again by pressing its"
            " plunger in.",
        )
    for factor, outcome in ((1 / INCH, "inches"), (INCH, "millimetres")):
        if _like(change, leaf * factor, count):
            shown = (
                "inches and is taken for millimetres"
                if factor < 1
                else "millimetres, taken for inches"
            )
            return Proof(
                outcome,  # type: ignore[arg-type]
                f"I saw {seen} where the leaf is {is_}: {_times(factor)}. The"
                f" instrument shows {shown}. Nothing is kept.",
            )
    for factor in (0.001, 0.01, 0.1, 10.0, 100.0, 1000.0):
        if _like(change, leaf * factor, count):
            return Proof(
                "decimals",
                f"I saw {seen} where the leaf is {is_}: {_times(factor)}. Decimals are"
                " lost or added. Nothing is kept; decimals in the settings says how"
                " many there are.",
            )
    if abs(change) < max(FEWEST_COUNTS * count, SLACK):
        return Proof(
            "nothing", f"The number did not change ({seen}): is the leaf under the tip?"
        )
    out = " going OUT" if change < 0 else ""
    return Proof(
        "other",
        f"I saw {seen}{out} where the leaf is {is_}. Is it that leaf, and clean?"
        " Nothing is kept; prove it again.",
    )


def too_coarse(leaf: float, count: float) -> bool:
    return leaf < COARSE * count - 1e-9


def _like(change: float, wanted: float, count: float) -> bool:
    """A change that is some counts at the least, and near to what is wanted."""
    return wanted >= FEWEST_COUNTS * count and abs(change - wanted) <= max(
        NEAR * wanted, min(1.5 * count, 0.3 * wanted)
    )


def _times(factor: float) -> str:
    return f"{factor:g} times as much" if factor > 1 else f"1/{1 / factor:g} of it"

"""Moves of the saw itself: the rip fence's rear end, and the blade's carriage or the
table.

Frame as everywhere: +X right, rotation positive counter-clockwise, so the rear end of a
thing turned by a stands a times its length to the left. Pure; mm and rad.
"""

from __future__ import annotations

from typing import Literal

import msgspec

from bench.finding import Finding
from bench.gear import LeftRight, Saw
from bench.units import System, give_or_take, length_words

# the two values of `way` that a quantity of a rip fence has; the second is a danger
OPENS, CLOSES = "opens at the rear", "closes at the rear"


class Alignment(msgspec.Struct, frozen=True):
    """dx: mm its rear end must go, positive right. way, distance: the same in words;
    text: one sentence."""

    dx: float
    way: LeftRight
    distance: float
    uncertainty: float
    text: str


def opening(toe: float, rip_fence: LeftRight) -> float:
    """How far the rip fence opens at the rear, rad; negative: it closes on the blade.

    toe: b_fence - b_blade. On the right of the blade negative opens, on the left
    positive.
    """
    return -toe if rip_fence == "right" else toe


def rear_dx(rotation: float, span: float) -> float:
    """mm the rear end must go to turn a thing back by `rotation`, positive right; span:
    front to rear, mm."""
    return rotation * span


def rip_fence_move(
    toe: float,
    expanded_uncertainty: float,
    rip_fence: LeftRight,
    span: float,
    *,
    wanted_opening: float = 0.0,
    units: System = "mm",
) -> Alignment:
    """How to shift the rip fence's rear end so that it opens by `wanted_opening` (rad,
    not negative).

    toe: b_fence - b_blade, rad. span: mm between the places where it is held and where
    it is shifted.
    """
    if wanted_opening < 0:
        raise ValueError(
            "a rip fence must not close on the rear of the blade: 0 or more would do"
        )
    wanted_toe = -wanted_opening if rip_fence == "right" else wanted_opening
    return _alignment(
        "the rip fence", toe - wanted_toe, expanded_uncertainty, span, units
    )


def blade_move(
    rotation: float,
    expanded_uncertainty: float,
    span: float,
    *,
    shifts: Literal["blade", "table"] = "blade",
    units: System = "mm",
) -> Alignment:
    """How to bring blade and slot parallel; rotation: of the blade from the slot, rad.

    shifts: what the saw lets one shift, the blade's carriage (its trunnions) or the
    table over it, which must go the other way.
    """
    if shifts == "table":
        return _alignment("the table", -rotation, expanded_uncertainty, span, units)
    return _alignment(
        "the blade's carriage", rotation, expanded_uncertainty, span, units
    )


def saw_move(
    finding: Finding,
    part: Literal["blade", "rip fence"] | None,
    saw: Saw | None,
    units: System = "mm",
) -> str | None:
    """What is to be turned on the saw itself, in words for a person; None where the
    finding is not out, or is not of a part of the saw.

    The distance is told over 300 mm (a foot): where a saw is held and shifted differs
    from saw to saw.
    """
    if finding.verdict != "outside" or part is None or saw is None:
        return None
    judged = next((q for q in finding.quantities if q.verdict == "outside"), None)
    span = 304.8 if units == "inch" else 300.0
    if judged is None:
        return None
    if part == "blade":
        move = blade_move(judged.value, judged.uncertainty, span, units=units)
        other = "left" if move.way == "right" else "right"
        also = (
            " A saw whose table is shifted instead: the table's rear as much to the"
            f" {other}."
        )
    else:
        # the middle of what is good enough: it may open, it must not close
        wanted = (judged.tolerance or 0.0) / 2
        move = rip_fence_move(
            judged.value,
            judged.uncertainty,
            saw.rip_fence,
            span,
            wanted_opening=wanted,
            units=units,
        )
        also = " It then opens a little at the rear." if wanted else ""
    return (
        f"{move.text}{also} Over another length, in proportion. First unplug the saw"
        " and see the blade at rest; which bolts, in what order and how tight is in"
        " the saw's manual, which goes before this. Then take the check again."
    )


def _alignment(
    name: str,
    rotation: float,
    expanded_uncertainty: float,
    span: float,
    units: System,
) -> Alignment:
    if span <= 0:
        raise ValueError(
            f"the length from front to rear is {span:g} mm: more than 0 would do"
        )
    dx = rear_dx(rotation, span)
    uncertainty = abs(expanded_uncertainty * span)
    way: LeftRight = "right" if dx >= 0 else "left"
    text = (
        f"Move the rear end of {name} {give_or_take(abs(dx), uncertainty, units)} to"
        f" the {way}, {length_words(span, units)} behind the place where its front is"
        " held."
    )
    return Alignment(
        dx=dx, way=way, distance=abs(dx), uncertainty=uncertainty, text=text
    )

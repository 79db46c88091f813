"""Moves of the saw itself: the rip fence's rear end, and the blade's carriage or the
table.

Frame as everywhere: +X right, rotation positive counter-clockwise, so the rear end of a
thing turned by a stands a times its length to the left. Pure; mm and rad.
"""

from __future__ import annotations

from typing import Literal

from bench.finding import Finding, Remark, act
from bench.gear import LeftRight, Saw

# the two values of `way` that a quantity of a rip fence has; the second is a danger
OPENS, CLOSES = "opens at the rear", "closes at the rear"


def opening(toe: float, rip_fence: LeftRight) -> float:
    """The opening of the rip fence at the rear, rad; negative: it closes on the blade.

    toe: b_fence - b_blade. On the right of the blade negative opens, on the left
    positive.
    """
    return -toe if rip_fence == "right" else toe


def rip_fence_turn(
    toe: float, rip_fence: LeftRight, wanted_opening: float = 0.0
) -> float:
    """rad by which the rip fence stands turned from where it opens by `wanted_opening`
    (rad, not negative).

    toe: b_fence - b_blade, rad. On the right of the blade a negative toe opens, on the
    left a positive one.
    """
    if wanted_opening < 0:
        raise ValueError(
            "a rip fence must not close on the rear of the blade: 0 or more would do"
        )
    return toe + wanted_opening if rip_fence == "right" else toe - wanted_opening


def saw_move(
    finding: Finding, part: Literal["blade", "rip fence"] | None, saw: Saw | None
) -> Remark | None:
    """The move of a part of the saw itself; None where the finding is not out, or is
    not of a part of the saw.

    The distance is told over the length that the result is told over: where a saw is
    held and shifted differs from saw to saw.
    """
    if finding.verdict != "outside" or part is None or saw is None:
        return None
    judged = next((q for q in finding.quantities if q.verdict == "outside"), None)
    if judged is None or judged.over is None:
        return None
    if part == "blade":
        turn = judged.value
    else:
        # the middle of what is good enough: it may open, it must not close
        wanted = (judged.tolerance or 0.0) / 2
        turn = rip_fence_turn(judged.value, saw.rip_fence, wanted)
    right = turn >= 0  # the rear of what is turned counter-clockwise stands left
    return act(
        "turn-saw",
        part=part,
        shift=abs(turn) * judged.over,
        uncertainty=judged.uncertainty * judged.over,
        over=judged.over,
        way="right" if right else "left",
        other_way="left" if right else "right",
    )

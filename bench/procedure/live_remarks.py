"""What is told of a live move beside the distance that is left. Pure; lengths in mm."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bench.moves.nudge import Tip
from bench.procedure.status_message import StatusMessage


def stand_remark(tip: Tip) -> StatusMessage:
    """Where the indicator is to stand."""
    where = {"distance": tip.distance}
    if not tip.arm:
        return StatusMessage("live-stand-fence", where)
    near = tip.jig.fence == "near"
    return StatusMessage(
        "live-stand-arm-beyond" if near else "live-stand-arm-short", where
    )


def aim_remark(aim: float, past: bool, sized: Mapping[str, Any]) -> StatusMessage:
    """That the aim is past the target, or short of it, by what the screw draws.

    aim: of the free end, positive away; the screw draws it the other way.
    """
    drew = {**sized, "way": "toward" if aim > 0 else "away"}
    return StatusMessage("live-aims-past" if past else "live-aims-short", drew)


def drawn_remark(drawn: float, sized: Mapping[str, Any]) -> StatusMessage:
    """What tightening has drawn; drawn: of the free end, positive away."""
    return StatusMessage(
        "live-drawn", {**sized, "way": "away" if drawn > 0 else "toward"}
    )

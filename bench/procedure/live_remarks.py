"""What is told of a live move beside the distance that is left. Pure; lengths in mm."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from bench.moves.nudge import Tip
from bench.procedure.remark import Remark


def stand_remark(tip: Tip) -> Remark:
    """Where the indicator is to stand."""
    where = {"distance": tip.distance}
    if not tip.arm:
        return Remark("live-stand-fence", where)
    near = tip.jig.fence == "near"
    return Remark("live-stand-arm-beyond" if near else "live-stand-arm-short", where)


def aim_remark(aim: float, past: bool, sized: Mapping[str, Any]) -> Remark:
    """That the aim is past the target, or short of it, by what the screw draws.

    aim: of the free end, positive away; the screw draws it the other way.
    """
    drew = {**sized, "way": "toward" if aim > 0 else "away"}
    return Remark("live-aims-past" if past else "live-aims-short", drew)


def drawn_remark(drawn: float, sized: Mapping[str, Any]) -> Remark:
    """What tightening has drawn; drawn: of the free end, positive away."""
    return Remark("live-drawn", {**sized, "way": "away" if drawn > 0 else "toward"})

"""What leaning the sled proves: on which side the indicator stands, and how much play
there is.

Pure.
"""

from __future__ import annotations

from bench.checks.model import Lean, Step
from bench.procedure.status_message import StatusMessage

SEEN = 3  # counts that the number must change by before it says anything


def proved_side(lean: Lean, step: Step, count: float) -> str | None:
    """The side on which the indicator stands, from leaning left then right; None when
    no play is seen.

    Leaned to the right the surface goes to +X: a standing indicator on the right is
    pushed in, one on the left let out. A carried one goes with the sled, so the other
    way round.
    """
    change = lean.right - lean.left
    if abs(change) < SEEN * count - 1e-9:
        return None
    right = change > 0
    if step.mount == "carried":
        right = not right
    return "right" if right else "left"


def lean_remark(lean: Lean, step: Step, seen: str | None) -> StatusMessage:
    """What a lean test showed; `seen` as `proved_side` has it."""
    if seen is None:
        return StatusMessage("lean-no-play", {"side": step.side})
    if seen == step.side:
        play = abs(lean.right - lean.left)
        return StatusMessage("lean-proved", {"side": seen, "play": play})
    return StatusMessage("lean-wrong-side", {"side": seen, "wanted": step.side})

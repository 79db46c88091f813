"""The verification of a move: the finding after it beside the finding before it.

Pure. Rotations in rad, distances in mm.
"""

from __future__ import annotations

import math

from bench.finding import Finding, Quantity, Remark, warning

WRONG_WAY = warning("moved-wrong-way")
HARDLY_MOVED = warning("hardly-moved")
TOO_FAR = warning("moved-too-far")
# share of the way under which it hardly moved; common practice, no source
HARDLY = 0.25


def judge_move(before: Finding, after: Finding) -> Remark | None:
    """A warning where the verifying finding `after` shows that the move planned in
    `before` went wrong, else None.

    WRONG_WAY: the fence stands further out than it did. HARDLY_MOVED: under a quarter
    of the way. TOO_FAR: beyond square, further than a stack of leaves known
    to be too thick would take it. Only what both uncertainties together cannot explain
    is said, and nothing once the fence is inside its tolerance. None also where the two
    findings cannot be compared (another check or jig, no move planned).
    """
    first, second = _main(before), _main(after)
    if (
        first is None
        or second is None
        or before.move is None
        or second.verdict == "inside"
    ):
        return None
    if (before.check, before.jig, first.name) != (
        after.check,
        after.jig,
        second.name,
    ) or first.value == 0:
        return None
    sense = math.copysign(1.0, first.value)
    out_before, out_after = abs(first.value), sense * second.value
    doubt = math.hypot(first.uncertainty, second.uncertainty)
    if out_after - out_before > doubt:
        return WRONG_WAY
    turned = out_before - out_after
    if turned < HARDLY * out_before and out_after > doubt:
        return HARDLY_MOVED
    too_thick = max(0.0, -before.move.leaves_left_over) if before.move.leaves else 0.0
    meant = out_before * (1 + too_thick / before.move.distance)
    if turned - meant > doubt:
        return TOO_FAR
    return None


def _main(finding: Finding) -> Quantity | None:
    return finding.quantities[0] if finding.quantities else None

"""The move of the fence's free end that takes a rotation back: which end, which way,
how far, with which leaves.

Frame from above: +X right, +Y away from the operator, rotation positive
counter-clockwise. A fence turned by a is turned back by -a about its pivot: dy = -a
(x_a - x_p), positive away from the operator, at the place x_a where stop, leaves or
screw act. Lengths in mm, angles in rad. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import msgspec

from bench.finding import Move, Remark, note
from bench.gear import Jig
from bench.moves.leaves import best_stack, left_over

# Half-widths, taken as rectangular. A leaf's own thickness (from memory); what is left
# of dust and oil in a wiped stack, and how well a distance to the stop is taken with a
# rule (common practice, no source).
LEAF_TOLERANCE = 0.003  # mm
FILM = 0.001  # mm
LEVER_SHARE = 0.005  # of the distance from pivot to stop
# half-width of a rectangle -> its share in an expanded uncertainty
RECTANGULAR_95 = 1.96 / math.sqrt(3)


def why_no_move(jig: Jig) -> Remark:
    """The reason why no move can be given though the sled fence is out."""
    if jig.lever is None:
        return note("no-lever", jig=jig.name)
    return note("move-too-small")


def fence_dy(rotation: float, lever: float) -> float:
    """mm the fence must go at `lever` = x_a - x_p (mm, right positive); positive is
    away."""
    return -rotation * lever


def move_uncertainty(
    expanded_rotation: float,
    rotation: float,
    lever: float,
    leaves: int,
) -> float:
    """Expanded uncertainty of the distance, mm: rotation, stack and lever in
    quadrature. leaves: how many are stacked; none: no stack row."""
    stack = LEAF_TOLERANCE * math.sqrt(leaves) + FILM if leaves else 0.0
    return math.hypot(
        expanded_rotation * lever,
        RECTANGULAR_95 * stack,
        RECTANGULAR_95 * LEVER_SHARE * rotation * lever,
    )


def fence_move(
    rotation: float,
    expanded_uncertainty: float,
    jig: Jig | None,
    leaves: Sequence[float] = (),
    *,
    then: str = "take the verifying passes",
) -> Move | None:
    """The move that turns a fence out by `rotation` back to square; None where
    `why_no_move` gives the reason.

    rotation, expanded_uncertainty: rad, of the fence's finding. leaves: mm, those the
    user owns. then: what is to be done after it.
    """
    if jig is None or jig.lever is None:
        return None
    dy = fence_dy(rotation, jig.lever)
    distance = abs(dy)
    if distance == 0:
        return None
    stack = best_stack(distance, leaves)
    move = Move(
        end=jig.moving_end,
        way="away" if dy > 0 else "toward",
        distance=distance,
        uncertainty=move_uncertainty(
            expanded_uncertainty, rotation, jig.lever, len(stack)
        ),
        leaves=stack,
        leaves_left_over=left_over(distance, stack),
    )
    place = "stop" if jig.pivot_to_stop is not None else "screw"
    steps = [
        note(
            "move-end",
            end=move.end,
            way=move.way,
            distance=move.distance,
            uncertainty=move.uncertainty,
        ),
        note("move-at", place=place, reach=abs(jig.lever)),
        *_how(move, jig, bool(leaves)),
        *_screw_turns(rotation, jig),
        note("move-then", then=then),
    ]
    return msgspec.structs.replace(move, steps=steps)


def leads_with_leaves(jig: Jig, way: str) -> bool:
    """Whether the fence moves the way its working face looks: then the leaves hold the
    stop off the face.

    A fence at the near side looks away from the operator, one at the far side looks
    toward them.
    """
    return (way == "away") == (jig.fence == "near")


def _how(move: Move, jig: Jig, owns_leaves: bool) -> list[Remark]:
    """The procedure with stop and leaves, in the order of the hands."""
    if not move.leaves and not owns_leaves:
        return [note("move-no-leaves")]
    if not move.leaves:
        return [note("move-leaf-too-thick")]
    many = len(move.leaves) - 1
    if leads_with_leaves(jig, move.way):
        held = note("move-stop-off-leaves", many=many)
    else:
        held = note("move-leaves-in-gap", many=many, way=move.way)
    # what the stack misses, where that is more than the move is known to
    left, rest = move.leaves_left_over, []
    if left > max(move.uncertainty, 5e-4):
        rest = [note("move-stack-short", rest=left)]
    elif -left > max(move.uncertainty, 5e-4):
        rest = [note("move-stack-over", rest=-left)]
    return [note("move-leaves", many=many, leaves=move.leaves), held, *rest]


def _screw_turns(rotation: float, jig: Jig) -> list[Remark]:
    """Turns of a jack screw of known pitch, at a known distance from the pivot."""
    reach, pitch = jig.pivot_to_screw, jig.screw_pitch
    if pitch is None or reach is None:
        return []
    return [note("move-jack-screw", pitch=pitch, turns=abs(rotation) * reach / pitch)]

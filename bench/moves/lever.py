"""From a rotation to the move of the fence's free end: which end, which way, how far,
with which leaves.

Frame from above: +X right, +Y away from the operator, rotation positive
counter-clockwise. A fence turned by a is turned back by -a about its pivot: dy = -a
(x_a - x_p), positive away from the operator, at the place x_a where stop, leaves or
screw act. Lengths in mm, angles in rad. Pure.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from bench.finding import Move, Remark
from bench.gear import Jig
from bench.moves.leaves import best_stack, left_over
from bench.units import System, give_or_take, length_words

# Half-widths, taken as rectangular. A leaf's own thickness (from memory); what is left
# of dust and oil in a wiped stack, and how well a distance to the stop is taken with a
# rule (common practice, no source).
LEAF_TOLERANCE = 0.003  # mm
FILM = 0.001  # mm
LEVER_SHARE = 0.005  # of the distance from pivot to stop
# half-width of a rectangle -> its share in an expanded uncertainty
RECTANGULAR_95 = 1.96 / math.sqrt(3)


def why_no_move(jig: Jig) -> Remark:
    """Why no move can be given though the sled fence is out."""
    if jig.lever is None:
        return Remark("no-lever", values={"jig": jig.name})
    return Remark("move-too-small")


def fence_dy(rotation: float, lever: float) -> float:
    """mm the fence must go at `lever` = x_a - x_p (mm, right positive); positive is
    away."""
    return -rotation * lever


def move_uncertainty(
    expanded_rotation: float,
    rotation: float,
    lever: float,
    leaves: int,
    *,
    pivot_slop: float = 0.0,
    leaf_tolerance: float = LEAF_TOLERANCE,
    film: float = FILM,
    lever_share: float = LEVER_SHARE,
) -> float:
    """Expanded uncertainty of the distance, mm: rotation, stack, lever and pivot slop
    in quadrature.

    leaves: how many are stacked; none: no stack row. pivot_slop: half-width in mm, 0
    where not known, since a screw that is held tight has none; the verifying sweep sees
    it.
    """
    stack = leaf_tolerance * math.sqrt(leaves) + film if leaves else 0.0
    return math.hypot(
        expanded_rotation * lever,
        RECTANGULAR_95 * stack,
        RECTANGULAR_95 * lever_share * rotation * lever,
        RECTANGULAR_95 * pivot_slop,
    )


def fence_move(
    rotation: float,
    expanded_uncertainty: float,
    jig: Jig | None,
    leaves: Sequence[float] = (),
    *,
    units: System = "mm",
    pivot_slop: float = 0.0,
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
    away = dy > 0
    stack = best_stack(distance, leaves)
    move = Move(
        end=jig.moving_end,
        way="away" if away else "toward",
        distance=distance,
        uncertainty=move_uncertainty(
            expanded_uncertainty, rotation, jig.lever, len(stack), pivot_slop=pivot_slop
        ),
        leaves=stack,
        leaves_left_over=left_over(distance, stack),
        text="",
    )
    text = " ".join(
        [
            _what(move, jig, units),
            *_how(move, jig, bool(leaves), units),
            *_turns(rotation, jig, units),
        ]
    )
    return Move(
        end=move.end,
        way=move.way,
        distance=move.distance,
        uncertainty=move.uncertainty,
        leaves=move.leaves,
        leaves_left_over=move.leaves_left_over,
        text=f"{text} Then {then}.",
    )


def _what(move: Move, jig: Jig, units: System) -> str:
    way = "away from you" if move.way == "away" else "toward you"
    amount = give_or_take(move.distance, move.uncertainty, units)
    return f"Move the {move.end} end {way} by {amount}. Do it {_where(jig, units)}."


def _where(jig: Jig, units: System) -> str:
    assert jig.lever is not None
    place = "stop" if jig.pivot_to_stop is not None else "screw"
    return f"at the {place}, {length_words(abs(jig.lever), units)} from the pivot"


def leads_with_leaves(jig: Jig, way: str) -> bool:
    """Whether the fence moves the way its working face looks: then the leaves hold the
    stop off the face.

    A fence at the near side looks away from the operator, one at the far side looks
    toward them.
    """
    return (way == "away") == (jig.fence == "near")


def _how(move: Move, jig: Jig, owns_leaves: bool, units: System) -> list[str]:
    """The procedure with stop and leaves, in the order of the hands."""
    if not move.leaves:
        if not owns_leaves:
            return [
                "No leaves are listed: use a shim of that thickness. Or do it live."
            ]
        return ["No leaf so thin: do it live, indicator on the sled."]
    stack = " + ".join(length_words(leaf, units) for leaf in move.leaves)
    many = len(move.leaves) > 1
    take = f"Take {'the leaves' if many else 'the leaf of'} {stack}."
    them = "leaves" if many else "leaf"
    verb = "" if many else "s"
    if leads_with_leaves(jig, move.way):
        steps = (
            f"Hold the {them} against the working face there. Set a stop against the"
            f" {them} and clamp it. Take the {them} out and slacken the screw. Bring"
            " the fence to the stop and tighten."
        )
    else:
        back = "away from you" if move.way == "away" else "toward you"
        steps = (
            "Set a stop against the bare working face there and clamp it. Slacken the"
            f" screw and move the fence {back}. Slip the {them} between face and stop."
            f" Bring the fence up until the {them} just fill{verb} the gap. Tighten,"
            f" and take the {them} out."
        )
    return [take, steps, *_rest(move, units)]


def _rest(move: Move, units: System) -> list[str]:
    """What the stack misses, where that is more than the move is known to."""
    rest = move.leaves_left_over
    if abs(rest) <= max(move.uncertainty, 5e-4):
        return []
    if rest > 0:
        return [f"The stack is {length_words(rest, units)} short: do the rest live."]
    return [
        f"The stack is {length_words(-rest, units)} more than the distance: stop short."
    ]


def screw_turns(rotation: float, jig: Jig) -> float | None:
    """Turns of a jack screw of known pitch, not negative; None without pitch or
    distance to the screw."""
    reach = jig.pivot_to_screw
    if jig.screw_pitch is None or reach is None:
        return None
    return abs(rotation) * reach / jig.screw_pitch


def clock_words(turns: float) -> str:
    """Turns as a clock's hand would show them: `0.12 turn, 7 minutes on a clock
    face`."""
    minutes = turns * 60
    size = f"{minutes:.0f}" if minutes >= 5 else f"{minutes:.1f}"
    whole = f"{turns:.2f} turn{'' if turns <= 1 else 's'}"
    if minutes >= 60:
        full, rest = divmod(round(minutes), 60)
        return f"{whole}, {full} full and {rest} minutes on a clock face"
    return f"{whole}, {size} minutes on a clock face"


def _turns(rotation: float, jig: Jig, units: System) -> list[str]:
    turns = screw_turns(rotation, jig)
    if turns is None or jig.screw_pitch is None:
        return []
    return [
        "Or turn the jack screw, of pitch"
        f" {length_words(jig.screw_pitch, units)}, that way. Turn it"
        f" {clock_words(turns)}."
    ]

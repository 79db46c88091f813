"""Moves of a mitre sled's two fences: which of them goes back, and how far.

Frame and signs as in `bench.moves.lever`; a fence at 45 degrees that turns about one
end takes its other end away from the operator or toward them as one across the travel
does. Distances in mm, square to the fence's face. Pure.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from bench.finding import Move, Quantity, Remark, act, note
from bench.gear import Jig, LeftRight
from bench.moves.lever import fence_move, why_no_move

FENCES: tuple[LeftRight, LeftRight] = ("left", "right")


def mitre_moves(
    quantities: Sequence[Quantity],
    jig: Jig,
    leaves: Sequence[float] = (),
) -> tuple[Move | None, list[Remark]]:
    """The fence that is further out closes the angle by itself where the other one is
    good; else each goes back by its own error, and the second move is a remark.

    quantities: between, left and right of a finding, rad.
    """
    of = {q.name: q for q in quantities}
    if not set(FENCES) <= set(of):
        return None, [note("mitre-fences-unknown")]
    worse: LeftRight = max(FENCES, key=lambda name: abs(of[name].value))
    other: LeftRight = "right" if worse == "left" else "left"
    stays = abs(of[other].value) <= jig.tolerance
    turn = of[worse].value - (of[other].value if stays else 0.0)
    sure = of["between" if stays else worse].uncertainty
    move = _move(worse, turn, sure, jig, leaves)
    if move is None:
        return None, [why_no_move(jig)]
    if stays:
        return move, [note("mitre-other-stays", fence=other)]
    second = of[other]
    more = _move(other, second.value, second.uncertainty, jig, leaves)
    return move, [] if more is None else [_told(other, more)]


def mitre_way(fence: LeftRight, rotation: float, jig: Jig | None) -> str:
    """Which end of a fence stands wrong, seen by whoever pushes; rotation in rad."""
    pivot_outer = jig is not None and jig.mitre_pivot == "outer"
    # turned counter-clockwise about its other end, a left end comes toward the operator
    near = (rotation > 0) == ((fence == "left") != pivot_outer)
    end = "inner" if pivot_outer else "outer"
    return f"its {end} end {'too near you' if near else 'too far from you'}"


def _move(
    fence: LeftRight,
    turn: float,
    sure: float,
    jig: Jig,
    leaves: Sequence[float],
) -> Move | None:
    own = jig.mitre_fence(fence)
    move = fence_move(turn, sure, own, leaves, then="take the check again")
    if move is None:
        return None
    of_fence = note("move-of-fence", fence=fence)
    return msgspec.structs.replace(move, steps=[of_fence, *move.steps], fence=fence)


def _told(fence: LeftRight, move: Move) -> Remark:
    return act(
        "mitre-move-too",
        fence=fence,
        end=move.end,
        distance=move.distance,
        uncertainty=move.uncertainty,
        way=move.way,
    )

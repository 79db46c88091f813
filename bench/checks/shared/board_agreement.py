"""Do the test board and the sweep say the same, and if not, why most likely?

Pure. Rotations in rad, counter-clockwise positive; uncertainties are expanded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

LIKELY_TURNS = 6  # more turns nobody makes


@dataclass(frozen=True, slots=True)
class Agreement:
    """e_n: without sign. causes: whole sentences, the likeliest first; empty where they
    agree."""

    e_n: float
    agree: bool
    causes: tuple[str, ...]


def compare(
    board: float,
    board_expanded: float,
    sweep: float,
    sweep_expanded: float,
    turns: int = 4,
) -> Agreement:
    """The board's rotation beside the sweep's, for the same width of board.

    E_n = |a1 - a2| / sqrt(U1^2 + U2^2), agreed while it is not above 1 (ISO 13528:2022,
    9.7). A slip that would make the two agree is named before what can always be: the
    order is that of how well it explains them.
    """
    from bench.uncertainty import agreement

    e_n = agreement(board, board_expanded, sweep, sweep_expanded)
    if e_n <= 1.0:
        return Agreement(e_n, True, ())
    causes: list[tuple[float, str]] = []
    both = math.hypot(board_expanded, sweep_expanded)
    if abs(board + sweep) <= both < 2 * abs(sweep):
        causes.append(
            (
                abs(board + sweep),
                (
                    "The strip's two ends were mixed up, or the board lay on the other"
                    " side of the blade than was said: turned round, the two agree."
                ),
            )
        )
    for other in range(1, LIKELY_TURNS + 1):
        told = board * turns / other
        if other != turns and abs(told - sweep) <= both < 2 * abs(sweep):
            causes.append(
                (
                    abs(told - sweep) + 0.1 * both * abs(other - turns),
                    (
                        f"The board was turned {other} times, not {turns}: then the two"
                        " agree."
                    ),
                )
            )
    named = [words for _, words in sorted(causes)]
    named += [
        (
            "The sled was held against another wall of the slots in the cuts than in"
            " the sweep, or between them."
        ),
        (
            "The sled fence is bowed: the board rests on another part of it than the"
            " square's handle did."
        ),
        (
            "A chip or dust lay between board and sled fence, or an edge was not"
            " pressed home at one of the turns."
        ),
        (
            "A cut was not pushed clear past the rear teeth, or the blade leans and the"
            " rear teeth cut too."
        ),
        "The sled fence moved between the two: was it tightened, leaned on or knocked?",
        "The square was not turned over in the sweep, and its own error is in it.",
    ]
    return Agreement(e_n, False, tuple(named))


def agreement_words(found: Agreement) -> str:
    """One note for the finding."""
    if found.agree:
        return f"Board and sweep agree within what both can tell (E_n {found.e_n:.1f})."
    listed = " ".join(f"({k}) {words}" for k, words in enumerate(found.causes[:4], 1))
    return (
        f"Board and sweep differ by more than both can tell (E_n {found.e_n:.1f})."
        f" Likely, in order: {listed}"
    )

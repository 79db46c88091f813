"""The set-ups of the side play: the sled leaned bodily, and twisted, and held there."""

from __future__ import annotations

from bench.checks.model import Focus, Step
from bench.gear import LeftRight

TIMES = 5  # readings a set-up
# mm that the sled moves between two leans; less than any play worth knowing
LEAST_AWAY = 0.015
SET_UPS = {
    "leaned-left": "Indicator standing on the right of the sled, at the runners'"
    " middle. Its tip touches the sled's side. Press the whole sled to the LEFT and"
    " hold it there.",
    "leaned-right": "Leave the indicator. Press the whole sled to the RIGHT and hold it"
    " there.",
    "twisted-left": "Pencil a mark {at:station} from the runners' middle, away from"
    " you. Indicator standing on the right, its tip at the mark. Twist the sled to the"
    " LEFT there and hold it.",
    "twisted-right": "Leave the indicator. Twist the sled to the RIGHT there and hold"
    " it.",
}
PLACES = tuple(SET_UPS)


def play_step(placement: str, twist_at: float) -> Step:
    """twist_at: mm from the runners' middle, where a twist is read."""
    how, _, way = placement.partition("-")
    side: LeftRight = "left" if way == "left" else "right"
    leaned, other = how == "leaned", "right" if side == "left" else "left"
    again = "Press" if leaned else "Twist"
    return Step(
        *(placement, SET_UPS[placement], "spot", TIMES, "right", "standing"),
        at=0.0 if leaned else twist_at,
        picture="side-play",
        reseat=f"{again} it to the {other}, then to the {way.upper()} again; hold.",
        away=LEAST_AWAY,
        focus=Focus("lean" if leaned else "twist", side=side),
    )

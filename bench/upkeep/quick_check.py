"""The results that a quick check takes over from the last whole one, and when it may
not.

A quick check has one set-up. Its answer is a = b1 + e, with e the mean of all that was
measured of the square's own error since something happened to the square.
"""

from __future__ import annotations

import math
from typing import Literal

import msgspec

from bench.uncertainty.sweeps import scatter_within
from bench.upkeep.history import History, Measurement
from bench.upkeep.series import baselines, by_series

YEAR_DAYS = 365.25
# of these a whole check must come first: they may turn the fence, or the square
TURNING = ("dropped", "moved", "runners", "saw", "square")
TURNED_OVER = "turned-over"

WholeCheckReason = Literal["never-whole", "square-old", "indicator-changed", "moved"]


class SquareError(msgspec.Struct, frozen=True):
    """The square's error, rad: mean of `count` whole checks, standard uncertainty and
    degrees of freedom of that mean. finding, day: the last whole check of the sled."""

    error: float
    standard: float
    freedom: float
    count: int
    finding: str
    day: float
    hold: str | None


def whole_checks(
    history: History, jig: str | None, saw: str | None
) -> list[Measurement]:
    """Whole checks of the sled fence, with the square turned over, in the order of
    time."""
    return [
        one
        for one in history.results
        if (one.jig, one.saw) == (jig, saw)
        and one.turns_fence
        and one.set_up == TURNED_OVER
        and not one.quick
    ]


def whole_check_reason(
    history: History,
    *,
    jig: str | None,
    saw: str | None,
    day: float,
    instrument: str | None = None,
) -> WholeCheckReason | None:
    """The reason why a quick check will not do, or None. instrument: that of today,
    where it is known."""
    whole = whole_checks(history, jig, saw)
    if not whole:
        return "never-whole"
    last = whole[-1]
    if day - last.day > YEAR_DAYS:
        return "square-old"
    if instrument is not None and last.instrument not in (None, instrument):
        return "indicator-changed"
    moved = any(
        (move.jig, move.saw) == (jig, saw)
        and (move.day, move.order) >= (last.day, last.order)
        for move in history.moves
    )
    happened = any(
        event.jig == jig and event.what in TURNING and event.day > last.day
        for event in history.events
    )
    return "moved" if moved or happened else None


def inherited_square_error(
    history: History, *, jig: str | None, saw: str | None
) -> SquareError | None:
    """The square's error that a quick check of this sled takes from the log; None where
    no whole check measured its square. The square is measured on whatever sled."""
    whole = whole_checks(history, jig, saw)
    if not whole:
        return None
    last = whole[-1]
    errors = [
        part.results
        for key, results in by_series(history.results).items()
        if key.quantity == "square"
        and (key.check, key.square) == (last.check, last.square)
        for part in baselines(results, history)[-1:]
    ]
    of_square = sorted(
        (one for part in errors for one in part), key=lambda one: (one.day, one.order)
    )
    if not of_square:
        return None
    values = [one.value for one in of_square]
    n, mean = len(values), math.fsum(values) / len(values)
    # one result knows itself as well as its budget says; several also by their scatter
    budget = max((one.varying or one.expanded / 2) for one in of_square)
    squares, _ = scatter_within([values])
    weight = 4.0  # degrees of freedom granted to the budget, as the charts grant it
    variance = (squares + weight * budget**2) / (n - 1 + weight)
    return SquareError(
        error=mean,
        standard=math.sqrt(variance / n),
        freedom=n - 1 + weight,
        count=n,
        finding=last.finding,
        day=last.day,
        hold=last.hold,
    )

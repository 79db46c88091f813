"""Where a baseline period begins, and what an event answers."""

from __future__ import annotations

import msgspec

from bench.upkeep.drift import charted_series
from bench.upkeep.history import FenceMove, GearEvent, History
from tests.bench.upkeep.conftest import MM, START, results

QUIET = [0.001 * MM, -0.004 * MM, 0.003 * MM, -0.002 * MM, 0.005 * MM, 0.0]


def told(history: History, quantity: str = "fence"):
    (one,) = [one for one in charted_series(history) if one.key.quantity == quantity]
    return one


def test_a_step_alarms_until_it_is_answered_and_then_never_again() -> None:
    jumped = results([*QUIET, 0.05 * MM])
    history = History(results=tuple(jumped))
    assert told(history).alarm and told(history).last.results[-1].alarm == "step"
    event = GearEvent("big-sled", "dropped", jumped[-1].day + 1)
    answered = told(msgspec.structs.replace(history, events=(event,)))
    assert not answered.alarm
    # what saw it belongs to what comes
    assert [len(period.results) for period in answered.periods] == [6, 1]
    assert answered.last.baseline.reason == "dropped"
    later = results([*QUIET, 0.05 * MM, 0.052 * MM, 0.047 * MM])
    assert not told(History(results=tuple(later), events=(event,))).alarm


def test_a_move_of_the_fence_turns_no_square() -> None:
    both = results(QUIET, errors=[0.02 * MM + v for v in QUIET])
    move = FenceMove("big-sled-2", "big-sled", None, both[4].day, 2)
    history = History(results=tuple(both), moves=(move,))
    fence, square = told(history), told(history, "square")
    assert [len(period.results) for period in fence.periods] == [3, 3]
    assert fence.last.baseline.after_move_of == "big-sled-2" and fence.last.baseline.reason == "moved"
    assert len(square.periods) == 1
    revised = GearEvent("big-sled", "square", both[4].day + 1)
    square = told(History(results=tuple(both), events=(revised,)), "square")
    assert [len(period.results) for period in square.periods] == [3, 3]


def test_what_happened_last_has_a_period_without_results() -> None:
    history = History(results=tuple(results(QUIET)), events=(GearEvent("big-sled", "runners", START + 400),))
    last = told(history).last
    assert (last.baseline.reason, last.results, last.mean) == ("runners", (), None)
    other = History(results=tuple(results(QUIET)), events=(GearEvent("small-sled", "moved", START + 400),))
    assert len(told(other).periods) == 1


def test_another_square_or_instrument_is_another_series() -> None:
    one = results(QUIET)
    two = [
        msgspec.structs.replace(r, square="new", order=r.order + 10, value=r.value + 0.05 * MM) for r in one
    ]
    assert len(charted_series(History(results=(*one, *two)))) == 2
    assert not any(s.alarm for s in charted_series(History(results=(*one, *two))))


def test_a_slip_is_told_once_and_does_not_ring_on() -> None:
    history = History(results=tuple(results([*QUIET, 0.06 * MM, 0.001 * MM, -0.002 * MM])))
    assert [one.alarm for one in told(history).last.results[-3:]] == ["step", None, None]
    assert not told(history).alarm

"""When to look again: the interval grows while nothing is seen, and what brings it forward."""

from __future__ import annotations

import random

import msgspec
import pytest

from bench.finding import Climate
from bench.upkeep.dates import date_of
from bench.upkeep.drift import charted_series
from bench.upkeep.due_dates import BeforeLastResult, chance_of_out, due_document, next_check, self_moves
from bench.upkeep.history import FenceMove, GearEvent, History, Measurement
from bench.upkeep.quick_check import inherited_square_error, whole_check_reason
from tests.bench.upkeep.conftest import MM, SIGMA, START, results

SQUARE = 0.02 * MM


def quiet(days: list[float], seed: int = 1, level: float = 0.0) -> list[Measurement]:
    toss = random.Random(seed)
    values = [level + toss.gauss(0, SIGMA / 2) for _ in days]
    return results(values, errors=[SQUARE + toss.gauss(0, SIGMA) for _ in days], days=days)


def ahead(found: list[Measurement], **more) -> tuple[float, str]:
    history = History(tuple(found), **more)
    one = next(one for one in charted_series(history) if one.key.quantity == "fence")
    coming = next_check(one, self_moves(history))
    return coming.day - found[-1].day, coming.why


def row(found: list[Measurement], at: float, **more) -> dict:
    (only,) = due_document(History(tuple(found), **more), at=START + at)["due"]
    return only


def test_the_interval_doubles_from_a_week_to_six_weeks() -> None:
    assert [
        ahead(quiet(days))[0] for days in ([0], [0, 7], [0, 7, 14], [0, 7, 14, 28], [0, 7, 14, 28, 56])
    ] == (pytest.approx([7, 7, 14, 28, 42]))


def test_a_whole_check_without_a_quick_one_may_wait_a_quarter_of_a_year() -> None:
    other = [
        msgspec.structs.replace(one, check="rip-fence", set_up="-", turns_fence=False, quantity="rip-fence")
        for one in quiet([0, 90, 180, 270])
        if one.quantity == "fence"
    ]
    history = History(tuple(other))
    (one,) = charted_series(history)
    assert next_check(one, self_moves(history)).day == pytest.approx(START + 270 + 91)


def test_near_the_edge_of_the_tolerance_it_is_a_week() -> None:
    days = [30.0 * n for n in range(12)]
    assert ahead(quiet(days, level=0.048 * MM)) == (7.0, "interval")
    assert ahead(quiet(days))[0] == 42.0


def test_a_trend_brings_it_forward() -> None:
    days = [15.0 * n for n in range(8)]
    rising = [
        msgspec.structs.replace(one, value=one.value + 0.00012 * MM * (one.day - START))
        for one in quiet(days)
    ]
    rising = [one for one in rising if one.quantity == "fence"]
    history = History(tuple(rising))
    (one,) = charted_series(history)
    assert chance_of_out(one, 0.5, 400.0) > chance_of_out(one, 0.5, 10.0)


def test_after_an_event_it_is_now_and_whole() -> None:
    found = quiet([0, 30, 60])
    assert row(found, 61)["state"] == "later"
    for what in ("dropped", "moved", "runners"):
        told = row(found, 62, events=(GearEvent("big-sled", what, START + 61),))
        assert (told["state"], told["reason"], told["quick"]) == ("now", "moved", False), what
    moved = FenceMove("big-sled-2", "big-sled", None, START + 60, 2)
    assert row(found, 61, moves=(moved,))["reason"] == "moved"


def test_soon_is_a_week_before() -> None:
    found = quiet([0, 30, 60])
    assert [row(found, 60 + d)["state"] for d in (30, 36, 42, 80)] == ["later", "soon", "now", "now"]
    assert row(found, 80)["by"] == date_of(START + 102)


def test_the_air_brings_it_forward_while_its_reading_is_fresh() -> None:
    found = [msgspec.structs.replace(one, climate=Climate(20.0, 0.35)) for one in quiet([0, 30, 60])]
    damp = (START + 64.5, Climate(20.0, 0.60))
    assert row(found, 65, climate=damp)["reason"] == "season"
    assert row(found, 65, climate=(START + 64.5, Climate(20.0, 0.40)))["reason"] == "interval"
    assert row(found, 90, climate=damp)["reason"] == "interval"


def test_a_day_before_the_last_result_is_refused() -> None:
    with pytest.raises(BeforeLastResult, match=date_of(START + 60)):
        due_document(History(tuple(quiet([0, 30, 60]))), at=START + 59)


def test_a_board_is_not_due_where_the_square_judges_the_fence() -> None:
    board = [
        msgspec.structs.replace(one, check="test-board", set_up="", order=99)
        for one in quiet([10])
        if one.quantity == "fence"
    ]
    rows = due_document(History((*quiet([0, 30, 60]), *board)), at=START + 61)["due"]
    assert [one["check"] for one in rows] == ["fence-square"]
    assert due_document(History(tuple(board)), at=START + 61)["due"][0]["check"] == "test-board"


def test_what_a_quick_check_inherits_is_the_mean_since_the_square_was_changed() -> None:
    """Mean and its standard uncertainty, with the budget's four degrees of freedom; GUM 4.2.3 and 4.2.4."""
    found = quiet([30.0 * n for n in range(10)])
    errors = [one.value for one in found if one.quantity == "square"]
    history = History(tuple(found))
    all_ten = inherited_square_error(history, jig="big-sled", saw=None)
    assert all_ten is not None and all_ten.count == 10
    assert all_ten.error == pytest.approx(sum(errors) / 10)
    assert all_ten.standard == pytest.approx(SIGMA / 10**0.5, rel=0.4)
    changed = GearEvent("big-sled", "square", START + 200)
    since = inherited_square_error(
        msgspec.structs.replace(history, events=(changed,)), jig="big-sled", saw=None
    )
    assert since is not None and since.count == 3
    assert since.error == pytest.approx(sum(errors[7:]) / 3)
    assert inherited_square_error(history, jig="small-sled", saw=None) is None


def test_when_the_whole_check_is_asked_for() -> None:
    history = History(tuple(quiet([0, 30])))
    asked = {"jig": "big-sled", "saw": None}
    assert whole_check_reason(history, **asked, day=START + 31) is None
    assert (
        whole_check_reason(history, **asked, day=START + 31, instrument="another") is None
    )  # that of then is not known
    assert whole_check_reason(history, **asked, day=START + 400) == "square-old"
    assert whole_check_reason(history, jig="small-sled", saw=None, day=START + 31) == "never-whole"
    named = tuple(msgspec.structs.replace(one, instrument="port-a") for one in history.results)
    assert (
        whole_check_reason(History(named), **asked, day=START + 31, instrument="port-b")
        == "indicator-changed"
    )
    dropped = msgspec.structs.replace(history, events=(GearEvent("big-sled", "dropped", START + 31),))
    assert whole_check_reason(dropped, **asked, day=START + 32) == "moved"
    blade = msgspec.structs.replace(history, events=(GearEvent("big-sled", "blade", START + 31),))
    assert whole_check_reason(blade, **asked, day=START + 32) is None

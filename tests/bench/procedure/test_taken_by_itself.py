"""Spots and widths are taken by themselves when the number came back, never twice at one place, never lifted."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.checks import checks, find
from bench.checks.model import EvidenceGear
from bench.gear import Indicator, Jig
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.number_taking import RETURN_MOST_MM, ReturnWatch
from bench.protocol import Begin

STEP = 0.02  # s between readings
GEAR = EvidenceGear(indicator=Indicator(resolution=0.001), jig=Jig("sled"))


class Nowhere:
    """A journal that forgets."""

    def __getattr__(self, name: str) -> Any:
        return lambda *args, **more: None


class Hands:
    """A check whose number is held and moved by hand."""

    def __init__(self, kind: str, **options: Any) -> None:
        self.now, self.value = 100.0, 2.0
        self.run = CheckProcedure(
            "run",
            Begin(kind, sweeps=3, options=options),
            GEAR,
            marks=(),
            journal=Nowhere(),
            tell=lambda message: None,
            at_rest=lambda: True,
        )
        self.presses = 0
        self.run.settle_down(self.now)
        self.press()  # the cautions

    def press(self) -> None:
        self.presses += 1
        self.run.press(self.now)

    def hold(self, value: float, seconds: float = 0.8) -> None:
        """The number goes to that value, and stands there."""
        steps = 10
        for n in range(1, steps + 1):
            self._read(self.value + (value - self.value) * n / steps)
        self.value = value
        for _ in range(round(seconds / STEP)):
            self._read(value)

    def _read(self, value: float) -> None:
        self.now += STEP
        self.run.readings([self.now], [value], self.now)
        self.run.tick(self.now)

    @property
    def taken(self) -> list[tuple[str, float]]:
        return [(t.placement, round(t.reading[0], 4)) for t in self.run.passes.traces]


# four marks, and one between the first two: four alone would miss half of a warp
PLACES = [f"turn-{mark + again}" for again in (0, 360) for mark in (0, 45, 90, 180, 270)]


def test_a_plate_is_read_round_the_turn_with_two_presses() -> None:
    hands = Hands("plate-wobble", turns=4)
    hands.press()
    hands.hold(2.0)
    for value in (2.02, 2.03, 2.01, 1.98, 2.0, 2.02, 2.03, 2.01, 1.98):
        assert hands.run.ask.by_itself
        hands.hold(0.4)  # the plunger is lifted, and held
        hands.hold(value)
    assert hands.taken == list(zip(PLACES, [2.0, 2.02, 2.03, 2.01, 1.98] * 2, strict=True))
    assert hands.presses == 2 and hands.run.complete


def test_a_lifted_plunger_is_not_taken_however_long_it_is_held() -> None:
    hands = Hands("plate-wobble", turns=4)
    hands.press()
    hands.hold(2.0)
    hands.hold(0.2, seconds=20.0)
    assert len(hands.taken) == 1
    hands.hold(2.01, seconds=0.3)  # let down, and lifted again before it was at rest
    hands.hold(0.2, seconds=5.0)
    assert len(hands.taken) == 1 and not hands.run.facts.waiting


def test_one_place_is_not_taken_twice() -> None:
    """The number stands, creeps by a few counts, is touched: without a lift none of it is the next place."""
    hands = Hands("plate-wobble", turns=4)
    hands.press()
    hands.hold(2.0, seconds=10.0)
    hands.hold(2.02, seconds=5.0)
    hands.hold(2.0, seconds=5.0)
    assert hands.taken == [("turn-0", 2.0)]


def test_a_press_right_after_a_number_was_taken_means_that_number() -> None:
    hands = Hands("plate-wobble", turns=4)
    hands.press()
    hands.hold(2.0, seconds=0.8)
    hands.press()
    hands.hold(2.0, seconds=3.0)
    assert len(hands.taken) == 1
    hands.press()  # later it means the next number, though it is the same: it stands, and is taken
    hands.hold(2.0)
    assert hands.taken == [("turn-0", 2.0), ("turn-45", 2.0)]


def test_who_presses_for_every_number_gets_what_was_got_before() -> None:
    hands = Hands("plate-wobble", turns=4)
    for value in (2.0, 2.02, 2.03, 2.01, 1.98):
        hands.hold(value, seconds=0.1)
        hands.press()
        hands._read(value)
        hands.press()
        hands.hold(value)
    assert [value for _, value in hands.taken] == [2.0, 2.02, 2.03, 2.01, 1.98]
    assert [place for place, _ in hands.taken] == PLACES[:5]


def test_a_sled_let_go_in_the_middle_of_its_play_is_not_taken_for_one_that_is_leaned() -> None:
    hands = Hands("side-play")
    hands.press()
    hands.hold(2.45)
    hands.hold(2.50, seconds=5.0)  # let go: it rests in the middle
    assert len(hands.taken) == 1
    hands.hold(2.55, seconds=2.0)  # leaned the other way
    hands.hold(2.452)
    assert hands.taken == [("leaned-left", 2.45), ("leaned-left", 2.452)]


def test_side_play_takes_five_presses() -> None:
    hands = Hands("side-play")
    for here, there in ((2.45, 2.55), (2.55, 2.45), (2.46, 2.54), (2.54, 2.46)):
        hands.hold(here)
        hands.press()
        hands.hold(here)
        for _ in range(4):
            hands.hold(there, seconds=0.6)
            hands.hold(here)
    assert len(hands.taken) == 20 and hands.presses == 5
    assert {round(v, 2) for p, v in hands.taken if p == "twisted-right"} == {2.54}


def test_taking_back_asks_for_the_same_place_again() -> None:
    hands = Hands("plate-wobble", turns=4)
    hands.press()
    hands.hold(2.0)
    hands.hold(0.4)
    hands.hold(2.05)
    hands.run.undo(hands.now)
    assert hands.run.ask.placement == "turn-45" and hands.run.ask.by_itself
    hands.hold(2.05, seconds=3.0)
    assert len(hands.taken) == 1  # not by standing there
    hands.hold(0.4)
    hands.hold(2.06)
    assert hands.taken[-1] == ("turn-45", 2.06)


def test_after_a_pulled_cable_the_next_number_is_asked_for() -> None:
    from bench.procedure.status_message import StatusMessage

    hands = Hands("side-play")
    hands.press()
    hands.hold(2.45)
    hands.run.interrupt(StatusMessage("pass-interrupted", {"name": "indicator", "how": "went away"}), 0.0)
    assert not hands.run.ask.by_itself
    hands.hold(2.55)
    hands.hold(2.45)
    assert len(hands.taken) == 1
    hands.press()
    hands.hold(2.45)
    assert len(hands.taken) == 2


@given(
    st.lists(st.floats(-5.0, 5.0), min_size=1, max_size=30),
    st.floats(-5.0, 5.0),
    st.sampled_from((0.015, 0.3)),
)
def test_back_is_near_and_was_away(values: list[float], base: float, away: float) -> None:
    watch = ReturnWatch()
    watch.restart(base)
    for n, value in enumerate(values):
        if watch.back([value], away):
            farthest = max(abs(v - base) for v in values[: n + 1])
            assert farthest >= away - 1e-6
            assert abs(value - base) <= min(farthest / 4, RETURN_MOST_MM) + 1e-9


@pytest.mark.parametrize("kind", sorted(checks()))
def test_every_kind_declares_how_its_numbers_are_taken(kind: str) -> None:
    """What asks for many numbers says in what they differ, and takes them by themselves.

    Each set-up that hands put up is told by one press, six at the most.
    """
    steps = find(kind).plan({}, GEAR)
    singles = [step for step in steps if step.gather != "sweep"]
    for step in singles:
        assert step.away is not None or step.repeat == 1
    if len(singles) > 1:
        assert all(step.focus is not None for step in singles if step.continues)
    set_ups = list(dict.fromkeys(step.placement for step in steps if not step.continues))
    assert len(set_ups) <= 6

"""Which number moved: made-up hands on made-up numbers, each told apart or said to be ambiguous."""

from __future__ import annotations

import math
from fractions import Fraction
from itertools import pairwise

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.stream.movement_detector import MovementTracker, detect_press, detect_push, shown_count, tracker

DT = 0.025  # s between readings


class Hand:
    """Plays numbers into watchers, in step; `at` is the time."""

    def __init__(self, what: str, *names: str, counts: float = 0.001) -> None:
        self.judge = detect_press if what == "indicator" else detect_push
        self.trackers: dict[str, MovementTracker] = {name: tracker(what) for name in names}
        self.values = dict.fromkeys(names, 1.234)
        self.at, self.counts = 100.0, counts
        self.last = self.play(0.6)

    def play(self, seconds: float, **ways):
        """Each named number follows its function of the share of the time gone; the rest stand still."""
        start = dict(self.values)
        steps = max(1, round(seconds / DT))
        for n in range(1, steps + 1):
            self.at += DT
            for name, one in self.trackers.items():
                way = ways.get(name, lambda u: 0.0)
                self.values[name] = start[name] + way(n / steps)
                shown = round(self.values[name] / self.counts) * self.counts
                one.take([self.at], [shown])
            self.last = self.judge(self.trackers, self.at)
        return self.last


def in_and_out(mm: float):
    return lambda u: mm * math.sin(math.pi * u)


def away(mm: float):
    return lambda u: mm * (1 - math.cos(math.pi * u)) / 2


@pytest.mark.parametrize("mm", [2.0, -2.0, 0.15, -12.0])
@pytest.mark.parametrize("counts", [0.0005, 0.001, 0.01])
def test_a_plunger_goes_out_and_comes_back(mm, counts) -> None:
    hand = Hand("indicator", "a", "b", counts=counts)
    assert hand.last.outcome == "nothing"
    hand.play(0.5, a=in_and_out(mm))
    seen = hand.play(0.6)
    assert seen.outcome == "seen"
    ((name, far),) = seen.moved
    assert name == "a" and far == pytest.approx(mm, abs=2 * counts + 0.01 * abs(mm))


def test_nothing_is_decided_before_it_rests() -> None:
    hand = Hand("indicator", "a", "b")
    assert hand.play(0.5, a=in_and_out(2.0)).outcome == "moving"
    hand = Hand("travel", "a", "b")
    assert hand.play(0.5, a=away(80.0)).outcome == "moving"


def test_two_that_moved_as_much_are_said_and_a_tremble_is_not() -> None:
    hand = Hand("indicator", "a", "b")
    hand.play(0.5, a=in_and_out(2.0), b=in_and_out(0.6))
    seen = hand.play(0.6)
    assert (seen.outcome, [name for name, _ in seen.moved]) == ("two", ["a", "b"])
    hand = Hand("indicator", "a", "b")
    hand.play(0.5, a=in_and_out(2.0), b=in_and_out(0.05))
    assert hand.play(0.6).outcome == "seen"


def test_too_little_stuck_and_far_too_far() -> None:
    hand = Hand("indicator", "a", "b")
    hand.play(0.5, a=in_and_out(0.06))
    assert hand.play(0.6).outcome == "little"
    hand = Hand("indicator", "a", "b")
    hand.play(0.5, a=away(2.0))
    assert hand.play(1.0).outcome == "moving"
    assert hand.play(3.0).outcome == "stays"
    hand = Hand("indicator", "a", "b")
    hand.play(1.0, b=in_and_out(120.0))
    assert hand.play(0.6).outcome == "far"


@pytest.mark.parametrize("mm", [60.0, -60.0, 400.0])
def test_a_sled_goes_and_stays_though_the_indicator_trembles_with_it(mm) -> None:
    hand = Hand("travel", "a", "b", counts=0.01)
    hand.play(0.6, a=away(mm), b=in_and_out(0.4))
    seen = hand.play(0.6)
    assert seen.outcome == "seen" and seen.moved[0][0] == "a"
    assert seen.moved[0][1] == pytest.approx(mm, abs=0.05)


def test_a_sled_that_comes_back_goes_too_little_or_takes_another_along() -> None:
    hand = Hand("travel", "a", "b")
    hand.play(0.8, a=in_and_out(90.0))
    assert hand.play(1.6).outcome == "back"
    hand = Hand("travel", "a", "b")
    hand.play(0.3, a=away(20.0))
    assert hand.play(1.6).outcome == "little"
    hand.play(0.5, a=away(45.0))
    assert hand.play(0.6).outcome == "seen"  # what it had gone already counts
    hand = Hand("travel", "a", "b")
    hand.play(0.6, a=away(90.0), b=away(70.0))
    assert hand.play(0.6).outcome == "two"


def test_readings_sent_by_hand_one_at_a_time_tell_as_well() -> None:
    """Out, pressed in, out again: three presses of the instrument's own button."""
    one = tracker("indicator")
    for n, value in enumerate((0.0, 1.5, 0.0)):
        one.take([10.0 + 3 * n], [value])
        assert detect_press({"a": one}, 11.5 + 3 * n).outcome == (
            "nothing" if n == 0 else "moving" if n == 1 else "seen"
        )


@given(
    st.sampled_from(["0.0005", "0.001", "0.002", "0.005", "0.01", "0.02"]),
    st.sets(st.integers(-4000, 4000), min_size=30, max_size=60),
    st.sampled_from(["mm", "inch"]),
)
def test_the_count_is_what_all_differences_are_made_of(count, steps, unit) -> None:
    """Checked against exact fractions; thirty different values share no larger divisor but by rare chance."""
    places = sorted(steps)
    common = math.gcd(*(b - a for a, b in pairwise(places)))
    inch = 25.4 if unit == "inch" else 1.0
    size = Fraction(count) / (10 if unit == "inch" else 1)
    values = {float(size * n) * inch for n in steps}
    expected = float(size * common)
    one_two_five = f"{expected:.5f}".replace(".", "").strip("0") in ("1", "2", "5")
    if expected <= 0.1 / inch and one_two_five:
        assert shown_count(values, unit) == pytest.approx(expected)
    else:
        assert shown_count(values, unit) is None
    assert shown_count(set(list(values)[:5]), unit) is None

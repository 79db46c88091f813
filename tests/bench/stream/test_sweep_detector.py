"""Sweeps out of two streams: where they begin and end, what parts them, what breaks them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.stream.sweep_detector import MovementEnd, MovementFault, MovementStart, SweepDetector


class Sled:
    """Feeds a detector at 100 readings a second from a made-up journey."""

    def __init__(self, step: float = 0.01) -> None:
        self.detector = SweepDetector()
        self.t, self.s, self.step = 100.0, 0.0, step
        self.zero = 0.0  # where the scale shows nothing
        self.happened: list[object] = []

    def read(self) -> None:
        self.t += self.step
        self.happened += self.detector.travel([self.t], [round(self.s - self.zero, 2)])
        self.happened += self.detector.indicator([self.t + 0.002], [1.0 + 3e-4 * self.s])

    def rest(self, seconds: float = 0.7) -> None:
        for _ in range(int(seconds / self.step)):
            self.read()

    def go(self, to: float, speed: float) -> None:
        start, began = self.s, self.t
        while abs(self.s - to) > 1e-9:
            gone = min(abs(to - start), (self.t + self.step - began) * speed)
            self.s = start + gone * (1 if to > start else -1)
            self.read()

    @property
    def sweeps(self):
        return [s for what in self.happened if isinstance(what, MovementEnd) for s in what.sweeps]


@given(st.floats(20, 400), st.floats(60, 400), st.floats(0.003, 0.05))
def test_a_push_is_found_whole(speed: float, length: float, step: float) -> None:
    sled = Sled(step)
    sled.rest(1.0)
    sled.go(length, speed)
    sled.rest(1.2)
    (sweep,) = sled.sweeps
    assert sweep.push
    # what the first and last readings at rest can miss
    assert length - 2 * speed * step - 1.0 <= sweep.length <= length
    assert all(
        abs(r - 1.0 - 3e-4 * s) < 3e-4 * speed * step + 1e-5
        for s, r in zip(sweep.travel, sweep.reading, strict=True)
    )


def test_push_and_pull_back_without_a_rest_are_two() -> None:
    sled = Sled()
    sled.rest()
    sled.go(200, 200)
    sled.go(0, 200)
    sled.rest()
    push, pull = sled.sweeps
    assert push.push and not pull.push
    assert push.length > 195 and pull.length > 195


def test_handling_is_no_sweep_and_a_slow_hand_is_one() -> None:
    sled = Sled()
    sled.rest()
    sled.go(20, 100)
    sled.rest()
    assert sled.sweeps == []
    sled.go(120, 3.0)  # creeping, but over 0.3 mm in half a second
    sled.rest()
    assert len(sled.sweeps) == 1


def test_rest_is_under_three_tenths_in_half_a_second() -> None:
    sled = Sled()
    sled.rest()
    sled.go(100, 200)
    sled.go(100.5, 0.5)  # a quarter of a millimetre in half a second: rest
    assert len(sled.sweeps) == 1


def test_a_gap_breaks_it_and_nothing_is_joined_across() -> None:
    for stream in ("travel", "indicator"):
        sled = Sled()
        sled.rest()
        sled.go(100, 200)
        if stream == "travel":
            sled.t += 1.5
            sled.s = 160
        else:
            for _ in range(150):
                sled.t += sled.step
                sled.s += 0.5
                sled.happened += sled.detector.travel([sled.t], [sled.s])
        sled.go(250, 200)
        sled.rest(1.5)
        assert sled.sweeps == []
        (broken,) = [what for what in sled.happened if isinstance(what, MovementFault)]
        assert broken.code in ("gap", "stopped", "stopped-early")
        sled.go(0, 200)
        sled.rest()
        assert len(sled.sweeps) == 1


def test_silence_is_seen_by_the_tick() -> None:
    sled = Sled()
    sled.rest()
    sled.go(100, 200)
    assert isinstance(sled.happened[-1], MovementStart) or any(
        isinstance(w, MovementStart) for w in sled.happened
    )
    (broken,) = sled.detector.tick(sled.t + 3.0)
    assert isinstance(broken, MovementFault)
    assert not sled.detector.moving


def test_what_is_drawn_comes_once() -> None:
    sled = Sled()
    sled.rest()
    drawn = 0
    sled.s = 0.0
    for _ in range(10):
        sled.go(sled.s + 20, 200)
        travel, reading = sled.detector.fresh()
        assert len(travel) == len(reading)
        drawn += len(travel)
    sled.rest()
    assert 0 < drawn <= len(sled.sweeps[0].reading) + 60


@pytest.mark.parametrize(
    ("step", "at"), [(0.01, 40.0), (0.01, 130.0), (0.05, 40.0), (0.1, 75.0), (0.2, 75.0)]
)
@pytest.mark.parametrize("lost", [0, 1])
def test_a_zero_pressed_on_the_scale_voids_the_pass_and_is_said(step: float, at: float, lost: int) -> None:
    """lost: the gate may refuse the first reading after it."""
    sled = Sled(step)
    sled.rest(2.0)
    sled.go(at, 100)
    sled.zero = sled.s
    sled.t += lost * step
    sled.s += lost * step * 100
    sled.go(180, 100)
    sled.rest(2.0)
    (broken,) = [what for what in sled.happened if isinstance(what, MovementFault)]
    assert sled.sweeps == [] and broken.push is True
    assert broken.code == "leap"
    sled.go(0, 100)
    sled.rest(2.0)
    assert [sweep.push for sweep in sled.sweeps] == [False]


def test_a_scale_set_forward_at_rest_and_one_that_begins_to_count_inches_leap() -> None:
    sled = Sled()
    sled.rest()
    sled.zero = -80.0
    sled.rest()
    sled.go(60, 150)
    sled.zero = sled.s - (sled.s + 80) / 25.4  # and on by less; what matters is the step
    sled.go(160, 150)
    sled.rest()
    leaps = [what.code for what in sled.happened if isinstance(what, MovementFault)]
    assert leaps == ["leap", "leap"] and sled.sweeps == []


def test_a_leap_that_the_gate_hid_until_the_scale_had_caught_up_is_one() -> None:
    sled = Sled(0.02)
    sled.rest()
    sled.go(73, 150)
    sled.zero = sled.s
    while sled.s - sled.zero < 70:  # refused: off the path of those before
        sled.t, sled.s = sled.t + sled.step, sled.s + 3
        sled.detector.indicator([sled.t + 0.002], [1.0 + 3e-4 * sled.s])
    sled.go(200, 150)
    sled.rest(1.2)
    (broken,) = [what for what in sled.happened if isinstance(what, MovementFault)]
    assert broken.code == "leap" and broken.push and sled.sweeps == []


def test_readings_that_a_slow_machine_hands_on_together_are_no_leap() -> None:
    """0.2 s of readings come at once, each 0.3 ms after the other: none is lost, and the travel went on evenly."""
    detector, found, stamp = SweepDetector(), [], 0.0
    for n in range(500):
        now = n / 100.0
        held = 0.2 if 2.0 <= now < 2.2 else 0.0
        stamp = max(stamp + 3e-4, 2.2 if held else now)
        travel = 100.0 * min(max(now - 1.0, 0.0), 2.5)
        found += detector.travel([100.0 + stamp], [travel])
        found += detector.indicator([100.0 + stamp], [1.0])
    assert [type(one) for one in found] == [MovementStart, MovementEnd]


@pytest.mark.parametrize("step", [0.01, 0.05, 0.1])
def test_a_hand_that_jerks_turns_back_and_is_read_unevenly_does_not_leap(step: float) -> None:
    sled = Sled(step)
    sled.rest(2.0)
    sled.go(60, 50)
    sled.go(200, 600)  # let go and caught
    sled.go(150, 400)
    sled.go(200, 300)
    sled.t += 0.4  # readings lost on the way
    sled.s += 40
    sled.go(300, 100)
    sled.rest(2.0)
    assert not [what for what in sled.happened if isinstance(what, MovementFault)]
    assert sled.sweeps[0].push


def test_what_broke_tells_which_way_it_went() -> None:
    sled = Sled()
    sled.rest()
    for to, push in ((100, True), (10, False)):
        sled.go(to, 200)
        (broken,) = sled.detector.broken("away", name="travel")
        assert broken.push is push
        sled.rest(1.2)

"""A reading is taken when it holds still for half a second, within three counts or six times its noise, and has no trend."""

from __future__ import annotations

import random

import pytest

from bench.stream.rest_detector import NotAtRest, RestDetector, RestReading


def feed(detector: RestDetector, start: float, values, step: float = 0.05):
    answers = []
    for i, v in enumerate(values):
        answer = detector.readings([start + i * step], [v])
        if answer is not None:
            answers.append((start + i * step, answer))
    return answers


def test_taken_half_a_second_after_the_press() -> None:
    detector = RestDetector(0.001)
    feed(detector, 0.0, [1.0] * 20)
    detector.press(1.0)
    ((at, taken),) = feed(detector, 1.0, [1.0] * 20)
    assert isinstance(taken, RestReading) and taken.value == pytest.approx(1.0)
    assert 1.25 <= at <= 1.55


def test_the_old_place_is_not_taken_for_the_new_one() -> None:
    """The press may be heard before the first reading at the new mark."""
    detector = RestDetector(0.001)
    feed(detector, 0.0, [1.0] * 20)
    detector.press(1.0)
    ((_, taken),) = feed(detector, 1.0, [1.0, 1.0] + [1.5] * 30)
    assert taken.value == pytest.approx(1.5)


def test_not_while_it_moves_but_on_a_square_fence() -> None:
    detector = RestDetector(0.001)
    detector.press(0.0)
    moving = feed(detector, 0.0, [i * 0.004 for i in range(60)])
    assert not any(isinstance(a, RestReading) for _, a in moving)
    flat = RestDetector(0.001)
    flat.press(0.0)
    assert any(isinstance(a, RestReading) for _, a in feed(flat, 0.0, [2.0] * 20))


def test_three_counts_or_six_times_the_noise() -> None:
    coarse = RestDetector(0.01)
    coarse.press(0.0)
    assert feed(coarse, 0.0, [1.00, 1.01, 1.02, 1.03] * 10)
    fine = RestDetector(0.001)
    fine.press(0.0)
    assert not [
        a
        for _, a in feed(fine, 0.0, [1.00 + 0.004 * (i // 6) for i in range(30)])
        if isinstance(a, RestReading)
    ]
    chance = random.Random(3)
    noisy = RestDetector(0.001)
    noisy.press(0.0)
    assert feed(noisy, 0.0, [1 + chance.gauss(0, 0.004) for _ in range(40)])


def test_a_restless_reading_is_told_once() -> None:
    detector = RestDetector(0.001)
    detector.press(0.0)
    answers = feed(detector, 0.0, [i * 0.01 for i in range(200)])
    assert [type(a) for _, a in answers] == [NotAtRest]


def test_the_instruments_own_button_asks_and_answers() -> None:
    detector = RestDetector(0.001)
    assert detector.readings([5.0], [1.234]) is None
    assert detector.button(5.3) is None
    taken = detector.button(5.7)
    assert taken is not None and taken.value == 1.234
    assert detector.button(9.0) is None
    feed(detector, 10.0, [1.0] * 30)  # a stream is no button
    assert detector.button(12.5) is None


def test_a_slow_instrument_is_slow_but_heard() -> None:
    detector = RestDetector(0.01)
    feed(detector, 0.0, [1.0] * 6, step=0.32)
    detector.press(2.0)
    assert feed(detector, 2.1, [1.0] * 6, step=0.32)


def test_a_button_that_bounces_sends_one_number() -> None:
    detector = RestDetector(0.001)
    detector.readings([5.0, 5.3], [1.234, 1.235])
    taken = detector.button(6.0)
    assert taken is not None and taken.value == 1.234
    assert detector.button(9.0) is None


def test_a_slow_stream_that_loses_a_reading_is_no_button() -> None:
    detector = RestDetector(0.001)
    for at in (0.0, 0.5, 1.0, 1.5, 2.5, 3.5):  # two were lost
        detector.readings([at], [at])
        assert detector.button(at + 0.99) is None or at == 0.0


@pytest.mark.parametrize("rate", [8, 10, 13])
def test_a_steady_creep_is_no_noise(rate: int) -> None:
    """Its steps are all alike: as noise it would be allowed six times as much as it goes in a reading."""
    detector = RestDetector(0.001)
    feed(detector, 0.0, [n / rate for n in range(10)], 1 / rate)
    detector.press(10 / rate)
    answers = feed(detector, 10 / rate, [n / rate for n in range(10, 80)], 1 / rate)
    assert [type(answer) for _, answer in answers] == [NotAtRest]

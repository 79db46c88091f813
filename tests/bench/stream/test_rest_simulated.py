"""Simulated readings, 2 to 200 a second: none is taken while it runs, and one at rest is taken within a second.

The noise is white, related over 50 ms (a first-order autoregressive process), or a vibration of 2 to 9 Hz.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np
import pytest
from everyday import everyday

from bench.stream.rest_detector import SLOWEST_MOTION, RestDetector, RestReading

RATES = (2, 3, 5, 8, 10, 13, 20, 50, 100, 200)
FINE = 0.0031  # mm: three counts of a fine indicator, a third of one of a coarse one


class Instrument(NamedTuple):
    rate: float
    count: float
    noise: float  # counts of standard deviation
    kind: str
    jitter: float  # of an interval
    block: int  # readings that arrive together


def drawn(chance: np.random.Generator, rate: float) -> Instrument:
    return Instrument(
        rate,
        float(chance.choice([0.001, 0.01])),
        float(chance.choice([0.0, 0.3, 1.0, 3.0])),
        str(chance.choice(["white", "white", "related", "vibration"])),
        float(chance.choice([0.0, 0.2])),
        int(chance.choice([1, 1, 3])),
    )


def noise(chance: np.random.Generator, one: Instrument, times: np.ndarray) -> np.ndarray:
    white = chance.standard_normal(times.size)
    if one.kind == "vibration":
        hertz, phase = chance.uniform(2, 9), chance.uniform(0, 2 * np.pi)
        return np.sqrt(2) * np.sin(2 * np.pi * hertz * times + phase)
    if one.kind == "related":
        rho = np.exp(-1 / (one.rate * 0.05))
        for i in range(1, times.size):
            white[i] = rho * white[i - 1] + np.sqrt(1 - rho**2) * white[i]
    return white


def taken(
    chance: np.random.Generator, one: Instrument, path: Callable[[np.ndarray], np.ndarray], until: float
) -> tuple[float, float] | None:
    """(s after the press, mm) of what is taken of a path over time; the press is at 0, the stream begins 4 s before."""
    n = int((4 + until) * one.rate)
    times = -4 + (np.arange(n) + chance.uniform() + chance.uniform(-one.jitter, one.jitter, n)) / one.rate
    shown = (
        path(times)
        + chance.uniform(-1, 1) * 0.5 * one.count
        + noise(chance, one, times) * one.noise * one.count
    )
    shown = np.round(shown / one.count) * one.count
    detector = RestDetector(one.count)
    pressed = False
    for at in range(0, n, one.block):
        block = slice(at, at + one.block)
        if not pressed and times[block][-1] >= 0:
            detector.press(0.0)
            pressed = True
        answer = detector.readings(times[block].tolist(), shown[block].tolist())
        if isinstance(answer, RestReading):
            return float(times[block][-1]), answer.value
    return None


def in_motion(chance: np.random.Generator, rate: float, fastest: float = 50.0) -> tuple[str, float] | None:
    """Kind of noise and speed in mm/s, where one is taken that moves."""
    one = drawn(chance, rate)
    speed = float(np.exp(chance.uniform(np.log(SLOWEST_MOTION), np.log(fastest))))
    way = chance.choice([-1, 1])
    return None if taken(chance, one, lambda t: way * speed * t, 3.0) is None else (one.kind, speed)


def at_rest(
    chance: np.random.Generator, rate: float, rests: tuple[float, ...], *, fine: bool = True
) -> float:
    """s till it is taken, of a hand that came to rest one of `rests` seconds before the press."""
    one = drawn(chance, rate)
    while fine and one.noise * one.count > FINE:
        one = drawn(chance, rate)
    speed, since = np.exp(chance.uniform(np.log(0.05), np.log(50))), chance.choice(rests)
    found = taken(chance, one, lambda t: speed * np.minimum(t + since, 0), 4.0)
    return np.inf if found is None else found[0]


def begun_meanwhile(chance: np.random.Generator, rate: float) -> bool:
    """Whether one is taken of a sled that rested first and runs from about the press on, when it has gone a way."""
    one = drawn(chance, rate)
    if one.noise * one.count > FINE:
        one = one._replace(count=0.001)
    speed, since = np.exp(chance.uniform(np.log(SLOWEST_MOTION), np.log(5))), chance.uniform(-0.3, 1.5)

    def path(t: np.ndarray | float) -> np.ndarray:
        return speed * np.maximum(t + since, 0)

    found = taken(chance, one, path, 3.0)
    return found is not None and abs(found[1] - path(found[0])) > 0.2 * SLOWEST_MOTION + 3 * one.count


@pytest.mark.parametrize("rate", [5, *(pytest.param(r, marks=pytest.mark.slow) for r in RATES if r != 5)])
def test_a_rest_before_does_not_hide_that_it_runs_now(rate: int) -> None:
    """Of 300 a rate up to 24 were taken so while any stretch of rest before was let speak for now."""
    chance = np.random.default_rng(7000 + rate)
    assert sum(begun_meanwhile(chance, rate) for _ in range(300)) <= 2


@pytest.mark.parametrize("rate", everyday(RATES, 3))
def test_none_is_taken_in_motion_and_nearly_all_at_rest(rate: int) -> None:
    chance = np.random.default_rng(rate)
    assert not any(in_motion(chance, rate) for _ in range(12))
    soon = np.array([at_rest(chance, rate, (1.0, 3.0)) for _ in range(10)]) <= (1.0 if rate >= 5 else 2.0)
    assert soon.sum() >= 9


@pytest.mark.slow
@pytest.mark.parametrize("rate", RATES)
def test_no_reading_of_ten_thousand_is_taken_in_motion(rate: int) -> None:
    """0.02 to 50 mm/s, all counts and noises; a thousand a rate."""
    chance = np.random.default_rng(1000 + rate)
    assert [one for one in (in_motion(chance, rate) for _ in range(1000)) if one is not None] == []


@pytest.mark.slow
@pytest.mark.parametrize("rate", RATES)
def test_a_creep_is_hidden_by_an_aliased_vibration_only(rate: int) -> None:
    """The dangerous speeds alone, 0.02 to 0.05 mm/s. Below ten readings a second a vibration near a multiple of
    the rate is seen as a slow wave that may hide a creep of up to twice SLOWEST_MOTION: no test of readings tells.
    """
    chance = np.random.default_rng(7000 + rate)
    found = [in_motion(chance, rate, 0.05) for _ in range(1000 if rate < 50 else 300)]
    wrong = [one for one in found if one is not None]
    assert all(kind == "vibration" and rate < 10 and speed < 2 * SLOWEST_MOTION for kind, speed in wrong)
    assert len(wrong) <= 5


@pytest.mark.slow
@pytest.mark.parametrize("rate", RATES)
def test_ten_thousand_at_rest_are_taken_within_a_second(rate: int) -> None:
    """From eight readings a second on; slower ones need readings enough, so that some take longer.

    Where the hand came to rest only just before the press there is less to go by: two seconds, or nine intervals.
    """
    chance = np.random.default_rng(2000 + rate)
    waits = np.array([at_rest(chance, rate, (1.0, 3.0)) for _ in range(800)])
    assert np.mean(waits <= (1.0 if rate >= 8 else 2.0 if rate >= 3 else 3.6)) >= 0.99
    waits = np.array([at_rest(chance, rate, (0.3,)) for _ in range(200)])
    assert np.mean(waits <= (2.0 if rate >= 5 else 9 / rate)) >= 0.98


@pytest.mark.parametrize("rate", everyday(RATES, 3))
@pytest.mark.parametrize("jump", [0.02, 0.1, 1.0])
def test_a_sled_that_sticks_and_slips_is_in_motion(rate: int, jump: float) -> None:
    """It rests for 0.3 s between two jumps."""
    chance = np.random.default_rng(rate)
    for _ in range(3):
        one = drawn(chance, rate)._replace(count=0.001)
        assert taken(chance, one, lambda t: jump * np.floor((t + chance.uniform()) / 0.3), 3.0) is None


@pytest.mark.parametrize("rate", everyday(RATES, 3))
def test_a_hand_that_comes_to_rest_by_degrees_is_taken_where_it_ends(rate: int) -> None:
    """At 10 mm/s till the press, then exponentially with 0.2 s: at the limiting speed 0.004 mm is still to go."""
    chance = np.random.default_rng(rate)
    for _ in range(5):
        one = drawn(chance, rate)._replace(count=0.001, noise=0.3)
        found = taken(chance, one, lambda t: 2 * np.exp(-np.maximum(t, 0) / 0.2) - 10 * np.minimum(t, 0), 6.0)
        assert found is not None and abs(found[1]) < 0.2 * SLOWEST_MOTION + 3 * one.count

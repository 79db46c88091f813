"""A live move over simulated noise: what noise alone makes it say, and how soon a move the wrong way is called.

The noises are of the tests' own: white, slow (first-order autoregressive), a count that flickers, hum, rounded to the
gauge's count. 20 readings a second; every second of rest may be the one in which a wrong word is said.
"""

from __future__ import annotations

import json
import math
import random
from collections.abc import Callable, Iterator

import pytest
from everyday import everyday

from bench.finding import Finding, Quantity
from bench.gear import Jig
from bench.procedure.live_move import LiveMove
from bench.protocol import LiveMoveNotice, LiveMoveRequest
from bench.render.notices import with_words

JIG = Jig("s", pivot="right", pivot_to_blade=250.0, pivot_to_screw=480.0)
TARGET = 0.144  # mm away, at the tip


def white(rng: random.Random, sigma: float) -> Iterator[float]:
    while True:
        yield rng.gauss(0, sigma)


def slow(rng: random.Random, sigma: float) -> Iterator[float]:
    """Of half a second's memory, as a damped stand that trembles."""
    x, keep = 0.0, 0.9
    while True:
        x = keep * x + math.sqrt(1 - keep**2) * rng.gauss(0, sigma)
        yield x


def flicker(rng: random.Random, sigma: float) -> Iterator[float]:
    while True:
        yield sigma if rng.random() < 0.5 else 0.0


def hum(rng: random.Random, sigma: float) -> Iterator[float]:
    phase = rng.uniform(0, 7)
    for n in range(10**9):
        yield sigma * math.sqrt(2) * math.sin(phase + 1.7 * n) + rng.gauss(0, sigma / 5)


NOISES: dict[str, Callable[[random.Random, float], Iterator[float]]] = {
    f.__name__: f for f in (white, slow, flicker, hum)
}
CASES = [(name, counts) for name in NOISES for counts in (0.3, 1.0, 1.5 if name == "slow" else 3.0)]


class Sled:
    def __init__(self, name: str, counts: float, seed: int, drew: float | None = None) -> None:
        finding = Finding(
            id="f",
            check="fence-square",
            quantities=[Quantity("fence", TARGET / 480, "rad", 2e-5, 9.0, JIG.tolerance, "outside", "")],
            verdict="outside",
            jig="s",
        )
        self.live = LiveMove(LiveMoveRequest(True, "f"), finding, JIG, 0.001, drew)
        self.noise = NOISES[name](random.Random(f"{name} {counts} {seed}"), counts * 0.001)
        self.t = 0.0
        for _ in range(2):
            self.rest(5.0)
            self.live.press()
        assert self.live.phase == "go", self.said().words

    def said(self) -> LiveMoveNotice:
        return with_words(self.live.notice(), "mm")

    def hear(self, at: float) -> LiveMoveNotice:
        self.t += 0.05
        value = round((2.5 + at + next(self.noise)) / 0.001) * 0.001
        self.live.readings([self.t], [value])
        return self.live.notice()

    def rest(self, seconds: float) -> int:
        """How many times `there`, `wrong` or Enter was said in it."""
        wrong = 0
        for _ in range(round(seconds * 20)):
            said = self.hear(0.0)
            wrong += said.wrong or said.there or (said.phase == "go" and said.enter)
        return wrong


def _at_rest(name: str, counts: float, seconds: float) -> int:
    return sum(Sled(name, counts, seed).rest(50.0) for seed in range(round(seconds / 50)))


@pytest.mark.parametrize(("name", "counts"), everyday(CASES, 5))
def test_noise_alone_says_neither_there_nor_wrong_way(name: str, counts: float) -> None:
    assert _at_rest(name, counts, 50.0) == 0


@pytest.mark.slow
@pytest.mark.parametrize(("name", "counts"), CASES)
def test_nor_in_ten_thousand_seconds(name: str, counts: float) -> None:
    said = _at_rest(name, counts, 5000.0) + Sled(name, counts, 1000).rest(5000.0)
    print(json.dumps({"noise": name, "counts": counts, "seconds": 10_000, "falsely_said": said}))
    assert said == 0


@pytest.mark.parametrize(("name", "counts"), everyday(CASES, 5))
def test_a_turn_the_wrong_way_is_called_at_once_and_one_the_right_way_is_not(
    name: str, counts: float
) -> None:
    """A wrist turns the free end by some 0.1 mm a second. Called within three tenths of a second of the noise's edge,
    twice the noise beyond it; never on the way to the aim, and there within two seconds of coming to it."""
    for seed in range(3):
        sled = Sled(name, counts, seed)
        edge = max(0.002, 3 * counts * 0.001) + 0.002 * counts
        called = next(n for n in range(1, 100) if sled.hear(-0.005 * n).wrong)
        assert called * 0.05 <= edge / 0.1 + 0.3, called
        sled = Sled(name, counts, seed)
        assert not any(sled.hear(0.005 * n).wrong for n in range(1, 29))
        assert any(sled.hear(TARGET).there for _ in range(40))

"""When a reading holds still, and what it is then: marks, spots and leans are taken this way.

A mark is asked for (Enter, pedal, the instrument's own button, a beat); it cannot be found by the reading
moving, since on a square fence it does not move. Pure: times in monotonic s, readings in mm.
May import: nothing of the house.
"""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

HOLD = 0.5  # s that the reading must hold
LEAD = 0.2  # s of it that may lie before the press: the hand presses after the sled has stopped
COUNTS = 3.0
NOISES = 6.0
ALONE = 0.6  # s of silence around a reading that was sent at the instrument's own button
IMPATIENT = 4.0  # s of waiting after which the person is told why
EPS = 1e-9


@dataclass(slots=True)
class Taken:
    value: float
    spread: float
    readings: int
    at: float


@dataclass(slots=True)
class Restless:
    """It does not hold still: spread seen and spread allowed, mm; said once a wait."""

    spread: float
    allowed: float


class Stillness:
    """resolution: the instrument's count in mm; None: the smallest step seen so far."""

    def __init__(self, resolution: float | None = None) -> None:
        self._given = resolution
        self._seen: float | None = None
        self._last_value: float | None = None
        self._window: deque[tuple[float, float]] = deque()
        self._pressed: float | None = None
        self._told = False
        self._alone: tuple[float, float] | None = None  # a reading that may have come from a button
        self._last: float | None = None

    @property
    def waiting(self) -> bool:
        return self._pressed is not None

    @property
    def count(self) -> float:
        return self._given or self._seen or 0.001

    def press(self, now: float) -> None:
        self._pressed = now
        self._told = False

    def cancel(self) -> None:
        self._pressed = None

    def readings(self, times: Sequence[float], values: Sequence[float]) -> Taken | Restless | None:
        """Take in readings; the answer to the press when there is one."""
        answer: Taken | Restless | None = None
        for t, v in zip(times, values, strict=True):
            self._note(t, v)
            if answer is None and self._pressed is not None:
                answer = self._look()
                if isinstance(answer, Taken):
                    self._pressed = None
        return answer

    def button(self, now: float) -> Taken | None:
        """A reading that stood alone in its silence was sent by hand: it asks and answers at once."""
        if self._alone is None or now - self._alone[0] < ALONE:
            return None
        at, value = self._alone
        self._alone = None
        self._pressed = None
        return Taken(value, 0.0, 1, at)

    def allowed(self) -> float:
        """Spread in mm that still counts as still: three counts, or six times the noise at rest."""
        values = [v for _, v in self._window]
        noise = 0.0
        if len(values) >= 6:
            # successive differences: what moves slowly is not taken for noise
            steps = [abs(b - a) for a, b in pairwise(values)]
            noise = statistics.median(steps) / 0.9539  # median |difference| of two normal values
        return max(COUNTS * self.count, NOISES * noise) + EPS

    def _note(self, t: float, v: float) -> None:
        if self._last is None or t - self._last > ALONE:
            self._window.clear()
            self._alone = (t, v)
        elif self._alone is not None and t > self._alone[0]:
            self._alone = None
        if self._last_value is not None:
            step = abs(v - self._last_value)
            if step > EPS and (self._seen is None or step < self._seen):
                self._seen = max(step, 1e-5)
        self._last, self._last_value = t, v
        self._window.append((t, v))
        while len(self._window) > 2 and self._window[1][0] <= t - HOLD:
            self._window.popleft()

    def _look(self) -> Taken | Restless | None:
        assert self._pressed is not None
        first, last = self._window[0][0], self._window[-1][0]
        values = [v for _, v in self._window]
        spread = max(values) - min(values)
        allowed = self.allowed()
        held = last - first >= HOLD - EPS and first >= self._pressed - LEAD and len(values) >= 3
        if held and spread <= allowed:
            return Taken(statistics.fmean(values), spread, len(values), last)
        if not self._told and last - self._pressed > IMPATIENT and spread > allowed:
            self._told = True
            return Restless(spread, allowed)
        return None

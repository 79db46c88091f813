"""From two streams to sweeps: when the sled left rest, when it came to rest, and the
paired line between.

Pure: times come in as arguments (monotonic s), travel and reading in mm, travel growing
away from the operator.
"""

from __future__ import annotations

import statistics
from bisect import bisect_left
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise

REST_SPAN = 0.3  # mm; less than this ...
REST_TIME = 0.5  # ... in so many seconds is rest
# mm drawn back before a push and a pull-back without a rest between are told apart
TURN = 5.0
LEAST = 30.0  # mm; anything shorter is handling, not a sweep
GAP = 0.6  # s without a reading (or four usual intervals) breaks a sweep
# s (or four usual intervals) without a reading at the end of a pass, and its end is not
# known
TORN = 0.3
LEAP = 10.0  # mm between two readings; less is a quick hand
LEAPS = 5.0  # times as far, and
FASTER = 3.0  # times as fast as the readings beside it: no sled goes so
HOLE = 0.15  # s without a reading of the travel amid the others, and
HARDLY = 0.25  # of the way that was due in it: the scale counts from elsewhere
LOOK_BACK = 1.5  # s of indicator readings kept while at rest


@dataclass(slots=True)
class Sweep:
    """A sweep that came to its end. travel and reading are paired at the indicator's
    stamps `at`."""

    began: float
    ended: float
    push: bool
    travel: list[float]
    reading: list[float]
    at: list[float]

    @property
    def length(self) -> float:
        return abs(self.travel[-1] - self.travel[0]) if self.travel else 0.0


@dataclass(slots=True)
class Began:
    began: float


@dataclass(slots=True)
class Ended:
    began: float
    sweeps: list[Sweep]


@dataclass(slots=True)
class Broken:
    """The movement cannot be used: whole sentence why. push: which way it went, as far
    as that was seen."""

    began: float
    words: str
    push: bool | None = None


SweepEvent = Began | Ended | Broken


@dataclass(slots=True)
class _Window:
    """Smallest and largest travel over the last REST_TIME, in constant time a reading."""

    times: deque[float] = field(default_factory=deque)
    values: deque[float] = field(default_factory=deque)
    lows: deque[tuple[float, float]] = field(default_factory=deque)
    highs: deque[tuple[float, float]] = field(default_factory=deque)

    def add(self, t: float, s: float) -> None:
        times, values, lows, highs = self.times, self.values, self.lows, self.highs
        times.append(t)
        values.append(s)
        while lows and lows[-1][1] >= s:
            lows.pop()
        lows.append((t, s))
        while highs and highs[-1][1] <= s:
            highs.pop()
        highs.append((t, s))
        old = t - REST_TIME
        # one reading older than the window stays, so that the window is covered
        # whatever the rate
        while len(times) > 1 and times[1] <= old:
            times.popleft()
            values.popleft()
        first = times[0]
        while lows[0][0] < first:
            lows.popleft()
        while highs[0][0] < first:
            highs.popleft()

    @property
    def span(self) -> float:
        return self.highs[0][1] - self.lows[0][1]

    @property
    def covered(self) -> bool:
        return self.times[-1] - self.times[0] >= REST_TIME

    def clear(self) -> None:
        for queue in (self.times, self.values, self.lows, self.highs):
            queue.clear()


class SweepDetector:
    """Feed it both streams in any interleaving; it says when a movement began, ended or
    broke."""

    def __init__(self) -> None:
        self._window = _Window()
        self._state = "unknown"
        self._began = 0.0
        self._times: list[float] = []
        self._travel: list[float] = []
        self._read_times: deque[float] = deque()
        self._readings: deque[float] = deque()
        self._intervals: deque[float] = deque(maxlen=64)
        self._read_intervals: deque[float] = deque(maxlen=64)
        self._drawn = 0

    @property
    def moving(self) -> bool:
        return self._state == "moving"

    @property
    def at_rest(self) -> bool:
        return self._state == "rest"

    def travel(
        self, times: Sequence[float], values: Sequence[float]
    ) -> list[SweepEvent]:
        out: list[SweepEvent] = []
        window = self._window
        for t, s in zip(times, values, strict=True):
            if window.times:
                gap = t - window.times[-1]
                if gap > self._allowed(self._intervals):
                    self._break(out, f"the travel readings stopped for {gap:.1f} s")
                    self._restart()
                elif gap > 0:
                    self._intervals.append(gap)
            window.add(t, s)
            if self._state == "moving":
                self._times.append(t)
                self._travel.append(s)
                if window.span < REST_SPAN and window.covered:
                    out.append(self._end())
            elif window.span >= REST_SPAN:
                if self._state == "rest":
                    out.append(self._begin())
            elif window.covered:
                self._state = "rest"
        return out

    def indicator(
        self, times: Sequence[float], values: Sequence[float]
    ) -> list[SweepEvent]:
        out: list[SweepEvent] = []
        if not times:
            return out
        if self._read_times:
            gap = times[0] - self._read_times[-1]
            if self._state == "moving" and gap > self._allowed(self._read_intervals):
                self._break(out, f"the indicator's readings stopped for {gap:.1f} s")
            elif gap > 0:
                self._read_intervals.append(
                    (times[-1] - self._read_times[-1]) / len(times)
                )
        self._read_times.extend(times)
        self._readings.extend(values)
        if self._state != "moving":
            old = times[-1] - LOOK_BACK
            while self._read_times and self._read_times[0] < old:
                self._read_times.popleft()
                self._readings.popleft()
        return out

    def tick(self, now: float) -> list[SweepEvent]:
        """Readings that stop altogether break a movement too."""
        out: list[SweepEvent] = []
        if self._state == "moving":
            if now - self._window.times[-1] > 2 * self._allowed(self._intervals):
                self._break(out, "the travel readings stopped")
                self._restart()
            elif self._read_times and now - self._read_times[-1] > 2 * self._allowed(
                self._read_intervals
            ):
                self._break(out, "the indicator's readings stopped")
        return out

    def broken(self, why: str) -> list[SweepEvent]:
        """Something outside says that what is being swept cannot be used (cable pulled,
        unit switched)."""
        out: list[SweepEvent] = []
        self._break(out, why)
        self._restart()
        return out

    def fresh(self) -> tuple[list[float], list[float]]:
        """Pairs of the movement under way that were not handed out yet, for drawing."""
        if self._state != "moving" or len(self._times) < 2:
            return [], []
        read_times = list(self._read_times)
        start = max(self._drawn, bisect_left(read_times, self._times[0]))
        stop = bisect_left(read_times, self._times[-1])
        if stop <= start:
            return [], []
        readings = list(self._readings)[start:stop]
        self._drawn = stop
        return _interpolate(read_times[start:stop], self._times, self._travel), readings

    # ---- inside ----------------------------------------------------------------------

    @staticmethod
    def _allowed(intervals: deque[float], least: float = GAP) -> float:
        return max(least, 4.0 * statistics.median(intervals)) if intervals else least

    def _begin(self) -> Began:
        window = self._window
        times, values = list(window.times), list(window.values)
        rest = values[0]
        start = 0
        for index, s in enumerate(values):
            if abs(s - rest) < REST_SPAN / 3:
                start = index
        self._times = times[start:]
        self._travel = values[start:]
        # the first reading away from rest: the last one at rest may be older than the
        # word "ready"
        self._began = self._times[min(1, len(self._times) - 1)]
        self._drawn = 0
        self._state = "moving"
        return Began(self._began)

    def _end(self) -> Ended | Broken:
        stop = self._window.times[0]
        last = bisect_left(self._times, stop) + 1
        times, travel = self._times[:last], self._travel[:last]
        if (
            leap := _leap(self._times[: last + 3], self._travel[: last + 3])
        ) is not None:
            size, place, before = leap
            self._state = "rest"
            self._times, self._travel = [], []
            why = (
                f"the travel leaps by {size:.0f} mm at {place:.0f} mm: was its zero"
                " pressed, or its unit switched?"
            )
            return Broken(
                self._began, f"This pass cannot be used: {why}", _way(travel[:before])
            )
        read_times, readings = list(self._read_times), list(self._readings)
        sweeps = []
        silent = 0.0
        for first, final in _turns(travel):
            if abs(travel[final] - travel[first]) < LEAST:
                continue
            piece_t, piece_s = times[first : final + 1], travel[first : final + 1]
            if self._read_times:
                # an indicator that fell silent on the way leaves the end of the pass
                # unread
                silent = max(silent, piece_t[-1] - self._read_times[-1])
            i, j = (
                bisect_left(read_times, piece_t[0]),
                bisect_left(read_times, piece_t[-1]),
            )
            at = read_times[i:j]
            sweeps.append(
                Sweep(
                    began=piece_t[0],
                    ended=piece_t[-1],
                    push=piece_s[-1] > piece_s[0],
                    travel=_interpolate(at, piece_t, piece_s),
                    reading=readings[i:j],
                    at=at,
                )
            )
        way = _way(travel)
        self._state = "rest"
        self._times, self._travel = [], []
        if silent > self._allowed(self._read_intervals, TORN):
            why = f"the indicator's readings stopped {silent:.1f} s before its end"
            return Broken(self._began, f"This pass cannot be used: {why}.", way)
        return Ended(self._began, sweeps)

    def _break(self, out: list[SweepEvent], why: str) -> None:
        if self._state == "moving":
            way = _way(self._travel)
            out.append(Broken(self._began, f"This pass cannot be used: {why}.", way))
        self._state = "unknown"
        self._times, self._travel = [], []
        self._read_times.clear()
        self._readings.clear()

    def _restart(self) -> None:
        self._state = "unknown"
        self._window.clear()
        self._intervals.clear()
        self._read_intervals.clear()


def _turns(travel: Sequence[float]) -> list[tuple[int, int]]:
    """Index pairs of the monotone stretches: a reversal of more than TURN mm parts
    them."""
    pieces: list[tuple[int, int]] = []
    first = extreme = 0
    direction = 0
    for index, s in enumerate(travel):
        ahead = s - travel[extreme]
        if direction == 0:
            if abs(s - travel[first]) > TURN:
                direction = 1 if s > travel[first] else -1
                extreme = index
        elif ahead * direction >= 0:
            extreme = index
        elif ahead * direction < -TURN:
            pieces.append((first, extreme))
            first, extreme, direction = extreme, index, -direction
    if direction:
        pieces.append((first, extreme))
    return pieces


def _way(travel: Sequence[float]) -> bool | None:
    """True for a push, False for a pull-back: the first stretch of it; None where it
    hardly went anywhere."""
    first, final = next(iter(_turns(travel)), (0, 0))
    return travel[final] > travel[first] if final > first else None


def _leap(
    times: Sequence[float], travel: Sequence[float]
) -> tuple[float, float, int] | None:
    """(mm, where, how many readings before it) of a step from one reading to the next
    that no sled makes.

    Far beyond the steps on both sides of it, in length and in speed; or back for one
    reading only, amid a way on: a slow scale shows no more of it. Its zero was pressed,
    or its unit switched without a word.
    """
    steps = [b - a for a, b in pairwise(travel)]
    spans = [max(b - a, 1e-3) for a, b in pairwise(times)]
    for i, step in enumerate(steps):
        beside = [*range(max(0, i - 3), i), *range(i + 1, min(len(steps), i + 4))]
        if abs(step) <= LEAP or not beside:
            continue
        between = steps[i - 1 : i] + steps[i + 1 : i + 2]
        back = len(between) == 2 and all(
            step * other < 0 and abs(other) > REST_SPAN for other in between
        )
        far = abs(step) > LEAPS * max(abs(steps[j]) for j in beside)
        fast = abs(step) / spans[i] > FASTER * max(
            abs(steps[j]) / spans[j] for j in beside
        )
        if back or (far and fast):
            return abs(step), travel[i], i + 1
    return _held_back(times, travel)


def _held_back(
    times: Sequence[float], travel: Sequence[float]
) -> tuple[float, float, int] | None:
    """The same where the gate held back what came after the leap until it fitted again:
    a hole amid a way on, in which the travel hardly goes on."""
    for i in range(3, len(times) - 4):
        hole = times[i + 1] - times[i]
        if hole < HOLE:
            continue
        before = (travel[i] - travel[i - 3]) / max(1e-3, times[i] - times[i - 3])
        after = (travel[i + 4] - travel[i + 1]) / max(1e-3, times[i + 4] - times[i + 1])
        due, came = (before + after) / 2 * hole, travel[i + 1] - travel[i]
        if before * after > 0 and abs(due - came) > LEAP and came / due < HARDLY:
            return abs(due - came), travel[i], i + 1
    return None


def _interpolate(
    at: Sequence[float], times: Sequence[float], values: Sequence[float]
) -> list[float]:
    """values at the stamps `at`, linear between neighbours; both stamp lists rise."""
    out: list[float] = []
    k, last = 0, len(times) - 1
    for t in at:
        while k < last - 1 and times[k + 1] < t:
            k += 1
        width = times[k + 1] - times[k] if last else 0.0
        share = (t - times[k]) / width if width > 0 else 0.0
        out.append(
            values[k]
            + (values[min(k + 1, last)] - values[k]) * min(1.0, max(0.0, share))
        )
    return out

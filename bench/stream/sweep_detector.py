"""The sweep detector: finds sweeps in the two streams and pairs their readings.

A sweep lasts from the sled's leaving rest to its coming to rest. Pure: times come in as
arguments (monotonic s), travel and reading in mm, travel growing away from the
operator.
"""

from __future__ import annotations

import statistics
from bisect import bisect_left
from collections import deque
from collections.abc import Mapping, Sequence

import msgspec

from bench.stream.travel_segments import find_jump, is_forward, segments

REST_SPAN_MM = 0.3  # mm of travel within REST_TIME_S that still counts as rest; chosen
REST_TIME_S = 0.5  # s
LEAST_SWEEP = 30.0  # mm; a shorter movement is handling, not a sweep
GAP_S = 0.6  # s without a reading (or four usual intervals) that break a sweep
# s without a reading (or four usual intervals) that leave the end of a pass unknown
TORN_S = 0.3
LOOK_BACK_S = 1.5  # s of indicator readings kept while at rest


class Sweep(msgspec.Struct):
    """A finished sweep. travel, reading: paired at the indicator's stamps `at`."""

    push: bool
    travel: list[float]
    reading: list[float]
    at: list[float]

    @property
    def length(self) -> float:
        return abs(self.travel[-1] - self.travel[0]) if self.travel else 0.0


class MovementStart(msgspec.Struct):
    began: float


class MovementEnd(msgspec.Struct):
    began: float
    sweeps: list[Sweep]


class MovementFault(msgspec.Struct):
    """A movement that cannot be used, and why, as a code of `bench.render` with its
    values. push: whether it went forward; None where that was not seen."""

    began: float
    code: str
    values: Mapping[str, object]
    push: bool | None = None


MovementEvent = MovementStart | MovementEnd | MovementFault


class _Window:
    """The travel over the last REST_TIME_S, as (s, mm), and its smallest and largest
    value; constant time a reading."""

    def __init__(self) -> None:
        self.points: deque[tuple[float, float]] = deque()
        self.lows: deque[tuple[float, float]] = deque()
        self.highs: deque[tuple[float, float]] = deque()

    def add(self, t: float, s: float) -> None:
        points, lows, highs, point = self.points, self.lows, self.highs, (t, s)
        points.append(point)
        while lows and lows[-1][1] >= s:
            lows.pop()
        lows.append(point)
        while highs and highs[-1][1] <= s:
            highs.pop()
        highs.append(point)
        # One reading older than the window stays, so that the window is covered at any
        # rate.
        while len(points) > 1 and points[1][0] <= t - REST_TIME_S:
            points.popleft()
        first = points[0][0]
        while lows[0][0] < first:
            lows.popleft()
        while highs[0][0] < first:
            highs.popleft()

    @property
    def span(self) -> float:
        return self.highs[0][1] - self.lows[0][1]

    @property
    def covered(self) -> bool:
        return self.points[-1][0] - self.points[0][0] >= REST_TIME_S

    def clear(self) -> None:
        for queue in (self.points, self.lows, self.highs):
            queue.clear()


class SweepDetector:
    """Takes both streams in any interleaving; returns the events of movements: began,
    ended, broken."""

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
    ) -> list[MovementEvent]:
        out: list[MovementEvent] = []
        window = self._window
        for t, s in zip(times, values, strict=True):
            if window.points:
                self._note_interval(t - window.points[-1][0], out)
            window.add(t, s)
            if self._state == "moving":
                self._times.append(t)
                self._travel.append(s)
                if window.span < REST_SPAN_MM and window.covered:
                    out.append(self._end())
            elif window.span >= REST_SPAN_MM:
                if self._state == "rest":
                    out.append(self._begin())
            elif window.covered:
                self._state = "rest"
        return out

    def indicator(
        self, times: Sequence[float], values: Sequence[float]
    ) -> list[MovementEvent]:
        out: list[MovementEvent] = []
        if not times:
            return out
        if self._read_times:
            gap = times[0] - self._read_times[-1]
            if self._state == "moving" and gap > self._allowed(self._read_intervals):
                self._break(out, "gap", name="indicator", seconds=gap)
            elif gap > 0:
                self._read_intervals.append(
                    (times[-1] - self._read_times[-1]) / len(times)
                )
        self._read_times.extend(times)
        self._readings.extend(values)
        if self._state != "moving":
            old = times[-1] - LOOK_BACK_S
            while self._read_times and self._read_times[0] < old:
                self._read_times.popleft()
                self._readings.popleft()
        return out

    def tick(self, now: float) -> list[MovementEvent]:
        """Break the movement when the readings have stopped altogether."""
        out: list[MovementEvent] = []
        if self._state == "moving":
            if now - self._window.points[-1][0] > 2 * self._allowed(self._intervals):
                self._break(out, "stopped", name="travel")
                self._restart()
            elif self._read_times and now - self._read_times[-1] > 2 * self._allowed(
                self._read_intervals
            ):
                self._break(out, "stopped", name="indicator")
        return out

    def broken(self, code: str, **values: object) -> list[MovementEvent]:
        """Break the movement for an outside reason (cable pulled, unit switched)."""
        out: list[MovementEvent] = []
        self._break(out, code, **values)
        self._restart()
        return out

    def fresh(self) -> tuple[list[float], list[float]]:
        """The pairs of the movement under way since the last call, for drawing."""
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

    def _note_interval(self, seconds: float, out: list[MovementEvent]) -> None:
        """The time between two readings of the travel; a gap breaks the movement."""
        if seconds > self._allowed(self._intervals):
            self._break(out, "gap", name="travel", seconds=seconds)
            self._restart()
        elif seconds > 0:
            self._intervals.append(seconds)

    @staticmethod
    def _allowed(intervals: deque[float], least: float = GAP_S) -> float:
        return max(least, 4.0 * statistics.median(intervals)) if intervals else least

    def _begin(self) -> MovementStart:
        points = list(self._window.points)
        rest = points[0][1]
        near = [
            k for k, (_, s) in enumerate(points) if abs(s - rest) < REST_SPAN_MM / 3
        ]
        self._times = [t for t, _ in points[near[-1] :]]
        self._travel = [s for _, s in points[near[-1] :]]
        # The sweep began with the first reading away from rest: the last one at rest
        # may be older than the word "ready".
        self._began = self._times[min(1, len(self._times) - 1)]
        self._drawn = 0
        self._state = "moving"
        return MovementStart(self._began)

    def _end(self) -> MovementEnd | MovementFault:
        stop = self._window.points[0][0]
        last = bisect_left(self._times, stop) + 1
        times, travel = self._times[:last], self._travel[:last]
        end = last + 3  # a leap at the end shows in the readings after it
        if (found := find_jump(self._times[:end], self._travel[:end])) is not None:
            size, place, before = found
            self._rest()
            values = {"size": size, "at": place}
            return MovementFault(
                self._began, "leap", values, is_forward(travel[:before])
            )
        read_times, readings = list(self._read_times), list(self._readings)
        long = [
            (first, final)
            for first, final in segments(travel)
            if abs(travel[final] - travel[first]) >= LEAST_SWEEP
        ]
        sweeps = [
            _paired(times[a : b + 1], travel[a : b + 1], read_times, readings)
            for a, b in long
        ]
        # An indicator that fell silent on the way leaves the end of the pass without
        # readings.
        ends = [times[final] - read_times[-1] for _, final in long if read_times]
        silent = max(ends, default=0.0)
        self._rest()
        if silent > self._allowed(self._read_intervals, TORN_S):
            forward = is_forward(travel)
            return MovementFault(
                self._began, "stopped-early", {"seconds": silent}, forward
            )
        return MovementEnd(self._began, sweeps)

    def _rest(self) -> None:
        self._state = "rest"
        self._times, self._travel = [], []

    def _break(self, out: list[MovementEvent], code: str, **values: object) -> None:
        if self._state == "moving":
            out.append(
                MovementFault(self._began, code, values, is_forward(self._travel))
            )
        self._state = "unknown"
        self._times, self._travel = [], []
        self._read_times.clear()
        self._readings.clear()

    def _restart(self) -> None:
        self._state = "unknown"
        self._window.clear()
        self._intervals.clear()
        self._read_intervals.clear()


def _paired(
    times: Sequence[float],
    travel: list[float],
    read_times: Sequence[float],
    readings: list[float],
) -> Sweep:
    """The readings between the ends of one stretch of travel, with theirs."""
    begin, end = bisect_left(read_times, times[0]), bisect_left(read_times, times[-1])
    at = list(read_times[begin:end])
    return Sweep(
        push=travel[-1] > travel[0],
        travel=_interpolate(at, times, travel),
        reading=readings[begin:end],
        at=at,
    )


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

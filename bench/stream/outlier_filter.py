"""The outlier filter: rejects readings that are well formed and wrong.

Frames of most gauges carry no checksum, and most bits of a 24-bit frame may flip and
leave a frame that parses. Such a reading lies off the path of its neighbours. By
Newton, an excursion of h there and back within two intervals T takes 2 h / T^2: 16
counts of 0.01 mm at 100 readings a second are 3 m/s^2, twice within 20 ms. No hand
moves a sled so, though at 8 readings a second it could.

The filter predicts each reading from the three before it, by a constant, a line or a
parabola (the predictor order), whichever had the least scatter lately. A reading whose
residual is above its limit is pending until the following readings decide:

    beyond its neighbours, which go one way or rest  rejected: counted and told
    smooth with the path and what follows            passed on
    smooth only without it, and not where a stop is  rejected, two or more having come
    three follow in line and away from the path      passed on: a step, a zero button
    nothing has decided when five are pending        passed on if on the way to the next

Places are counted in readings, as readings arrive in blocks and their stamps jitter.
Where the stamps say that readings were lost, both placings are tried.

Values are passed on as they came, or not at all. Readings that come one by one (a
button, marks) pass untouched. Pure: stamps in s, values in mm. The constants come from
simulation: tests/benchmarks/stream_faults.py.
"""

from __future__ import annotations

import math
from collections.abc import Collection, Sequence
from itertools import accumulate, combinations
from typing import NamedTuple

from bench.stream.neighbours import find_spike, is_between, is_in_reach, is_stop
from bench.stream.residual_limits import (
    LEVEL,
    SMOOTHER,
    LimitEstimator,
    Point,
    extrapolate,
    is_corner,
    least_roughness,
)

SLOWEST_S = 1.0  # s; readings further apart than this are not a stream
SLOW_S = 0.03  # s; longer intervals are a slow stream: a hand does much within one
GAP_INTERVALS = 5.0  # usual ones without a reading, after which the path is unknown
SHORTEST_GAP_S = 0.6  # s; less is a block that waited: a slow machine is 0.4 s late
LATE_INTERVALS = 1.6  # usual ones, after which a reading is taken to be lost
EVEN = 0.1  # share of the step between two slow readings that counts as smooth
CLEAR = 4.0  # the same where a hand might have caused it
AMBIGUOUS = 3.0  # times smoother; below this two explanations cannot be told apart
FAR_LIMITS = 50.0  # in-line limits; a step so far must stay: a bit may flip twice
TURN_READINGS = 3  # in line and away from the path, that make a new path
MOST_PENDING = 4  # readings


class FilterOutput(NamedTuple):
    """What one call passed on, in order; rejected: (stamp, value) of the others."""

    stamps: list[float]
    values: list[float]
    rejected: list[tuple[float, float]]
    tags: list[object]


class _Reading(NamedTuple):
    place: float  # by count
    lost: float  # readings lost just before it, if its stamp is right
    stamp: float
    value: float
    tag: object


class OutlierFilter:
    """One for each stream. rejections: so far; waiting: how many are pending."""

    def __init__(self, count: float = 0.0) -> None:
        """count: the instrument's count, mm; the step seen is used where it is larger,
        or where count is 0."""
        self.rejections = 0
        self._estimator = LimitEstimator(count)
        self._interval = 0.0  # s between readings, smoothed
        self._behind = 0.0  # s that readings came late and have not caught up
        self._last: float | None = None  # stamp of the latest reading, passed on or not
        self._path: list[Point] = []  # the latest three passed on
        self._place = 0.0
        self._pending: list[_Reading] = []
        self._limits = self._estimator.limits

    @property
    def waiting(self) -> int:
        return len(self._pending)

    def restart(self) -> None:
        """Forget the path, since the port was opened anew; reject what is pending."""
        self.rejections += len(self._pending)
        self._pending, self._path = [], []
        self._estimator.forget()
        self._last, self._interval, self._behind = None, 0.0, 0.0

    def pass_on(
        self,
        stamps: Sequence[float],
        values: Sequence[float],
        tags: Sequence[object] | None = None,
    ) -> FilterOutput:
        """Readings as they came -> those passed on. Each tag goes with its reading."""
        out = FilterOutput([], [], [], [])
        tags = [None] * len(values) if tags is None else tags
        for stamp, value, tag in zip(stamps, values, tags, strict=True):
            lost = self._count_lost(stamp)
            if lost is None:  # without a stream there is no path to predict from
                self._release_all(out)
                self._path.clear()
            self._estimator.raw.append(value)
            if len(self._estimator.raw) == self._estimator.due:
                self._limits = self._estimator.estimate(slow=self._interval > SLOW_S)
            self._place += 1.0
            reading = _Reading(self._place, lost or 0.0, stamp, value, tag)
            if not self._pending and self._is_predicted(reading):
                self._pass_one(reading, out)
                continue
            self._pending.append(reading)
            while self._pending and self._decide(out):
                pass
        self.rejections += len(out.rejected)
        return out

    def settle(self, now: float) -> FilterOutput:
        """Decide on what is pending where the stream has a gap up to `now`, s."""
        out = FilterOutput([], [], [], [])
        if self._last is not None and self._is_gap(now - self._last):
            self._release_all(out)
        self.rejections += len(out.rejected)
        return out

    # ---- the path --------------------------------------------------------------------

    def _is_gap(self, seconds: float) -> bool:
        return seconds > max(GAP_INTERVALS * self._interval, SHORTEST_GAP_S)

    def _count_lost(self, stamp: float) -> float | None:
        """Readings lost before this one, if its stamp is right; None after a gap, where
        the path is unknown."""
        last, self._last = self._last, stamp
        if last is None:
            return None
        apart, interval = max(stamp - last, 1e-4), self._interval
        late = interval > 0.0 and apart >= LATE_INTERVALS * interval
        if late:
            self._behind = apart - interval
        else:  # readings that came late together say nothing of the interval
            caught_up = min(self._behind, max(0.0, interval - apart))
            self._behind = self._behind - caught_up if caught_up else 0.0
            apart += caught_up
        if apart > SLOWEST_S or (interval and self._is_gap(apart)):
            return None
        # A late reading counts little, but the stream may have become slower.
        share = 1.0 if not interval else 0.02 if late else 1 / 16
        self._interval += share * (apart - interval)
        return round(apart / interval) - 1.0 if late else 0.0

    def _is_predicted(self, reading: _Reading) -> bool:
        """Whether the residual is within its limit, in both placings."""
        path, limits, value = self._path, self._limits, reading.value
        if not path:
            return True
        if self._is_level() or len(path) < 2:
            mean = sum([v for _, v in path]) / len(path)
            near = abs(value - mean) <= limits.predicted
            return near and abs(value - path[-1][1]) <= limits.step
        points = path[-1 - limits.order :]
        return all(
            abs(value - extrapolate(points, place)) <= limits.predicted
            for place in {reading.place, reading.place + reading.lost}
        )

    def _is_level(self) -> bool:
        """Whether the path is at rest."""
        path, _ = self._values()
        level = len(path) > 2 and max(path) - min(path) <= self._limits.step
        return self._limits.order == LEVEL or level

    def _is_near(self, place: float, value: float) -> bool:
        """Whether a reading may continue the path."""
        off = abs(value - extrapolate(self._path, place))
        if self._limits.order == LEVEL:
            off = min(off, abs(value - self._path[-1][1]))
        return off <= self._limits.near

    def _is_between(self, value: float, to: float) -> bool:
        """Whether the value lies between the latest one passed on and `to`."""
        return is_between(value, self._path[-1][1], to, self._limits.smooth)

    def _is_on_the_way(self, at: int, to: float) -> bool:
        """Whether the pending reading at `at` lies between the path and `to`, or is one
        of two at rest that are no further from the path than its readings from each
        other: a motion stopped there and turned."""
        path, pending = self._values()
        before, value, after = [path[-1], *pending][at : at + 3]
        slack = self._limits.step
        rests = min(abs(value - before), abs(value - after)) <= slack
        stops = rests and is_in_reach(path, value, slack)
        return stops or self._is_between(value, to)

    def _values(self) -> tuple[list[float], list[float]]:
        """Of the path and of the pending readings."""
        return [v for _, v in self._path], [one.value for one in self._pending]

    # ---- pending readings ------------------------------------------------------------

    def _decide(self, out: FilterOutput) -> bool:
        """Decide on the oldest pending reading; False where that takes more."""
        size, slack = len(self._pending), self._limits.step
        spike = find_spike(*self._values(), slack, lambda at: self._roughness({at})[0])
        if spike is None:
            return False
        if spike:
            wrong = map(self._pending.pop, reversed(spike))
            out.rejected.extend((one.stamp, one.value) for one in wrong)
            return True
        gone = self._explain(size)
        if gone is None:
            if size >= TURN_READINGS and self._turn(TURN_READINGS, out):
                return True
            if size <= MOST_PENDING:
                return False
            first, *after = [one.value for one in self._pending[:3]]
            gone = () if any(self._is_between(first, v) for v in after) else (0,)
        self._release(1, gone, out)
        return True

    def _explain(self, size: int) -> Collection[int] | None:
        """The fewest pending readings without which the others are smooth with the
        path; None where there are none such yet."""
        if size == 1:
            return () if self._is_predicted(self._pending[0]) else None
        rough, by_stamp = self._roughness(())
        slow, values, limit = self._interval > SLOW_S, self._values(), self._limits.step
        smooth, uneven = self._smooth_limits()
        first, after, *_ = [one.value for one in self._pending]
        hand = rough <= uneven  # a hand may have caused it
        smoother = CLEAR if hand or self._is_between(first, after) else SMOOTHER
        for number in range(1, 3 if size > MOST_PENDING else 2):
            if rough <= smooth or size == 2:
                break
            ways = sorted(
                (*self._roughness(without), without)
                for without in combinations(range(size - 1), number)
                if not (slow and any(is_stop(*values, at, limit) for at in without))
            )
            if not ways:
                break
            rest, way, gone = ways[0]
            if rest > min(uneven, rough / smoother):
                continue
            rival = next((w[0] for w in ways if (0 in w[2]) != (0 in gone)), math.inf)
            unsure = hand or 0 not in gone or rival <= min(uneven, AMBIGUOUS * rest)
            if size == 3 and unsure:
                return None
            if not hand or gone == (0,):
                self._place_pending(way)
                corner = gone == (0,) and is_corner(*self._values(), self._limits)
                return () if corner else gone
        if rough <= smooth or (hand and size > 2):
            self._place_pending(by_stamp)
            return ()
        return None

    def _placings(self) -> list[list[Point]]:
        """The pending readings as points placed by count, and by stamps where these
        say that readings were lost."""
        by_count = [(one.place, one.value) for one in self._pending]
        lost = list(accumulate(one.lost for one in self._pending))
        by_stamp = [(x + more, y) for (x, y), more in zip(by_count, lost, strict=True)]
        return [by_count, by_stamp] if lost[-1] else [by_count]

    def _roughness(self, without: Collection[int]) -> tuple[float, bool]:
        path = self._path[-2:] if len(self._pending) == 2 else self._path
        return least_roughness(path, self._placings(), without)

    def _place_pending(self, by_stamp: bool) -> None:
        """Place the pending readings by their stamps, where these are believed."""
        if by_stamp:
            points = self._placings()[1]
            self._place = points[-1][0]
            self._pending = [
                one._replace(place=place, lost=0.0)
                for one, (place, _) in zip(self._pending, points, strict=True)
            ]

    def _smooth_limits(self) -> tuple[float, float]:
        """Roughness that counts as smooth, least at rest; and that which a hand may
        cause between two slow readings."""
        (place, last), limits = self._path[-1], self._limits
        if self._is_level() and abs(self._pending[-1].value - last) <= limits.step:
            return limits.smooth, limits.smooth
        step = min(abs(one.value - last) / (one.place - place) for one in self._pending)
        uneven = EVEN * step if self._interval > SLOW_S else 0.0
        return limits.moving, max(limits.moving, uneven)

    def _turn(self, size: int, out: FilterOutput) -> bool:
        """Whether the path turned: the latest `size` pending readings are in line with
        each other and away from it. Passes on them, and what is on the way to them."""
        limit, last = self._limits.in_line, self._path[-1][1]
        for by_stamp, points in enumerate(self._placings()):
            *line, (place, newest) = points[-size:]
            first = line[0][1]
            far = max(abs(first - last), abs(newest - last)) > FAR_LIMITS * limit
            stays = size > 2 and abs(first - newest) <= limit
            if (
                abs(newest - extrapolate(line, place)) <= limit
                and not self._is_near(place, newest)
                and (stays or not far)
            ):
                self._place_pending(by_stamp > 0)
                before = range(len(points) - size)
                off = [n for n in before if not self._is_on_the_way(n, first)]
                self._release(len(before), off, out)
                self._path.clear()
                self._release(size - 1, (), out)  # of the newest the next one tells
                return True
        return False

    def _release_all(self, out: FilterOutput) -> None:
        """Pass on all pending that is near the path, or a step that was seen twice."""
        if len(self._pending) > 1:
            self._turn(2, out)
        while self._pending:
            one = self._pending[0]
            self._release(1, () if self._is_near(one.place, one.value) else (0,), out)

    def _release(
        self, number: int, rejected: Collection[int], out: FilterOutput
    ) -> None:
        """Pass on the first pending readings but those at the indices `rejected`."""
        for at, one in enumerate(self._pending[:number]):
            if at in rejected:
                out.rejected.append((one.stamp, one.value))
            else:
                self._pass_one(one, out)
        del self._pending[:number]

    def _pass_one(self, one: _Reading, out: FilterOutput) -> None:
        self._path.append((one.place, one.value))
        del self._path[:-3]
        out.stamps.append(one.stamp)
        out.values.append(one.value)
        out.tags.append(one.tag)

"""The outlier filter: rejects readings that are well formed and wrong.

Frames of most gauges carry no checksum, and nine in ten of the bits of a 24-bit frame
may flip and still leave a frame that parses. Such a reading lies off the path of the
readings on both sides of it. By Newton, an excursion of h there and back within two
intervals T takes an acceleration of at least 2 h / T^2. At a hundred readings a second
16 counts of 0.01 mm are 3 m/s^2, a third of gravity, twice within 20 ms. A hand does
not move a sled of some kilograms so (fast pointing with an empty hand peaks near 10
m/s^2, and takes ten times as long; from memory), and a plunger on a straight face is
driven by the sled. Slow instruments prove less: at 8 readings a second a hand could.

The filter predicts each reading from the three before it, by a constant, a line or a
parabola (the predictor order), whichever had the least scatter lately. A reading whose
residual is above the threshold is pending until the following readings decide:

    residual within the threshold                       passed on at once
    smooth with the path and the next reading           passed on with that one
    smooth only without it, two or more having come     rejected: counted and told
    smooth either way                                   awaits one more; rejected
                                                        if that does not decide
    the following readings are in line with it (a       passed on with them
    step, a zero button), or it is the corner between
    rest and motion

The thresholds are low, a few counts or standard deviations, because a pending reading
costs one reading's time and nothing else. One flipped bit of a decimal digit is ten
counts in a noise of one, while a slow instrument under a quick hand is predicted to ten
counts only; between its neighbours on both sides a reading is known to some two
standard deviations.

Places are counted in readings and not in time: readings arrive in blocks, and their
stamps jitter more than the instrument. Where the stamps say that readings were lost,
both placings are tried: by count and by stamps.

The filter alters no value: it passes a reading on as it came, or not at all. Readings
that come one by one (a button, marks) pass untouched. Pure: stamps in s, values in mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from bench.stream.residual_limits import (
    AT_REST,
    FINE,
    LEVEL,
    LINE,
    ROUGH,
    UNKNOWN_THRESHOLDS,
    stream_statistics,
    thresholds,
)
from bench.stream.smoothness import (
    Point,
    divided_difference,
    least_residual,
    residual,
    roughness,
    smoothest_without,
)

# The figures here were found by simulation: tests/benchmarks/stream_faults.py flips.
# times the next reading's residual, or smoother without a reading than with it; what is
# so clear is rejected at once, though a hand might have caused it
CLEAR = 4.0
EVEN = 0.1  # share of the step between two slow readings that counts as smooth
# times SMOOTH; the step of a reading that leaves rest or ends in it
ABRUPT = 5.0
# times smoother; below this ratio two explanations cannot be told apart
AMBIGUOUS = 3.0
SMOOTHER = 2.0  # times smoother without a reading than with it, to reject it
# times IN_LINE; a step so far is believed only if the value stays there: the same bit
# may flip twice
FAR = 50.0
GROWN = 1.3  # largest noise now over the remembered noise; more is motion

SLOWEST = 1.0  # s; readings further apart than this are not a stream
SLOW = 0.03  # s; longer intervals are a slow stream: a hand does much within one
GAP = 5.0  # usual intervals without a reading, after which the path is unknown
SHORTEST_GAP = 0.6  # s; less is a block that waited: a slow machine is 0.4 s late
LATE = 1.6  # usual intervals, after which a reading at least is taken to be lost
MOST_PENDING = 4
QUICK = 0.02  # s; shorter intervals are a quick stream, estimated less often
# readings that a new estimate of noise and motion goes back
WINDOW, WINDOW_QUICK = 24, 16
# new readings after which that is done; of a quick stream those of ESTIMATE_AFTER_S
ESTIMATE_AFTER, ESTIMATE_AFTER_QUICK, ESTIMATE_AFTER_MOST, ESTIMATE_AFTER_S = (
    8,
    32,
    96,
    0.1,
)


class Passed(NamedTuple):
    """stamps, values, tags: what is passed on, in order. rejected: the (stamp, value)
    that this call rejected."""

    stamps: list[float]
    values: list[float]
    rejected: list[tuple[float, float]]
    tags: list[object]


class _Pending(NamedTuple):
    place: float  # by count
    lost: float  # readings lost just before it, if its stamp is right
    stamp: float
    value: float
    tag: object


class OutlierFilter:
    """One filter for each stream. rejections: how many so far; waiting: how many
    readings are pending."""

    def __init__(self, count: float = 0.0) -> None:
        """count: the instrument's count, mm; the step seen is used where it is larger,
        or where count is 0."""
        self.rejections = 0
        self._count = count
        self._step = 0.0
        self._raw: list[float] = []  # the latest readings, passed on or not
        self._estimate_at = ESTIMATE_AFTER  # length of _raw at which it is estimated
        self._order = LEVEL  # the predictor order
        self._noise = 0.0  # standard deviation of one reading, smoothed, mm
        self._interval = 0.0
        self._behind = 0.0  # s that readings came late and have not caught up
        self._last: float | None = None  # stamp of the latest reading, passed on or not
        self._path: list[Point] = []  # the latest three passed on
        self._place = 0.0
        self._pending: list[_Pending] = []
        self._thresholds = (
            thresholds(count, 0.0, AT_REST, slow=False) if count else UNKNOWN_THRESHOLDS
        )
        # the two thresholds of the present predictor order
        self._threshold, self._step_threshold = (
            self._thresholds.by_order[LEVEL],
            self._thresholds.step,
        )

    @property
    def waiting(self) -> int:
        return len(self._pending)

    def restart(self) -> None:
        """Forget the path, since the port was opened anew; reject what is pending."""
        self.rejections += len(self._pending)
        self._pending.clear()
        self._raw.clear()
        self._path.clear()
        self._estimate_at = ESTIMATE_AFTER
        self._last, self._interval, self._behind = None, 0.0, 0.0

    def pass_on(
        self,
        stamps: Sequence[float],
        values: Sequence[float],
        tags: Sequence[object] | None = None,
    ) -> Passed:
        """Readings as they came -> those passed on. Each tag goes with its reading."""
        out = Passed([], [], [], [])
        passed_stamps, passed_values, _, passed_tags = out
        path, raw, pending = self._path, self._raw, self._pending
        for index, (stamp, value) in enumerate(zip(stamps, values, strict=True)):
            tag = tags[index] if tags is not None else None
            gone = stamp - self._last if self._last is not None else SLOWEST
            lost = 0.0
            if len(path) == 3 and not pending and gone < LATE * self._interval:
                # Nearly all readings go this way, without a call.
                self._last = stamp
                if self._behind:
                    gone = self._catch_up(gone)
                self._interval += (max(gone, 1e-6) - self._interval) * 0.0625
                self._place = place = self._place + 1.0
                (p0, v0), (_, v1), (_, v2) = path
                if not self._order:
                    fits = (
                        -self._threshold
                        <= value - (v0 + v1 + v2) / 3.0
                        <= self._threshold
                        and -self._step_threshold <= value - v2 <= self._step_threshold
                    )
                elif place - p0 == 3.0:
                    deviation = (
                        value - v2 - v2 + v1
                        if self._order == 1
                        else value - 3.0 * (v2 - v1) - v0
                    )
                    fits = -self._threshold <= deviation <= self._threshold
                else:
                    fits = self._is_predicted(place, value)
            else:
                lost_or_none = self._count_lost(stamp)
                self._place = place = self._place + 1.0
                # Without a stream there is no path to predict from.
                if lost_or_none is None:
                    self._release_all(out)
                    path.clear()
                    fits = True
                else:
                    lost = lost_or_none
                    fits = not pending and self._is_predicted_either_way(
                        place, lost, value
                    )
            raw.append(value)
            if len(raw) >= self._estimate_at:
                self._estimate()
            if fits:
                path.append((place, value))
                if len(path) > 3:
                    del path[0]
                passed_stamps.append(stamp)
                passed_values.append(value)
                passed_tags.append(tag)
            else:
                pending.append(_Pending(place, lost, stamp, value, tag))
                if len(pending) > 1:
                    self._decide(out)
        self.rejections += len(out.rejected)
        return out

    def settle(self, now: float) -> Passed:
        """Decide on what is pending once the stream has a gap. now: s, on the stamps'
        clock."""
        out = Passed([], [], [], [])
        if self._last is not None and now - self._last > max(
            GAP * self._interval, SHORTEST_GAP
        ):
            self._release_all(out)
        self.rejections += len(out.rejected)
        return out

    # ---- the path --------------------------------------------------------------------

    def _count_lost(self, stamp: float) -> float | None:
        """Readings lost before this one, if its stamp is right; None after a gap, where
        the path is unknown."""
        last, self._last = self._last, stamp
        if last is None:
            return None
        gone, interval = stamp - last, self._interval
        if gone < LATE * interval:
            gone = self._catch_up(gone)
        elif interval:
            self._behind = gone - interval
        if gone > SLOWEST or (interval and gone > max(GAP * interval, SHORTEST_GAP)):
            return None
        if not interval:
            self._interval = max(gone, 1e-4)
        elif gone < LATE * interval:
            self._interval += (max(gone, 1e-6) - interval) / 16.0
        else:
            self._interval += 0.02 * (
                gone - interval
            )  # the stream may have become slower
            return round(gone / interval) - 1.0
        return 0.0

    def _catch_up(self, gone: float) -> float:
        """The time since the reading before, were both on time: readings that came late
        together say nothing of the interval."""
        drawn = min(self._behind, max(0.0, self._interval - gone))
        self._behind = self._behind - drawn if drawn else 0.0
        return gone + drawn

    def _is_predicted(self, place: float, value: float) -> bool:
        """Whether the residual of this reading is within the threshold."""
        path, here = self._path, (place, value)
        last = path[-1][1]
        if len(path) < 2:
            return abs(value - last) <= self._thresholds.by_order[LEVEL]
        if self._order == LEVEL:
            mean = sum(v for _, v in path) / len(path)
            return (
                abs(value - last) <= self._step_threshold
                and abs(value - mean) <= self._threshold
            )
        if self._order == LINE or len(path) < 3:
            return residual([*path[-2:], here]) <= self._thresholds.by_order[LINE]
        return residual([*path, here]) <= self._threshold

    def _is_predicted_either_way(self, place: float, lost: float, value: float) -> bool:
        """The same in both placings, where readings may have been lost."""
        return self._is_predicted(place, value) and (
            not lost or self._is_predicted(place + lost, value)
        )

    def _least_residual(self, point: Point) -> float:
        return least_residual(self._path, point, standing=self._order == LEVEL)

    # ---- pending readings ------------------------------------------------------------

    def _decide(self, out: Passed) -> None:
        pending = self._pending
        while pending:
            if len(pending) == 1:
                one = pending[0]
                if not self._is_predicted_either_way(one.place, one.lost, one.value):
                    return
                self._pass_one(pending.pop(0), out)
            elif not (
                self._decide_by_next(out)
                if len(pending) == 2
                else self._decide_by_later(out)
            ):
                break
        if len(pending) > MOST_PENDING:
            # The stream is rougher than any predictor. A reading between the path and
            # one of the next two may be true: the threshold rises to pass such ones.
            oldest = pending[0]
            true = any(
                self._on_the_way(oldest.value, later.value) for later in pending[1:3]
            )
            if true:
                self._threshold = max(
                    self._threshold, self._least_residual((oldest.place, oldest.value))
                )
            self._release(False, () if true else (0,), len(pending) - 1, out)

    def _placings(self) -> Iterator[tuple[bool, list[Point]]]:
        """The pending readings as points placed by count, and by stamps where these
        say that readings were lost."""
        pending = self._pending
        yield False, [(one.place, one.value) for one in pending]
        if any(one.lost for one in pending):
            lost, points = 0.0, []
            for one in pending:
                lost += one.lost
                points.append((one.place + lost, one.value))
            yield True, points

    def _decide_by_next(self, out: Passed) -> bool:
        """Decide on the first of two pending readings; False where that takes more."""
        path = self._path[-2:]
        for by_stamp, (here, after) in self._placings():
            smooth, _ = self._smooth_thresholds(after)
            if divided_difference([*path, here, after]) <= smooth and self._continues(
                here, after
            ):
                self._release(by_stamp, (), 1, out)
                if self._order == LEVEL:  # motion has begun
                    self._order, self._threshold = LINE, self._thresholds.by_order[LINE]
                return True
        if any(one.lost for one in self._pending) or self._on_the_way(
            self._pending[0].value, self._pending[1].value
        ):
            return False
        here, after = ((one.place, one.value) for one in self._pending)
        ours = [*path, after, here]
        deviation = residual(ours)
        sure = self._least_residual(after) <= min(
            deviation / CLEAR, self._thresholds.near
        )
        if not sure or divided_difference(ours) <= self._smooth_thresholds(after)[1]:
            return False
        self._release(False, (0,), 1, out)
        return True

    def _smooth_thresholds(self, newest: Point) -> tuple[float, float]:
        """Roughness that counts as smooth, least at rest and larger in motion; and that
        which a hand may cause between two slow readings, so that it proves nothing
        unless the path is far smoother without the reading."""
        place, last = self._path[-1]
        step = abs(newest[1] - last)
        if self._order == LEVEL and step <= self._step_threshold:
            return self._thresholds.smooth, self._thresholds.smooth
        uneven = EVEN * step / (newest[0] - place) if self._interval > SLOW else 0.0
        return self._thresholds.moving, max(self._thresholds.moving, uneven)

    def _continues(self, here: Point, after: Point) -> bool:
        ours = [*self._path[-2:], here, after]
        return (
            min(residual(ours[-3:]), residual(ours)) <= self._thresholds.by_order[LINE]
        )

    def _decide_by_later(self, out: Passed) -> bool:
        """Decide on the first of three or more pending readings: smooth as they are, or
        with some left out, or after a turn. False where that takes more."""
        path, size = self._path, len(self._pending)
        gone: tuple[int, ...] = ()
        ways = list(self._placings())
        # Readings that came late are as likely as readings lost: the placing by stamps
        # is taken where it is much smoother.
        cost, by_stamp = min(
            ((roughness([*path, *points]), way) for way, points in ways),
            key=lambda one: one[0] * (SMOOTHER if one[1] else 1.0),
        )
        newest = self._pending[-1]
        smooth, uneven = self._smooth_thresholds((newest.place, newest.value))
        if smooth < cost <= uneven:
            without, way, left_out = smoothest_without(path, ways, 1)[0]
            if left_out == (0,) and without <= cost / CLEAR:
                if size == 3:
                    return False
                by_stamp, gone = way, left_out
        elif cost > uneven:
            most = min(uneven, cost / SMOOTHER)
            for number in (1, 2) if size > MOST_PENDING else (1,):
                found = smoothest_without(path, ways, number)
                if found[0][0] <= most:
                    break
            else:
                return self._decide_by_turn(out)
            cost, by_stamp, gone = found[0]
            if size == 3 and 0 not in gone:
                return False
            other = next(
                (one for one in found if (0 in one[2]) != (0 in gone)),
                (uneven + 1.0, False, ()),
            )
            if other[0] <= min(uneven, AMBIGUOUS * cost):
                if size == 3:
                    return False
                gone = tuple({*gone, *other[2]})
            gone = () if gone == (0,) and self._is_corner() else gone
        stay = size - 1  # the others are decided on anew
        while size - stay in gone:
            stay -= 1
        self._release(by_stamp, gone, stay, out)
        return True

    def _decide_by_turn(self, out: Passed) -> bool:
        """Whether the path turned: the latest pending readings are in line with each
        other and do not return to the path. Passes them on if so."""
        for by_stamp, points in self._placings():
            size = next(
                (
                    n
                    for n in (3, 4)
                    if residual(points[-n:]) <= self._thresholds.in_line
                ),
                0,
            )
            if size and self._has_turned(points[-1]):
                self._release(by_stamp, self._off_the_way(size), size, out)
                self._path.clear()
                self._release(False, (), 0, out)
                return True
        return False

    def _has_turned(self, newest: Point) -> bool:
        return self._least_residual(newest) > self._thresholds.near

    def _is_corner(self) -> bool:
        """Whether the first pending reading is the corner between motion and rest,
        which no polynomial follows."""
        before, after = (
            [value for _, value in self._path],
            [one.value for one in self._pending[1:]],
        )
        if (
            len(before) < 3
            or len(after) < 2
            or not self._on_the_way(self._pending[0].value, after[0])
        ):
            return False
        ended = len(after) > 2 and max(after) - min(after) <= self._step_threshold
        began = max(before) - min(before) <= self._step_threshold
        if began == ended:
            return False
        return (
            abs(after[1] - after[0] if began else before[2] - before[1])
            > ABRUPT * self._thresholds.smooth
        )

    def _on_the_way(self, value: float, to: float) -> bool:
        """Whether the value lies between the latest one passed on and `to`."""
        start, slack = self._path[-1][1], self._thresholds.smooth
        return min(start, to) - slack <= value <= max(start, to) + slack

    def _off_the_way(self, size: int) -> list[int]:
        """Indices of the pending readings, before the latest `size`, that are not on
        the way to these."""
        pending = self._pending
        to = pending[-size].value
        return [
            at
            for at, one in enumerate(pending[:-size])
            if not self._on_the_way(one.value, to)
        ]

    def _release(
        self, by_stamp: bool, gone: Sequence[int], stay: int, out: Passed
    ) -> None:
        """Pass on all pending readings but the latest `stay`, and reject those at the
        indices `gone`. by_stamp: readings were lost, as the stamps say."""
        pending = self._pending
        if by_stamp:
            lost = 0.0
            for at, one in enumerate(pending):
                lost += one.lost
                pending[at] = one._replace(place=one.place + lost, lost=0.0)
            self._place += lost
        size = len(pending) - stay
        decided = pending[:size]
        del pending[:size]
        for at, one in enumerate(decided):
            if at in gone:
                out.rejected.append((one.stamp, one.value))
            else:
                self._pass_one(one, out)

    def _release_all(self, out: Passed) -> None:
        """Decide on all pending readings, as no more will follow: pass on what is near
        the path, or a step that was seen twice."""
        pending = self._pending
        if len(pending) > 1:
            first, newest = pending[-2].value, pending[-1].value
            far = abs(first - self._path[-1][1]) > FAR * self._thresholds.in_line
            if abs(first - newest) <= self._thresholds.in_line and not far:
                self._release(False, self._off_the_way(2), 0, out)
        while pending:
            near = (
                self._least_residual((pending[0].place, pending[0].value))
                <= self._thresholds.near
            )
            self._release(False, () if near else (0,), len(pending) - 1, out)

    def _pass_one(self, one: _Pending, out: Passed) -> None:
        path = self._path
        path.append((one.place, one.value))
        if len(path) > 3:
            del path[0]
        out.stamps.append(one.stamp)
        out.values.append(one.value)
        out.tags.append(one.tag)

    # ---- noise and motion ------------------------------------------------------------

    def _estimate(self) -> None:
        """Estimate predictor order, noise and thresholds anew, from all readings: a
        stream that grew noisy is not rejected for ever."""
        raw, quick = self._raw, 0.0 < self._interval < QUICK
        statistics = stream_statistics(raw, ROUGH * max(self._count, self._step))
        if statistics.step:
            self._step = min(statistics.step, self._step or statistics.step)
        # Two dozen readings estimate a standard deviation to a fifth of itself only, so
        # earlier estimates are kept in a moving average.
        self._noise += (
            (statistics.noise - self._noise) / 8.0 if self._noise else statistics.noise
        )
        count = max(self._count, self._step)
        slow = self._interval > SLOW
        # For a slow stream moved by hand amid noise only the line predicts well.
        self._order = (
            min(statistics.order, LINE)
            if slow and statistics.scatter > FINE * count
            else statistics.order
        )
        if count:
            noise = max(min(statistics.noise, GROWN * self._noise), self._noise)
            self._thresholds = thresholds(count, noise, statistics, slow=slow)
            self._threshold, self._step_threshold = (
                self._thresholds.by_order[self._order],
                self._thresholds.step,
            )
        del raw[: -WINDOW_QUICK if quick else -WINDOW]
        self._estimate_at = len(raw) + (
            max(
                ESTIMATE_AFTER_QUICK,
                min(ESTIMATE_AFTER_MOST, int(ESTIMATE_AFTER_S / self._interval)),
            )
            if quick
            else ESTIMATE_AFTER
        )

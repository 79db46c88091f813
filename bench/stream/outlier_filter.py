"""A gate behind the decoders, for readings that are well formed and wrong: a bit
flipped on the wire.

Frames of most gauges carry no checksum, and of the bits of a 24-bit frame nine in ten
may flip and still leave a frame that parses. What gives such a reading away is that it
goes where nothing goes: off the path of the readings on both sides of it. By Newton, an
excursion of h there and back within two intervals T takes an acceleration of at least 2
h / T^2. At a hundred readings a second 16 counts of 0.01 mm would be 3 m/s^2, a third
of gravity, twice within 20 ms: a sled of some kilograms in a hand does not do it (fast
pointing with an empty hand peaks near 10 m/s^2, and takes ten times as long; from
memory), and a plunger on a straight face is driven by the sled. Slow instruments prove
less: at 8 a second a hand could. So a reading off the path is not judged but held until
the next ones say what it was.

    foretold by the readings before           passed on at once
    not, but smooth with them and the next    passed on when that has come
    smooth only without it, when two or more  refused: counted, told, never passed on, never replaced
    have come after it
    smooth either way                         one more is waited for; then what cannot be told apart is refused
    off, and the next are in line with it,    passed on with them: a step, a hand, a zero button
    or at the corner of a rest and a push

Off begins early, at a few counts or deviations, since waiting costs one reading's time
and nothing else: a decimal digit with one bit flipped is ten counts off amid a noise of
one, and a slow instrument under a quick hand foretells to ten counts only. Between its
neighbours on both sides a reading is known to some two deviations.

Places are counted in readings, not in time: readings arrive in blocks, and their stamps
jitter more than the instrument. Where stamps say that some were lost, both are tried.

Nothing is ever altered: a reading is passed on as it came or not at all. Readings that
come one by one (a button, marks) pass untouched. Pure: stamps in s, values in mm.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from bench.stream.residual_limits import (
    FINE,
    LEVEL,
    LINE,
    NO_LIMITS,
    ROUGH,
    STILL,
    limits,
    usual,
)
from bench.stream.smoothness import Point, ahead, off, roughness, unlike, without

# a reading so many times further off than the next one is refused without the one after
# that
CLEAR = 4.0
EVEN = 0.1  # of its way between two readings
# times SMOOTH; a step between two readings that comes out of rest or ends in it
ABRUPT = 5.0
# two ways of being smooth, and one not so many times smoother: it is not known which
UNSURE = 3.0
SURER = 2.0  # so many times smoother without it than with it
# times ALIKE; a step so far is believed if it stays there: the same bit may flip twice
FAR = 50.0
GROWN = 1.3  # noise now over that remembered; more is motion

SLOWEST = 1.0  # s; readings further apart than this are not a stream
SLOW = 0.03  # s; slower than this, a hand does much between two readings
GAP = 5.0  # usual intervals without a reading, and the path is unknown
SHORTEST_GAP = 0.25  # s; a block that waited in the kernel is no gap
LATE = 1.6  # usual intervals, and one reading at least is taken to be missing
MOST_HELD = 4
QUICK = 0.02  # s; streams quicker than this are looked at in larger pieces
# readings that are looked at once more when what is usual is judged anew
WINDOW, WINDOW_QUICK = 24, 16
# and after how many new ones that is; those of so many s
LOOK, LOOK_QUICK, LOOK_MOST, LOOKS = 8, 32, 96, 0.1


class Passed(NamedTuple):
    """stamps, values, tags: what is passed on, in order. held: the (stamp, value)
    refused by this call."""

    stamps: list[float]
    values: list[float]
    held: list[tuple[float, float]]
    tags: list[object]


class _Held(NamedTuple):
    place: float  # by count
    lost: float  # so many more came before it and were lost, if its stamp is right
    stamp: float
    value: float
    tag: object


class OutlierFilter:
    """One for each stream. refused: how many so far; waiting: how many are being held
    just now."""

    def __init__(self, count: float = 0.0) -> None:
        """count: what the instrument resolves, mm; the step seen is used where that is
        larger or count is 0."""
        self.refused = 0
        self._count = count
        self._step = 0.0
        self._raw: list[float] = []  # the last readings, passed on or not
        self._look = LOOK  # so many raw ones, and what is usual is looked at again
        self._order = LEVEL  # what foretells best
        self._noise = 0.0  # of one reading, standard deviation, mm; remembered
        self._interval = 0.0
        self._last: float | None = None  # stamp of the last reading, held or not
        self._path: list[Point] = []  # the last three passed on
        self._place = 0.0
        self._held: list[_Held] = []
        self._limits = limits(count, 0.0, STILL, slow=False) if count else NO_LIMITS
        # what the usual case needs
        self._doubt, self._leap = self._limits.doubts[LEVEL], self._limits.leapt

    @property
    def waiting(self) -> int:
        return len(self._held)

    def restart(self) -> None:
        """The port was opened anew: the path is unknown, what waited is refused."""
        self.refused += len(self._held)
        self._held.clear()
        self._raw.clear()
        self._path.clear()
        self._look = LOOK
        self._last, self._interval = None, 0.0

    def pass_on(
        self,
        stamps: Sequence[float],
        values: Sequence[float],
        tags: Sequence[object] | None = None,
    ) -> Passed:
        """Readings as they came -> what is passed on. tags travel with their readings
        (a unit, flags)."""
        out = Passed([], [], [], [])
        passed_stamps, passed_values, _, passed_tags = out
        path, raw, held = self._path, self._raw, self._held
        for index, (stamp, value) in enumerate(zip(stamps, values, strict=True)):
            tag = tags[index] if tags is not None else None
            gone = stamp - self._last if self._last is not None else SLOWEST
            lost = 0.0
            if len(path) == 3 and not held and gone < LATE * self._interval:
                # the usual case, without calls: thousands a second come this way
                self._last = stamp
                self._interval += (max(gone, 1e-6) - self._interval) * 0.0625
                self._place = place = self._place + 1.0
                (p0, v0), (_, v1), (_, v2) = path
                if not self._order:
                    well = (
                        -self._doubt <= value - (v0 + v1 + v2) / 3.0 <= self._doubt
                        and -self._leap <= value - v2 <= self._leap
                    )
                elif place - p0 == 3.0:
                    apart = (
                        value - v2 - v2 + v1
                        if self._order == 1
                        else value - 3.0 * (v2 - v1) - v0
                    )
                    well = -self._doubt <= apart <= self._doubt
                else:
                    well = self._foretold(place, value)
            else:
                lost_or_none = self._step_on(stamp)
                self._place = place = self._place + 1.0
                # no stream, or its start: there is no path to be off
                if lost_or_none is None:
                    self._end(out)
                    path.clear()
                    well = True
                else:
                    lost = lost_or_none
                    well = not held and self._speaks(place, lost, value)
            raw.append(value)
            if len(raw) >= self._look:
                self._learn()
            if well:
                path.append((place, value))
                if len(path) > 3:
                    del path[0]
                passed_stamps.append(stamp)
                passed_values.append(value)
                passed_tags.append(tag)
            else:
                held.append(_Held(place, lost, stamp, value, tag))
                if len(held) > 1:
                    self._judge(out)
        self.refused += len(out.held)
        return out

    def settle(self, now: float) -> Passed:
        """Decide what still waits where nothing has come for as long as makes a gap.
        now: s, on the stamps' clock."""
        out = Passed([], [], [], [])
        if self._last is not None and now - self._last > max(
            GAP * self._interval, SHORTEST_GAP
        ):
            self._end(out)
        self.refused += len(out.held)
        return out

    # ---- the path --------------------------------------------------------------------

    def _step_on(self, stamp: float) -> float | None:
        """How many were lost before this reading, if its stamp is right; None where no
        path leads to it."""
        last, self._last = self._last, stamp
        if last is None:
            return None
        gone, interval = stamp - last, self._interval
        if gone > SLOWEST or (interval and gone > max(GAP * interval, SHORTEST_GAP)):
            return None
        if not interval:
            self._interval = max(gone, 1e-4)
        elif gone < LATE * interval:
            self._interval += (max(gone, 1e-6) - interval) / 16.0
        else:
            self._interval += 0.02 * (gone - interval)  # it may have become slower
            return round(gone / interval) - 1.0
        return 0.0

    def _foretold(self, place: float, value: float) -> bool:
        """Whether the readings before led there."""
        path, here = self._path, (place, value)
        last = path[-1][1]
        if len(path) < 2:
            return abs(value - last) <= self._limits.doubts[LEVEL]
        if self._order == LEVEL:
            mean = sum(v for _, v in path) / len(path)
            return abs(value - last) <= self._leap and abs(value - mean) <= self._doubt
        if self._order == LINE or len(path) < 3:
            return off([*path[-2:], here]) <= self._limits.doubts[LINE]
        return off([*path, here]) <= self._doubt

    def _speaks(self, place: float, lost: float, value: float) -> bool:
        """The same where some may have been lost: wherever it stands."""
        return self._foretold(place, value) and (
            not lost or self._foretold(place + lost, value)
        )

    def _ahead(self, point: Point) -> float:
        return ahead(self._path, point, standing=self._order == LEVEL)

    # ---- what is off it --------------------------------------------------------------

    def _judge(self, out: Passed) -> None:
        held = self._held
        while held:
            if len(held) == 1:
                one = held[0]
                if not self._speaks(one.place, one.lost, one.value):
                    return
                self._pass(held.pop(0), out)
            elif not (
                self._by_next(out) if len(held) == 2 else self._by_those_after(out)
            ):
                break
        if len(held) > MOST_HELD:
            # rougher than can be followed; what is on the way to one of the next two
            # may well be true
            oldest = held[0]
            true = any(
                self._on_the_way(oldest.value, later.value) for later in held[1:3]
            )
            if true:
                self._doubt = max(
                    self._doubt, self._ahead((oldest.place, oldest.value))
                )
            self._decide(False, () if true else (0,), len(held) - 1, out)

    def _ways(self) -> Iterator[tuple[bool, list[Point]]]:
        """What is held as points: by count; and by stamps, where these say that some
        were lost."""
        held = self._held
        yield False, [(one.place, one.value) for one in held]
        if any(one.lost for one in held):
            lost, points = 0.0, []
            for one in held:
                lost += one.lost
                points.append((one.place + lost, one.value))
            yield True, points

    def _by_next(self, out: Passed) -> bool:
        """Whether the next one is enough to decide on the first of two."""
        path = self._path[-2:]
        for by_stamp, (here, after) in self._ways():
            if unlike([*path, here, after]) <= self._even(after) and self._joins(
                here, after
            ):
                self._decide(by_stamp, (), 1, out)
                if self._order == LEVEL:  # it moves
                    self._order, self._doubt = LINE, self._limits.doubts[LINE]
                return True
        if any(one.lost for one in self._held) or self._on_the_way(
            self._held[0].value, self._held[1].value
        ):
            return False
        here, after = ((one.place, one.value) for one in self._held)
        ours = [*path, after, here]
        apart = off(ours)
        sure = self._ahead(after) <= min(apart / CLEAR, self._limits.near)
        if not sure or unlike(ours) <= self._even(after):
            return False
        self._decide(False, (0,), 1, out)
        return True

    def _even(self, newest: Point) -> float:
        """How far from smooth is smooth: least at a standstill; between two slow
        readings a hand is not so even."""
        place, last = self._path[-1]
        step = abs(newest[1] - last)
        if self._order == LEVEL and step <= self._leap:
            return self._limits.smooth
        uneven = EVEN * step / (newest[0] - place) if self._interval > SLOW else 0.0
        return max(self._limits.swept, uneven)

    def _joins(self, here: Point, after: Point) -> bool:
        ours = [*self._path[-2:], here, after]
        return min(off(ours[-3:]), off(ours)) <= self._limits.doubts[LINE]

    def _by_those_after(self, out: Passed) -> bool:
        """Decide on the first of three or more: smooth as they are, or without one or
        more, or a turn."""
        path, size = self._path, len(self._held)
        gone: tuple[int, ...] = ()
        cost, by_stamp = min(
            (roughness([*path, *points]), way) for way, points in self._ways()
        )
        smooth = self._even((self._held[-1].place, self._held[-1].value))
        if cost > smooth:
            most, ways = min(smooth, cost / SURER), list(self._ways())
            for number in (1, 2) if size > MOST_HELD else (1,):
                found = without(path, ways, number)
                if found[0][0] <= most:
                    break
            else:
                return self._by_turn(out)
            cost, by_stamp, gone = found[0]
            if size == 3 and 0 not in gone:
                return False
            other = next(
                (one for one in found if (0 in one[2]) != (0 in gone)),
                (smooth + 1.0, False, ()),
            )
            if other[0] <= min(smooth, UNSURE * cost):
                if size == 3:
                    return False
                gone = tuple({*gone, *other[2]})
            gone = () if gone == (0,) and self._corner() else gone
        stay = size - 1  # each of the others is asked anew
        while size - stay in gone:
            stay -= 1
        self._decide(by_stamp, gone, stay, out)
        return True

    def _by_turn(self, out: Passed) -> bool:
        """Whether the last ones held are in line with each other and not on their way
        back, so that the path turned."""
        for by_stamp, points in self._ways():
            size = next(
                (n for n in (3, 4) if off(points[-n:]) <= self._limits.alike), 0
            )
            if size and self._left(points[-size], points[-1]):
                self._decide(by_stamp, self._strays(size), size, out)
                self._path.clear()
                self._decide(False, (), 0, out)
                return True
        return False

    def _left(self, first: Point, newest: Point) -> bool:
        if self._ahead(newest) <= self._limits.near:
            return False
        far = abs(first[1] - self._path[-1][1]) > FAR * self._limits.alike
        return not far or abs(first[1] - newest[1]) <= self._limits.alike

    def _corner(self) -> bool:
        """Whether what moved fast came to rest at the first one held, or the other way
        round: no curve goes there."""
        before, after = (
            [value for _, value in self._path],
            [one.value for one in self._held[1:]],
        )
        if (
            len(before) < 3
            or len(after) < 2
            or not self._on_the_way(self._held[0].value, after[0])
        ):
            return False
        ended = len(after) > 2 and max(after) - min(after) <= self._leap
        began = max(before) - min(before) <= self._leap
        if began == ended:
            return False
        return (
            abs(after[1] - after[0] if began else before[2] - before[1])
            > ABRUPT * self._limits.smooth
        )

    def _on_the_way(self, value: float, to: float) -> bool:
        """Between the last one passed on and the next: nothing says that it was never
        there."""
        start, slack = self._path[-1][1], self._limits.smooth
        return min(start, to) - slack <= value <= max(start, to) + slack

    def _strays(self, size: int) -> list[int]:
        """Which of those held before the last `size` are not on the way to these."""
        held = self._held
        to = held[-size].value
        return [
            at
            for at, one in enumerate(held[:-size])
            if not self._on_the_way(one.value, to)
        ]

    def _decide(
        self, by_stamp: bool, gone: Sequence[int], stay: int, out: Passed
    ) -> None:
        """All held but the last `stay`: those at `gone` are refused. by_stamp: some
        were lost, as the stamps say."""
        held = self._held
        if by_stamp:
            lost = 0.0
            for at, one in enumerate(held):
                lost += one.lost
                held[at] = one._replace(place=one.place + lost, lost=0.0)
            self._place += lost
        size = len(held) - stay
        decided = held[:size]
        del held[:size]
        for at, one in enumerate(decided):
            if at in gone:
                out.held.append((one.stamp, one.value))
            else:
                self._pass(one, out)

    def _end(self, out: Passed) -> None:
        """No more comes to speak for what is held: passed on is what is near the path,
        or a step that was seen twice."""
        held = self._held
        if len(held) > 1:
            first, newest = held[-2].value, held[-1].value
            far = abs(first - self._path[-1][1]) > FAR * self._limits.alike
            if abs(first - newest) <= self._limits.alike and not far:
                self._decide(False, self._strays(2), 0, out)
        while held:
            near = self._ahead((held[0].place, held[0].value)) <= self._limits.near
            self._decide(False, () if near else (0,), len(held) - 1, out)

    def _pass(self, one: _Held, out: Passed) -> None:
        path = self._path
        path.append((one.place, one.value))
        if len(path) > 3:
            del path[0]
        out.stamps.append(one.stamp)
        out.values.append(one.value)
        out.tags.append(one.tag)

    # ---- what is usual ---------------------------------------------------------------

    def _learn(self) -> None:
        """How far off is off. From all readings, wrong ones too: a stream that grew
        noisy is not refused for ever."""
        raw, quick = self._raw, 0.0 < self._interval < QUICK
        seen = usual(raw, ROUGH * max(self._count, self._step))
        if seen.step:
            self._step = min(seen.step, self._step or seen.step)
        # two dozen readings tell a deviation to a fifth of itself only: remember former
        # ones
        self._noise += (seen.noise - self._noise) / 8.0 if self._noise else seen.noise
        count = max(self._count, self._step)
        slow = self._interval > SLOW and seen.scatter <= ROUGH * count
        # by a hand amid noise: only the line is any use
        self._order = (
            min(seen.order, LINE)
            if slow and seen.scatter > FINE * count
            else seen.order
        )
        if count:
            noise = max(min(seen.noise, GROWN * self._noise), self._noise)
            self._limits = limits(count, noise, seen, slow=slow)
            self._doubt, self._leap = (
                self._limits.doubts[self._order],
                self._limits.leapt,
            )
        del raw[: -WINDOW_QUICK if quick else -WINDOW]
        self._look = len(raw) + (
            max(LOOK_QUICK, min(LOOK_MOST, int(LOOKS / self._interval)))
            if quick
            else LOOK
        )

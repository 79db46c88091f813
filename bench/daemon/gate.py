"""A gate behind the decoders, for readings that are well formed and wrong: a bit flipped on the wire.

Frames of most gauges carry no checksum, and of the bits of a 24-bit frame nine in ten may flip and still leave a
frame that parses. What gives such a reading away is that it goes where nothing goes: off the path that the readings
before it were on, and back at the next. By Newton, an excursion of h there and back within two intervals T takes an
acceleration of at least 2 h / T^2. At a hundred readings a second 16 counts of 0.01 mm would be 3 m/s^2, a third of
gravity, twice within 20 ms: a sled of some kilograms in a hand does not do it (fast pointing with an empty hand
peaks near 10 m/s^2, and takes ten times as long; from memory), and a plunger on a straight face is driven by the
sled. Slow instruments prove less: at 8 a second a hand could. So a reading off the path is not judged but held
until the next ones say whether the path really turned.

    on the path of the readings before      passed on at once
    off it, and the next one is on it       refused: counted, told, never passed on, never replaced
    off it, and the next ones are in line   passed on with them: a step, a hand, a zero button
    with what came

Off it begins early, at a few counts or deviations, since waiting costs one reading's time and nothing else. Refused is
what is off the line, or the curve, between its neighbours on both sides, which is known twice as well as the path
ahead: a decimal digit with one bit flipped is ten counts off, amid a noise of one.

Nothing is ever altered: a reading is passed on as it came or not at all. Readings that come one by one (a button,
marks) pass untouched. Pure: stamps in s, values in mm. May import: nothing of the house.
"""

from __future__ import annotations

import statistics
from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

COUNTS = 8.0  # counts off the path that are let pass: what is smaller is lost among resolution and texture
NOISES = 6.0  # or so many standard deviations of the usual distance from the path, where that is more
DOUBTED, DOUBTS = (
    4.0,
    3.0,
)  # counts, deviations: from here on a reading waits for the next one to speak for it
BETWEEN, BETWEENS = (
    6.0,
    3.0,
)  # the same for its distance from the line between its neighbours, half as uncertain
SLOWEST = 1.0  # s; readings further apart than this are not a stream
GAP = 5.0  # usual intervals without a reading, and the path is unknown
SHORTEST_GAP = 0.25  # s; a block that waited in the kernel is no gap
LATE = 1.6  # usual intervals, and one reading at least is taken to be missing
QUICK = 0.15  # s; streams quicker than this can wait for one more reading before a turn is believed
FAR = 50.0  # tolerances; a step so large is believed one reading later
MOST_HELD = 4
WINDOW = 24  # readings by which is judged what is usual
LOOK, LOOK_QUICK = 8, 32  # after how many it is judged again; fifty a second and more are quick
STEPS = 3  # differences in a window before the smallest is believed to be the display's step
FUZZ = 1e-7  # mm; differences below this are arithmetic


class Passed(NamedTuple):
    """stamps, values, tags: what is passed on, in order. held: the (stamp, value) refused by this call."""

    stamps: list[float]
    values: list[float]
    held: list[tuple[float, float]]
    tags: list[object]


class _Held(NamedTuple):
    place: float  # in usual intervals
    stamp: float
    value: float
    tag: object


class Gate:
    """One for each stream. refused: how many so far; waiting: how many are being held just now."""

    def __init__(self, count: float = 0.0) -> None:
        """count: what the instrument resolves, mm; the step seen is used where that is larger or count is 0."""
        self.refused = 0
        self._count = count
        self._step = 0.0
        self._raw: list[float] = []  # the last readings, passed on or not
        self._look = LOOK  # so many raw ones, and what is usual is looked at again
        self._level = True  # the stream stands still but for its noise
        self._noise = 0.0  # of the stream at a standstill, one standard deviation, mm
        self._scatter = 0.0  # usual distance from the path, one standard deviation, mm
        self._interval = 0.0
        self._last: float | None = None  # stamp of the last reading, held or not
        self._path: list[tuple[float, float]] = []  # the last three passed on: place, value
        self._place = 0.0
        self._held: list[_Held] = []
        self._tolerance = self._doubt = self._between = float("inf")
        self._allow()

    @property
    def waiting(self) -> int:
        return len(self._held)

    def restart(self) -> None:
        """The port was opened anew: the path is unknown, what waited is refused."""
        self.refused += len(self._held)
        self._held, self._raw = [], []
        self._path.clear()
        self._last, self._interval = None, 0.0

    def pass_on(
        self, stamps: Sequence[float], values: Sequence[float], tags: Sequence[object] | None = None
    ) -> Passed:
        """Readings as they came -> what is passed on. tags travel with their readings (a unit, flags)."""
        out = Passed([], [], [], [])
        passed_stamps, passed_values, _, passed_tags = out
        path, raw = self._path, self._raw
        for index, (stamp, value) in enumerate(zip(stamps, values, strict=True)):
            tag = tags[index] if tags is not None else None
            gone = stamp - self._last if self._last is not None else SLOWEST
            if len(path) == 3 and not self._held and gone < LATE * self._interval:
                # the usual case, without calls: thousands a second come this way
                self._last = stamp
                self._interval += (max(gone, 1e-6) - self._interval) * 0.0625
                self._place = place = self._place + 1.0
                (p1, v1), (p2, v2) = path[1], path[2]
                off = (
                    value - (path[0][1] + v1 + v2) / 3.0
                    if self._level
                    else value - v2 - (v2 - v1) * (place - p2) / (p2 - p1)
                )
                well = (
                    -self._doubt <= off <= self._doubt
                    or self._off(place, value, stopped=False) <= self._doubt
                )
            else:
                next_one = self._place + 1.0
                passing = self._step_on(stamp)
                if passing is None:  # no stream, or its start: there is no path to be off
                    self._refuse(out)
                    path.clear()
                    place, well = self._place, True
                else:
                    # late is mostly the machine and not the instrument: the next reading, before one after some lost
                    place, well = next_one, False
                    if not self._held:
                        well = self._off(next_one, value, stopped=False) <= self._doubt
                        if not well and passing > next_one:
                            well = self._off(passing, value, stopped=False) <= self._doubt
                            place = passing if well else next_one
                    self._place = place
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
                self._hold(_Held(place, stamp, value, tag), out)
        self.refused += len(out.held)
        return out

    # ---- the path ---------------------------------------------------------------------------------

    def _step_on(self, stamp: float) -> float | None:
        """The place of this reading, counted in usual intervals; None where no path leads to it.

        By count and not by time: readings arrive in blocks, and their stamps jitter more than the instrument.
        """
        last, self._last = self._last, stamp
        if last is None:
            return None
        gone, usual = stamp - last, self._interval
        if gone > SLOWEST or (usual and gone > max(GAP * usual, SHORTEST_GAP)):
            self._place += 1.0
            return None
        if not usual:
            self._interval = max(gone, 1e-4)
        elif gone < LATE * usual:
            self._interval += (max(gone, 1e-6) - usual) / 16.0
        else:
            self._interval += 0.02 * (gone - usual)  # it may have become slower
            self._place += round(gone / usual) - 1.0
        self._place += 1.0
        return self._place

    def _off(self, place: float, value: float, *, stopped: bool = True) -> float:
        """How far off the path, which may go on in several ways: standing, straight, bent, stopped.

        stopped: whether what moves may have stopped just there; the next reading will tell.
        """
        path = self._path
        p2, v2 = path[-1]
        off = abs(value - v2)
        if len(path) < 2 or (stopped and off <= FUZZ):
            return off
        if not stopped:
            off = float("inf")
        p1, v1 = path[-2]
        if self._level:
            off = abs(value - (v1 + v2 + path[0][1]) / 3.0)
            if off <= self._doubt:
                return off
        slope, ahead = (v2 - v1) / (p2 - p1), place - p2
        off = min(off, abs(value - v2 - slope * ahead))
        if off <= self._doubt or len(path) < 3 or self._level:
            return off
        p0, v0 = path[0]
        bend = (slope - (v1 - v0) / (p1 - p0)) / (p2 - p0)
        # a hand that speeds up evenly is on the parabola and off the line
        return min(off, abs(value - v2 - slope * ahead - bend * ahead * (place - p1)))

    def _go_on(self, place: float, value: float) -> None:
        path = self._path
        path.append((place, value))
        if len(path) > 3:
            del path[0]

    # ---- what is off it ---------------------------------------------------------------------------

    def _hold(self, new: _Held, out: Passed) -> None:
        held = self._held
        # each reading that is held makes the path a little less sure
        if held and self._off(new.place, new.value) <= self._tolerance * (1.0 + 0.5 * len(held)):
            self._held = []
            for one in held:
                if self._off_neighbours(one, new) <= self._between:
                    self._pass(one, out)
                else:
                    out.held.append((one.stamp, one.value))
            self._pass(new, out)
            return
        held.append(new)
        size = self._in_line()
        if size:
            before, turned = held[:-size], held[-size:]
            self._held = []
            for one in before:
                if self._on_the_way(one.value, turned[0].value):
                    self._pass(one, out)
                else:
                    out.held.append((one.stamp, one.value))
            self._path.clear()
            for one in turned:
                self._pass(one, out)
        elif len(held) > MOST_HELD:
            # rougher than can be followed; what is on the way to one of the next two may well be true
            oldest = held.pop(0)
            if any(self._on_the_way(oldest.value, later.value) for later in held[:2]):
                self._pass(oldest, out)
            else:
                out.held.append((oldest.stamp, oldest.value))

    def _off_neighbours(self, one: _Held, new: _Held) -> float:
        """How far off what stands on both sides of it, straight or bent: a hand that speeds up is no fault."""
        after, here = (new.place, new.value), (one.place, one.value)
        off = _off_line(self._path[-1], after, here)
        if off > self._between and len(self._path) > 1:
            off = min(off, _off_parabola(self._path[-2], self._path[-1], after, here))
        return off

    def _in_line(self) -> int:
        """How many of the last ones held are in line with each other, so that the path turned there; or 0."""
        newest = [(one.place, one.value) for one in self._held[-4:]]
        if self._interval < QUICK:
            if len(newest) >= 3 and _off_line(*newest[-3:]) <= self._tolerance:
                return 3
            return 4 if len(newest) == 4 and _off_parabola(*newest) <= self._tolerance else 0
        if len(newest) < 2:
            return 0
        # two that agree, or that go on as the first of them left the path
        same = abs(newest[-1][1] - newest[-2][1]) <= self._tolerance
        onward = bool(self._path) and _off_line(self._path[-1], *newest[-2:]) <= self._tolerance
        if self._path and abs(newest[-2][1] - self._path[-1][1]) > FAR * self._tolerance:
            # so far that the same bit flipped twice is as likely: a third must agree
            third = len(newest) > 2 and abs(newest[-1][1] - newest[-3][1]) <= self._tolerance
            return 3 if same and third else 0
        return 2 if same or onward else 0

    def _on_the_way(self, value: float, to: float) -> bool:
        """Between the last one passed on and the next: nothing says that it was never there."""
        start = self._path[-1][1] if self._path else value
        return min(start, to) - FUZZ <= value <= max(start, to) + FUZZ

    def _refuse(self, out: Passed) -> None:
        if self._held:
            out.held.extend((one.stamp, one.value) for one in self._held)
            self._held = []

    def _pass(self, one: _Held, out: Passed) -> None:
        self._go_on(one.place, one.value)
        out.stamps.append(one.stamp)
        out.values.append(one.value)
        out.tags.append(one.tag)

    # ---- what is usual ----------------------------------------------------------------------------

    def _learn(self) -> None:
        """The display's step, and how far off the readings are from one another: all of them, wrong ones too.

        Medians are blind to one in a hundred; and a stream that grew noisy must not be refused for ever.
        """
        raw = self._raw
        first = [abs(b - a) for a, b in pairwise(raw)]
        second = [abs(c - 2.0 * b + a) for a, b, c in zip(raw, raw[1:], raw[2:], strict=False)]
        steps = [step for step in first if step > FUZZ]
        if len(steps) >= STEPS:
            self._step = min(*steps, self._step or steps[0])
        # of white noise of deviation 1: differences 1.41, differences of those 2.45, off the mean of three 1.15
        noise = statistics.median(first) / 0.6745 / 1.41
        rough = statistics.median(second) / 0.6745
        self._level = 1.15 * noise <= rough
        if self._level:
            # two dozen readings tell a deviation to a fifth of itself only: remember former ones
            self._noise += (noise - self._noise) / 8.0 if self._noise else noise
        self._scatter = 1.15 * max(noise, self._noise) if self._level else max(rough, 1.15 * self._noise)
        self._allow()
        del raw[:-WINDOW]
        self._look = len(raw) + (LOOK if self._interval > 0.02 else LOOK_QUICK)

    def _allow(self) -> None:
        """How far off the path is doubted, how far off its neighbours' line is refused, how far is no path at all."""
        count = max(self._count, self._step)
        if count:
            self._tolerance = max(COUNTS * count, NOISES * self._scatter) + FUZZ
            self._doubt = max(DOUBTED * count, DOUBTS * self._scatter) + FUZZ
            self._between = max(BETWEEN * count, BETWEENS * self._scatter) + FUZZ


_Point = tuple[float, float]


def _off_line(a: _Point, b: _Point, c: _Point) -> float:
    """How far c is off the line through a and b."""
    return abs(c[1] - b[1] - (b[1] - a[1]) * (c[0] - b[0]) / (b[0] - a[0]))


def _off_parabola(a: _Point, b: _Point, c: _Point, d: _Point) -> float:
    """How far d is off the parabola through a, b and c."""
    slope = (c[1] - b[1]) / (c[0] - b[0])
    bend = (slope - (b[1] - a[1]) / (b[0] - a[0])) / (c[0] - a[0])
    return abs(d[1] - c[1] - slope * (d[0] - c[0]) - bend * (d[0] - c[0]) * (d[0] - b[0]))

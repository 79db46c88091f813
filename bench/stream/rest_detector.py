"""The rest detector: whether a reading stands still, and which value it then has.

Marks, spots and leans are taken by it. A mark is asked for (Enter, pedal, the
instrument's own button, a beat): the reading cannot show it, because on a square fence
the reading does not move. Pure: times in monotonic s, readings in mm.

A reading must pass two tests. Its spread over the last half second stays within three
counts or six times the noise. It also has no trend: the speed of a line through it,
with its confidence limit, stays under `REST_SPEED`. That is a test of equivalence
(Schuirmann (1987), J. Pharmacokinet. Biopharm. 15(6), 657-680): a speed that is not
known well enough is not called rest, so few or noisy readings take longer instead of
passing.

Two limits of slow instruments. The tests need three readings and half a second, so
below eight readings a second an answer may take longer than a second (at two readings a
second up to four). A vibration whose frequency lies near a multiple of the reading rate
is seen as a slow wave (aliasing), which may hide a creep of up to 0.04 mm/s for
seconds: no test of the readings alone can tell. In simulations with such vibrations
this happens below ten readings a second, at about one reading in ten thousand.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Sequence
from itertools import islice
from statistics import fmean, linear_regression

import msgspec

from bench.units import System, length_words

HOLD_S = 0.5  # s that the reading must stand still
# s of HOLD_S that may lie before the press: the hand presses after the sled has stopped
LEAD_S = 0.1
# mm; the largest count of an instrument whose count is neither declared nor seen yet
COARSEST_COUNT = 0.01
REST_COUNTS = 3.0  # counts of spread of a reading at rest; common practice, no source
REST_NOISES = 6.0  # the same spread in standard deviations of the noise
# counts of standard deviation; an instrument at rest has no more noise
MOST_NOISE = 4.0
SLOWEST_MOTION = 0.02  # mm/s; no reading that moves so fast or faster may be taken
# mm/s; a reading at rest is proven slower than this. The margin of a fifth is for the
# many looks that a wait takes; from simulation, tests/bench/stream/test_rest_simulated
REST_SPEED = 0.016
SURENESS = 4.0  # standard errors between the speed seen and REST_SPEED
REST_TREND_S = 4.0  # s of readings over which the trend is estimated, at most
# s; readings closer than this share their noise (vibration), so that their mean counts
# as one observation
NOISE_GROUP_S = 0.1
ROUNDING_NOISE = 0.3  # counts of standard deviation that rounding makes: 1 / sqrt(12)
KINKS = 200  # deviations from the neighbours' line that the noise is estimated from
SMALLEST = 0.5  # share of these, squared, that is noise whatever the hand does
# their mean where the variance is 1: chi-squared distribution, one degree of freedom
OF_SMALLEST = 0.1427
BOUNCE_S = 0.4  # s; a second press within it is the same press
# s of silence around a reading that was sent at the instrument's own button
ALONE_S = 0.6
# usual intervals without a reading, from which one is taken to be lost
LOST_INTERVALS = 2.5
EXPLAIN_AFTER_S = 4.0  # s of waiting after which the person is told why
ROUNDING_EPS = 1e-9  # s, mm; rounding of the arithmetic


class RestReading(msgspec.Struct):
    value: float
    spread: float
    readings: int
    at: float


class NotAtRest(msgspec.Struct):
    """The reading is not at rest: spread seen and spread allowed, mm; told once a wait.
    A spread within what is allowed has a trend."""

    spread: float
    allowed: float

    def words(self, units: System = "mm") -> str:
        """Half a sentence that says why."""
        if self.spread <= self.allowed:
            return "it creeps, or shivers too much to tell"
        spread, allowed = (
            length_words(mm, units, 3 if units == "mm" else None)
            for mm in (self.spread, self.allowed)
        )
        return f"it wanders over {spread}; {allowed} would do"


class RestDetector:
    """resolution: the instrument's count in mm; None: the smallest step seen so far."""

    def __init__(self, resolution: float | None = None) -> None:
        self._given = resolution
        self._seen: float | None = None
        self._stream: deque[tuple[float, float]] = (
            deque()
        )  # the last REST_TREND_S seconds
        self._kinks: deque[float] = deque(maxlen=KINKS)  # squared, mm^2
        self._pressed: float | None = None
        self._judged = 0.0  # s; when the latest look was taken
        self._explained = False
        # the reading that may have been sent at the instrument's own button
        self._alone: tuple[float, float] | None = None

    @property
    def count(self) -> float:
        return self._given or min(self._seen or 0.001, COARSEST_COUNT)

    @property
    def waiting(self) -> bool:
        """A press waits for its reading."""
        return self._pressed is not None

    def press(self, now: float) -> None:
        self._pressed = now
        self._explained = False

    def cancel(self) -> None:
        self._pressed = None

    def readings(
        self, times: Sequence[float], values: Sequence[float]
    ) -> RestReading | NotAtRest | None:
        """Take in readings; returns the answer to the press when there is one."""
        answer: RestReading | NotAtRest | None = None
        for t, v in zip(times, values, strict=True):
            self._note(t, v)
            # Two looks a group are enough at any rate of readings.
            if (
                answer is None
                and self._pressed is not None
                and t - self._judged >= NOISE_GROUP_S / 2
            ):
                self._judged = t
                answer = self._judge(self._pressed)
                if isinstance(answer, RestReading):
                    self._pressed = None
        return answer

    def button(self, now: float) -> RestReading | None:
        """The reading sent by hand, alone in its silence: it needs no press."""
        if self._alone is None or now - self._stream[-1][0] < ALONE_S:
            return None
        at, value = self._alone
        self._alone = None
        self._pressed = None
        return RestReading(value, 0.0, 1, at)

    def _note(self, t: float, v: float) -> None:
        stream = self._stream
        if not stream or t - stream[-1][0] > self._silence():
            stream.clear()
            self._alone = (t, v)
        elif self._alone is not None and t - self._alone[0] > BOUNCE_S:
            self._alone = None
        if stream and (step := abs(v - stream[-1][1])) > ROUNDING_EPS:
            self._seen = max(min(step, self._seen or step), 1e-5)
        if len(stream) > 1:
            self._note_kink(*stream[-2], *stream[-1], t, v)
        stream.append((t, v))
        while len(stream) > 3 and stream[1][0] <= t - REST_TREND_S:
            stream.popleft()

    def _note_kink(
        self, t0: float, v0: float, t1: float, v1: float, t2: float, v2: float
    ) -> None:
        if not t0 < t1 < t2:
            return
        share = (t1 - t0) / (t2 - t0)
        off = v1 - v0 - (v2 - v0) * share
        self._kinks.append(off * off / (1 + share**2 + (1 - share) ** 2))

    def _silence(self) -> float:
        """s without a reading that end a stream; a slow stream may lose one reading."""
        stream = self._stream
        if len(stream) < 4:
            return ALONE_S
        return max(
            ALONE_S, LOST_INTERVALS * (stream[-1][0] - stream[0][0]) / (len(stream) - 1)
        )

    def _judge(self, pressed: float) -> RestReading | NotAtRest | None:
        last = self._stream[-1][0]
        since = max(pressed - LEAD_S, last - HOLD_S) - ROUNDING_EPS
        values = [v for t, v in self._stream if t >= since]
        if (
            last < pressed + HOLD_S - LEAD_S - ROUNDING_EPS
            or len(values) < 2
            or not (held := self._held())
        ):
            return None
        spread = max(held) - min(held)
        if (
            spread <= REST_NOISES * MOST_NOISE * self.count + ROUNDING_EPS
            and spread <= self._allowed()
            and self._has_no_trend()
        ):
            return RestReading(
                fmean(values), max(values) - min(values), len(values), last
            )
        if not self._explained and last - pressed > EXPLAIN_AFTER_S:
            self._explained = True
            return NotAtRest(spread, self._allowed())
        return None

    def _held(self) -> list[float]:
        """The readings of the last HOLD_S, three at least; empty while there are
        fewer."""
        last = self._stream[-1][0]
        held: list[float] = []
        for t, v in reversed(self._stream):
            held.append(v)
            if len(held) >= 3 and t <= last - HOLD_S + ROUNDING_EPS:
                return held
        return []

    def _allowed(self) -> float:
        """Spread in mm that still counts as rest."""
        noise = min(max(self._noise(), self._scatter_before()), MOST_NOISE * self.count)
        return max(REST_COUNTS * self.count, REST_NOISES * noise) + ROUNDING_EPS

    def _noise(self) -> float:
        """Standard deviation of the noise in mm, from how far each reading lies off its
        neighbours' line; a steady motion does not change it.

        The larger half is left out: it holds the jerks.
        """
        smallest = sorted(self._kinks)[: math.ceil(SMALLEST * len(self._kinks))]
        return math.sqrt(fmean(smallest) / OF_SMALLEST) if len(smallest) >= 3 else 0.0

    def _scatter_before(self) -> float:
        """Standard deviation, mm, about a line through what came before the last HOLD_S
        seconds; it sees a vibration, which the noise estimate misses."""
        before = [(t, v) for t, v in self._stream if t < self._stream[-1][0] - HOLD_S]
        if len(before) < 4 or before[-1][0] - before[0][0] < 2 * HOLD_S:
            return 0.0
        slope, level = linear_regression(*zip(*before, strict=True))
        return math.sqrt(
            sum((v - level - slope * t) ** 2 for t, v in before) / (len(before) - 2)
        )

    def _has_no_trend(self) -> bool:
        """Whether the shortest stretch up to now that tells, HOLD_S or longer,
        proves that the reading moves slower than REST_SPEED."""
        stream = self._stream
        span = stream[-1][0] - stream[0][0]
        size = max(1, int(NOISE_GROUP_S * (len(stream) - 1) / span))
        least = max(ROUNDING_NOISE * self.count, self._noise() / math.sqrt(size)) ** 2
        last, base = stream[-1]
        n, st, sv, stt, stv, svv = 0, 0.0, 0.0, 0.0, 0.0, 0.0
        backwards = reversed(stream)
        while len(group := list(islice(backwards, size))) == size:
            t, v = fmean(t for t, _ in group) - last, fmean(v for _, v in group) - base
            n, st, sv, stt, stv, svv = (
                n + 1,
                st + t,
                sv + v,
                stt + t * t,
                stv + t * v,
                svv + v * v,
            )
            if n < 3 or group[-1][0] > last - HOLD_S + ROUNDING_EPS:
                continue
            sxx, sxy, syy = stt - st * st / n, stv - st * sv / n, svv - sv * sv / n
            variance = max(least, (syy - sxy * sxy / sxx) / (n - 2))
            speed, error = abs(sxy / sxx), math.sqrt(variance / sxx)
            if speed + SURENESS * error <= REST_SPEED:
                return True
            if (
                speed - error > REST_SPEED / 2
            ):  # the rest before it would hide that it runs
                return False
        return False

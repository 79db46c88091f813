"""The indicator's number during a live move: where it is, its noise at rest, whether it
holds, whether it jumped.

Pure: times in monotonic s, readings in mm.
"""

from __future__ import annotations

import statistics
from collections import deque
from collections.abc import Sequence

from bench.stream.rest_detector import RestDetector, RestReading

PRESENT_READINGS = 5  # readings that make "now"
# readings that make the number at rest, from which a move is counted
REST_READINGS = 10
NOISE_READINGS = 100  # readings whose bends tell the noise
# a change of more than so many counts, or times the noise, is a move
MOVE_COUNTS, MOVE_NOISES = 2.0, 3.0
# mm at once, faster than JUMP_SPEED_MM_S: a blow, to the fence or to the stand; common
# practice, no source
JUMP_MM = 0.1
JUMP_SPEED_MM_S = 2.0


class LiveNumber:
    """Follows the number of the indicator. `held`: mm at which it holds, None while it
    moves. `jumped`: the last jump since `steady`, mm."""

    def __init__(self, resolution: float | None) -> None:
        self._rest_detector = RestDetector(resolution)
        self._values: deque[float] = deque(maxlen=REST_READINGS)
        self._bends: deque[float] = deque(maxlen=NOISE_READINGS)
        self._last_at: float | None = None
        self._low = self._high = 0.0
        self._before_gap: float | None = None
        self.noise = 0.0  # mm, standard deviation of one reading
        self.lost = False  # the instrument does not read
        self.held: float | None = None
        self.jumped: float | None = None
        self.wandered = 0.0  # mm that it may go while nothing is moved

    @property
    def count(self) -> float:
        return self._rest_detector.count

    @property
    def now(self) -> float | None:
        """mm, the mean of the latest readings; None where there is none, or the
        instrument does not read."""
        return (
            None
            if self.lost or not self._values
            else statistics.fmean([*self._values][-PRESENT_READINGS:])
        )

    @property
    def middle(self) -> float:
        """The median of the latest readings: a single outlier does not shift it."""
        return statistics.median([*self._values][-PRESENT_READINGS:])

    @property
    def rest(self) -> float:
        return statistics.fmean(self._values)

    @property
    def wander(self) -> float:
        """mm between the lowest and the highest that the number was since `steady`."""
        return self._high - self._low

    def steady(self) -> None:
        """Count jumps and wandering from now: setting the indicator up moves the number
        too."""
        self._low = self._high = self.middle
        self.jumped = None

    def lose(self) -> None:
        """Note that the instrument does not read; where the number comes back it is
        compared with where it was."""
        if self._values and not self.lost:
            self._before_gap = self.rest
        self.lost, self.held = bool(self._values), None

    def readings(self, times: Sequence[float], values: Sequence[float]) -> None:
        if self.lost:
            self._values.clear()
            self._bends.clear()
            self.lost, self._last_at = False, None
        for at, value in zip(times, values, strict=True):
            self._take(at, value)
        if len(self._bends) >= 6:  # from second differences: a steady move is no noise
            # median |a - 2 b + c| of normal values
            self.noise = statistics.median(self._bends) / 1.6522
        if self._before_gap is not None and len(self._values) >= PRESENT_READINGS:
            gone, self._before_gap = self.middle - self._before_gap, None
            if abs(gone) > self.band:
                self.jumped = gone
        if not self._rest_detector.waiting and times:
            self._rest_detector.press(times[0])
        taken = self._rest_detector.readings(times, values)
        if isinstance(taken, RestReading):
            self._rest_detector.press(taken.at)
        still = max(3.0 * self.count, 6.0 * self.noise, self.wandered) + 1e-9
        if isinstance(taken, RestReading) and taken.spread <= still:
            self.held = taken.value
        elif (
            self.held is not None
            and self.now is not None
            and abs(self.now - self.held) > self.band
        ):
            self.held = None

    def _take(self, at: float, value: float) -> None:
        if self._last_at is not None:
            step = value - self._values[-1]
            if len(self._values) > 1:
                self._bends.append(abs(step - (self._values[-1] - self._values[-2])))
            if abs(step) > JUMP_MM and abs(step) > max(
                self.band, JUMP_SPEED_MM_S * (at - self._last_at)
            ):
                self.jumped = step
        self._last_at = at
        self._values.append(value)
        if len(self._values) >= PRESENT_READINGS:
            mean = statistics.fmean([*self._values][-PRESENT_READINGS:])
            self._low, self._high = min(self._low, mean), max(self._high, mean)

    @property
    def band(self) -> float:
        """mm beyond which a change is a move and no noise."""
        return max(MOVE_COUNTS * self.count, MOVE_NOISES * self.noise, self.wandered)


class DirectionWatch:
    """Tells whether a live move goes further from the aim than it was; mm.

    A move away from the aim by more than the noise is wrong until most is taken back.
    """

    def __init__(self) -> None:
        # the least that was to go when the number held, or when it turned round again
        self._best = 0.0
        # what was to go at the worst of a move the wrong way
        self._worst: float | None = None

    @property
    def wrong(self) -> bool:
        return self._worst is not None

    def restart(self, to_go: float) -> None:
        self._best, self._worst = to_go, None

    def update(self, away: float, held: float | None, band: float) -> None:
        """away: mm to go now; held: to go where the number holds, None while it moves.
        band: what is still noise."""
        if self._worst is not None:
            self._worst = max(self._worst, away)
            if away < max(self._worst - band, self._best + band / 2):
                self._worst, self._best = None, max(away, self._best)
        elif away > self._best + band:
            self._worst = away
        elif held is not None and held < self._best - band:
            self._best = held

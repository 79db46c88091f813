"""The times at which the readings of an instrument were taken, by the arrival of their
blocks of bytes.

Pure: arrivals in monotonic ns, stamps in monotonic s.
"""

from __future__ import annotations

from collections.abc import Sequence

from bench.settings.settings_file import PortSettings
from bench.stream.device_clock import DeviceClock
from hw.formats import FORMATS
from hw.reading import Record

SMOOTHING = 12  # intervals that the moving average of the interval goes back
STEADY = 4  # intervals after which that average is used
MOST_DRAWN = 0.25  # share of an interval by which a stamp is drawn, at most
TOO_EARLY = 2.0  # intervals; a stamp so much too early follows a silence
NS = 1_000_000_000  # ns in a second


class ReadingStamps:
    """The stamps of one instrument's readings.

    last: the stamp of the latest good reading. rate: readings a second, None while it
    is not known.
    """

    def __init__(self, settings: PortSettings) -> None:
        self.last: float | None = None
        self.rate: float | None = None
        self._interval = 0.0  # s between readings, moving average
        self._intervals = 0  # how many are in the average
        # s that a character takes on the line
        self._char = 1.0 / max(1.0, settings.baud / 10.0)
        self._late = settings.late
        traits = FORMATS[settings.format].traits_of(settings.profile)
        self._clock = DeviceClock() if traits.device_clock else None
        self._newest = 0.0  # the latest stamp by that clock
        self._when = 0  # arrival of the present block; 0 before the first

    def restart(self) -> None:
        """Forget the stamps, since the port was opened or closed."""
        self._when = self._intervals = 0
        self.last = self.rate = None
        if self._clock is not None:
            self._clock.restart()
            self._newest = 0.0

    @property
    def interval(self) -> float | None:
        """s between readings, None while it is not known."""
        known = self.last is not None and self._intervals >= STEADY
        return self._interval if known else None

    def silence(self, now: float) -> float:
        """s since the latest block."""
        return now - self._when / NS

    def begin(self, when: int, size: int, waited: float) -> None:
        """Take in that a block of `size` bytes arrived. waited: s that it may have
        waited to be read."""
        self._span = min(when - (self._when or when), NS)
        self._when, self._size = when, size
        self._even = self.last if waited and self._intervals >= STEADY else None
        self._earliest = when / NS - self._late - waited

    def stamp(self, record: Record, later: int) -> float | None:
        """The stamp of a record of the block; None for an older place of the scale,
        which was sent with the gauge's reading. later: records of the block behind
        it."""
        at = self._by_arrival(record.behind, later)
        if self._even is not None:
            # When in the round it came is not known, but readings come evenly.
            self._even = at = min(at, self._evenly(self._even))
        if self._clock is None or (us := record.device_us) is None:
            return at
        # The block's arrival is never early; the stamp of a line in it may be.
        at = self._clock.place(us, self._when / NS) - self._late
        if record.value is None:
            return at
        if at <= self._newest:
            return None
        self._newest = at
        return at

    def note(self, stamps: Sequence[float]) -> None:
        """Take in the stamps of good readings."""
        if self.last is not None and stamps[0] > self.last:
            new = (stamps[-1] - self.last) / len(stamps)
            self._intervals += 1
            self._interval += (new - self._interval) / min(self._intervals, SMOOTHING)
            self.rate = 1.0 / max(1e-6, self._interval)
        self.last = stamps[-1]

    def _by_arrival(self, behind: int, later: int) -> float:
        """The block's arrival less the time that the bytes behind it took on the line.

        A block may have waited in the kernel while this program was late. Its readings
        then lie the usual interval apart, within the time since the block before.
        """
        if not behind:
            return self._when / NS - self._late
        on_line = max(behind * self._char, later * self._interval) * NS
        back = min(on_line, self._span * behind / self._size)
        return (self._when - back) / NS - self._late

    def _evenly(self, last: float) -> float:
        """The next stamp of an even stream, drawn by degrees to the earliest possible
        one: a jump would look like a lost reading."""
        at = last + self._interval
        behind = self._earliest - at
        if behind > TOO_EARLY * self._interval:
            return self._earliest
        return at + min(max(0.0, behind), MOST_DRAWN * self._interval)

"""The clock of a device, converted to the time of this machine. Pure: it reads no
clock, but is given the arrivals.

A line comes late by the device's own waiting, the cable and this machine's being busy,
never early. So the least of (arrival less device time) over the last seconds is the
offset between the clocks, but for the shortest way, which is the same for all lines. A
device's clock also runs a little fast or slow; then these least values lie on a slope,
and the line through the edge of their lower hull under the middle is the offset (Moon,
Skelly and Towsley, "Estimation and removal of clock skew from network delay
measurements", INFOCOM 1999, 227-234, minimise the sum of delays above such a line; that
the edge under the mean is it, is what Zhang, Liu and Xia, INFOCOM 2002, show by hulls).
"""

from __future__ import annotations

from collections import deque
from itertools import pairwise

MODULO = 1 << 32  # us: the clock begins anew
SLOT_US = 500_000  # us of which the least offset is kept
SLOTS = 16  # that are looked back on: 8 s; chosen
# s that a line may be late; what is later comes of another clock: the device began anew
LATEST_LINE_S = 2.0
# ceramic resonators are out by half a per cent (common practice, no source), crystals a
# hundredth of it
WORST = 0.01


class DeviceClock:
    """Feed it every line in order of arrival."""

    def __init__(self, modulo: int = MODULO) -> None:
        """modulo: us after which the device's clock begins at 0 again."""
        self._modulo = modulo
        self.restarts = -1
        # what the device said, us, and its arrival, s
        self._last: tuple[int, float] | None = None
        self._device = 0  # us since the beginning, counted on over the wraps
        self._slot = 0
        self._least: deque[tuple[float, float]] = deque(
            maxlen=SLOTS
        )  # device s, offset s: of each slot the least
        self._line = (0.0, 0.0, 0.0)  # device s, offset there, slope

    def restart(self) -> None:
        """Begin anew: another clock comes next, or this one after a long silence."""
        self._last = None

    def place(self, device_us: int, arrived: float) -> float:
        """device_us: modulo `modulo`, may lie before that of the line before. arrived:
        s of this machine's clock.

        Returns s of this machine's clock: never after `arrived`, and before it by at
        most LATEST_LINE_S.
        """
        self._count_on(device_us, arrived)
        if self._last is None or self._read() < arrived - LATEST_LINE_S:
            self.restarts += 1
            self._device = 0
            self._least.clear()
        self._last = device_us, arrived
        self._learn(arrived)
        return min(self._read(), arrived)

    def _count_on(self, device_us: int, arrived: float) -> None:
        """Of all times that the device may mean, the one nearest to as much later as
        this line came later."""
        if self._last is not None:
            said, before = self._last
            later = round((arrived - before) * 1e6)
            half = self._modulo // 2
            self._device += (
                later + (device_us - said - later + half) % self._modulo - half
            )

    def _learn(self, arrived: float) -> None:
        least, slot = self._least, self._device // SLOT_US
        point = (self._device * 1e-6, arrived - self._device * 1e-6)
        if not least or slot > self._slot:
            self._slot = slot
            least.append(point)
        elif point[1] < least[-1][1]:
            least[-1] = point
        else:
            return
        self._line = _lowest_line(sorted(least))

    def _read(self) -> float:
        place, offset, slope = self._line
        device = self._device * 1e-6
        return device + offset + slope * (device - place)


def _lowest_line(points: list[tuple[float, float]]) -> tuple[float, float, float]:
    """The line below all points that is nearest to them in sum: x, y there, slope."""
    middle = sum(x for x, _ in points) / len(points)
    hull: list[tuple[float, float]] = []
    for point in points:
        while len(hull) > 1 and _left_turn(hull[-2], hull[-1], point) <= 0.0:
            hull.pop()
        hull.append(point)
    slope = 0.0
    for (x, y), (after, above) in pairwise(hull):
        if x <= middle <= after and after > x:
            slope = min(max((above - y) / (after - x), -WORST), WORST)
    return middle, min(y + slope * (middle - x) for x, y in points), slope


def _left_turn(
    a: tuple[float, float], b: tuple[float, float], c: tuple[float, float]
) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])

"""Words of clocked gauges as edges on two of the guest's pins, in the formats that are played.

Only those of 24 bits have been seen to their end in a guest yet.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any, NamedTuple

Step = tuple[int, int, str]  # ns, line, level: 0, 1, or z where nobody drives it

CLOCK, DATA, REQ = 5, 6, 13  # BCM numbers
MS = 1_000_000  # ns
# between two words; as the bits of 24, of a measured indicator (public trace of a 24-bit word)
PAUSE = 110 * MS


def bits_of(number: int, size: int) -> str:
    """Least significant bit first."""
    return "".join(str(number >> place & 1) for place in range(size))


def nibbles_of(digits: Iterable[int]) -> str:
    return "".join(bits_of(digit, 4) for digit in digits)


def sync52(count: int) -> str:
    return nibbles_of([15, 15, 15, 15, 8 * (count < 0), *map(int, f"{abs(count):06}"), 2, 0])


def bcd28(count: int) -> str:
    return nibbles_of([*map(int, f"{abs(count):06}"[::-1]), (count < 0) | 4])


def sync48(count: int) -> str:
    """Counts of 20,480 to the inch, the second word negated."""
    return bits_of(7, 24) + bits_of(-round(count * 20480 / 2540) % 2**24, 24)


class Gauge(NamedTuple):
    """bits: of a count of hundredths of a mm, in order of sending. bit, gap: ns, of a bit and more after each fourth.
    idle: level of the clock between two words; a bit is taken where the clock comes back to it."""

    format: str
    bits: Callable[[int], str]
    bit: int
    gap: int = 0
    idle: str = "0"
    wired: Mapping[str, object] = {}

    def settings(self) -> dict[str, Any]:
        resolution = {"resolution": "0.01 mm"} if self.format != "sync48" else {"resolution": "0.00125 mm"}
        return {"format": self.format, "clock": CLOCK, "data": DATA, **resolution, **self.wired}


# a measured indicator's bit; a second gauge's on request takes up to 4 ms; of the others 13 us (public timing notes)
GAUGES = (
    Gauge("sync24", lambda count: bits_of(abs(count) | (count < 0) << 20, 24), 280_000, 385_000, "1"),
    Gauge("sync52", sync52, 1 * MS, wired={"req": REQ}),
    Gauge("sync48", sync48, 13_000),
    Gauge("bcd28", bcd28, 13_000),
)


def words_of(gauge: Gauge, counts: Sequence[int], pace: float = 1.0) -> list[Step]:
    """Words as edges: data, the clock away from rest and back to it, where the bit is taken; then the pause."""
    steps, at, away = [], 20 * MS, "1" if gauge.idle == "0" else "0"
    bit, gap = round(gauge.bit * pace), round(gauge.gap * pace)
    for count in counts:
        for place, level in enumerate(gauge.bits(count)):
            steps += [(at, DATA, level), (at + bit // 4, CLOCK, away), (at + bit // 2, CLOCK, gauge.idle)]
            at += bit + (gap if place % 4 == 3 else 0)
        at += PAUSE
    return steps

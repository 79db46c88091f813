"""Records of formats that say more than a value."""

from __future__ import annotations

from hw.reading import Record


class ScaleRecord(Record, frozen=True, gc=False):
    """A scale's reading in counts.

    counts: what the display shows, in counts; counts_abs: the position since power-on,
    in counts.
    """

    counts_abs: int | None = None


class BridgeRecord(Record, frozen=True, gc=False):
    """A line of a microcontroller that counts travel and reads a gauge by one clock.

    counts: travel counts. value, unit, flags, status: what the gauge said, if it said
    anything. sequence: 0 to 65535, one up with each line. device_us: the
    microcontroller's clock, us, modulo 2**32.
    """

    sequence: int | None = None
    device_us: int | None = None

"""Format `sync24`: one 24-bit word, sent all the time, sign and magnitude.

The layout is from public reader notes and protocol pages of 24-bit indicators and
calipers.

    bits 0-19 magnitude, least significant first; 20 sign;
    21 and 22 unused (set: rejected); 23 inch
    mm = counts / 100, inch = counts / 2000; the unit follows the display

    0100 1011 0010 0000 0000 0000 (0x0004D2) -> 12.34 mm
    0111 0010 0000 0000 0000 1001 (0x90004E) -> -0.0390 inch

Exactly 24 bits: of 23 or 25 neither the first nor the last 24 are tried. A line stuck
low reads as 0.
"""

from __future__ import annotations

from hw.formats.shared.clocked import ClockedDecoder, clocked_format, number
from hw.formats.shared.lengths import to_mm
from hw.formats.shared.plain_text import Fault
from hw.reading import Record


class Sync24(ClockedDecoder):
    bits = 24

    def meaning(self, bits: str) -> Record:
        if bits[21:23] != "00":
            raise Fault("an unused bit (21 or 22) is set")
        magnitude = number(bits[:20])
        counts = -magnitude if bits[20] == "1" else magnitude
        if bits[23] == "1":
            # 1/2000 inch is 5 ten-thousandths
            return Record(value=to_mm(counts * 5, 4, True), unit="inch")
        return Record(value=to_mm(counts, 2, False))


FORMAT = clocked_format(
    Sync24, "24 bits, sign and magnitude, clocked all the time", edge="rising"
)

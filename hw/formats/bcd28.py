"""Format `bcd28`: seven nibbles of BCD, sent all the time, least significant digit
first.

The layout is from public logic-analyser articles; the scale in mm, and that `half` is 0
in mm, are inferred.

    six digits, each least significant bit first;
    then bit 0 minus, bit 1 half, bit 2 metric, bit 3 unknown
    inch = digits / 1000, and 0.0005 more when half; mm = digits / 100

    1000 0000 0001 1001 0000 0000  0100 -> 9.8015 inch
    0010 1100 0100 1000 0000 0000  0010 -> 12.34 mm

The meaning of bit 3 is not published, so a frame with it set is rejected. A line stuck
low reads as 0.
"""

from __future__ import annotations

from hw.formats.shared.clocked import ClockedDecoder, clocked_format, nibbles
from hw.formats.shared.lengths import to_mm
from hw.formats.shared.plain_text import Fault
from hw.reading import Record


class Bcd28(ClockedDecoder):
    bits = 28

    def meaning(self, bits: str) -> Record:
        *digits, flags = nibbles(bits)
        if max(digits) > 9:
            raise Fault(f"{max(digits):X} is no decimal digit")
        minus, half, metric, unknown = (flags >> place & 1 for place in range(4))
        if unknown:
            raise Fault("flag bit 3, of unknown meaning, is set")
        count = int("".join(map(str, reversed(digits))))
        if metric:
            if half:
                raise Fault("the half-thousandth flag is set in mm")
            return Record(value=to_mm(-count if minus else count, 2, False))
        count = 10 * count + 5 * half  # in ten-thousandths of an inch
        return Record(value=to_mm(-count if minus else count, 4, True), unit="inch")


FORMAT = clocked_format(Bcd28, "28 bits of BCD, clocked all the time", edge="falling")

"""Format `sync48`: two 24-bit words in two's complement, 20 480 counts to the inch.

The layout is from public protocol pages of 48-bit scales and a public decoder.

    word 1   position since power-on
    word 2   the display, negated (zeroed by its button)
    each least significant bit first; counts without a unit; mm = counts x 25.4 / 20480

    1111 1110 1111 1000 0000 0000  1000 0001 0000 0111 1111 1111
    -> 8063 counts = 10.000010 mm

One published text swaps the words (option order), one has the display bit-inverted, one
count apart (option sign). All ones is rejected. All zeros is a valid frame, so a line
stuck low is not recognised.
"""

from __future__ import annotations

from hw.formats.shared.clocked import ClockedDecoder, clocked_format, number
from hw.formats.shared.options import FormatOption, choice
from hw.formats.shared.plain_text import Fault
from hw.reading import Record

COUNTS_PER_INCH = 20480


def signed(word: str) -> int:
    """24 bits in order of arrival as two's complement."""
    value = number(word)
    return value - (1 << 24) if value >> 23 else value


class Sync48(ClockedDecoder):
    bits = 48

    def __init__(
        self,
        *,
        order: str = "abs_first",
        sign: str = "negated",
        invert: bool = False,
        range_mm: tuple[float, float] | None = None,
    ) -> None:
        super().__init__(invert=invert, range_mm=range_mm)
        self._swap = order == "display_first"
        self._sign = sign

    def meaning(self, bits: str) -> Record:
        if "0" not in bits:
            raise Fault("all bits are 1: the line is stuck")
        first, second = signed(bits[:24]), signed(bits[24:])
        if self._swap:
            first, second = second, first
        counts = {"negated": -second, "inverted": ~second, "plain": second}[self._sign]
        value = counts * 254 / (10 * COUNTS_PER_INCH)
        return Record(value=value, counts=counts, counts_abs=first)


FORMAT = clocked_format(
    Sync48,
    "two 24-bit words of 20480 counts to the inch, clocked all the time",
    edge="falling",
    redundant=False,
    more=(
        FormatOption(
            "order",
            "abs_first",
            "which word comes first",
            choice("abs_first", "display_first"),
        ),
        FormatOption(
            "sign",
            "negated",
            "how the display stands in its word",
            choice("negated", "inverted", "plain"),
        ),
    ),
)

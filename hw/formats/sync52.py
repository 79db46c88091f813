"""Format `sync52`: 52 bits, thirteen nibbles of BCD, clocked out by the gauge on
request.

The layout and examples are printed in gauge manuals; each nibble comes least
significant bit first, d1 first.

    d1-d4    F F F F,  or F F F n: n is a seventh leading digit,
             or 8 F n n: two more leading digits
    d5       0 plus, 8 minus
    d6-d11   six digits, most significant first (a longer display loses its top digit)
    d12      decimals, 0 to 5
    d13      0 mm, 1 inch; with judgement over, go, under: 2 3 4 mm, 5 6 7 inch

    FFFF 8 012345 3 0 -> -12.345 mm
    = 1111 1111 1111 1111  0001  0000 1000 0100 1100 0010 1010  1100  0000

A line stuck low or high fails d1-d5.
"""

from __future__ import annotations

from hw.formats.shared.clocked import ClockedDecoder, clocked_format, nibbles
from hw.formats.shared.lengths import to_mm
from hw.formats.shared.options import FormatOption, seconds
from hw.formats.shared.plain_text import Fault
from hw.reading import Record

JUDGEMENT = ("judge_over", "judge_go", "judge_under")


def leading(head: list[int]) -> tuple[list[int], tuple[str, ...]]:
    """d1-d4 -> the digits before d6, and the flags."""
    if head == [15, 15, 15, 15]:
        return [], ()
    if head[:3] == [15, 15, 15] and head[3] <= 9:
        return [head[3]], ("seven_digit",)
    if head[:2] == [8, 15] and head[2] <= 9 and head[3] <= 9:
        return head[2:], ("eight_digit",)
    raise Fault(
        "d1 to d4 are "
        + " ".join(f"{nibble:X}" for nibble in head)
        + ", not F F F F, F F F n or 8 F n n"
    )


class Sync52(ClockedDecoder):
    bits = 52

    def meaning(self, bits: str) -> Record:
        frame = nibbles(bits)
        first, flags = leading(frame[:4])
        sign, decimals, unit = frame[4], frame[11], frame[12]
        digits = first + frame[5:11]
        if sign not in {0, 8}:
            raise Fault(f"the sign d5 is {sign:X}, not 0 or 8")
        if max(digits) > 9:
            raise Fault(f"{max(digits):X} is no decimal digit")
        if decimals > 5:
            raise Fault(f"the decimals d12 are {decimals:X}, more than 5")
        if unit > 7:
            raise Fault(f"the unit d13 is {unit:X}, more than 7")
        inch = unit == 1 or unit >= 5
        if unit >= 2:
            flags += (JUDGEMENT[(unit - 2) % 3],)
        count = int("".join(map(str, digits)))
        value = to_mm(-count if sign else count, decimals, inch)
        return Record(value=value, unit="inch" if inch else "mm", flags=flags)


FORMAT = clocked_format(
    Sync52,
    "52 bits of BCD, clocked by the gauge on request",
    edge="falling",
    pause=FormatOption(
        "timeout", 0.3, "how long the gauge may take to answer, s", seconds(2.5)
    ),
)

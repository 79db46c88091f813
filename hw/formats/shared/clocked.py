"""The base of the clocked formats: one frame of bits, as text, to a record.

The text of a frame is its bits as 0 and 1 in order of arrival, with or without blanks.
"""

from __future__ import annotations

from hw.formats.shared.line_splitter import LineSplitter
from hw.formats.shared.options import RANGE, FormatOption, boolean, choice, integer
from hw.formats.shared.plain_text import Fault
from hw.formats.shared.wire_format import PINS, WireFormat, maker
from hw.reading import Record

_COMPLEMENT = str.maketrans("01", "10")


def number(bits: str) -> int:
    """Bits in order of arrival, least significant first -> the number."""
    return int(bits[::-1], 2)


def nibbles(bits: str) -> list[int]:
    """Bits in order of arrival -> each four as a number, the first bit worth 1."""
    return [number(bits[place : place + 4]) for place in range(0, len(bits), 4)]


class FrameDecoder(LineSplitter):
    """One frame a line of text; the last needs no line end, since a frame proves itself
    whole."""

    longest = 256

    def finish(self) -> list[Record]:
        """The rest is a frame like any other."""
        out: list[Record] = []
        if rest := self._rest:
            self._line(rest, rest, 0, out)
        self._rest, self._dropping = b"", False
        return out


class ClockedDecoder(FrameDecoder):
    """A format of a fixed number of bits."""

    bits = 0  # in a frame

    def __init__(
        self, *, invert: bool = False, range_mm: tuple[float, float] | None = None
    ) -> None:
        super().__init__(range_mm=range_mm)
        self._invert = invert

    def read(self, bits: str) -> Record:
        """The frame as a record without raw; raises Fault."""
        if bits.strip("01"):
            raise Fault(f"{bits.strip('01')[:1]!r} is no bit")
        if len(bits) != self.bits:
            raise Fault(f"{len(bits)} bits, not {self.bits}")
        return self.meaning(bits.translate(_COMPLEMENT) if self._invert else bits)

    def meaning(self, bits: str) -> Record:
        """What a frame of the right length says; raises Fault."""
        raise NotImplementedError

    def _frames(self, line: bytes, raw: bytes, behind: int, out: list[Record]) -> None:
        if bare := line.replace(b" ", b""):
            super()._frames(bare, bare, behind, out)

    def _read(self, line: bytes) -> Record:
        return self.read(line.decode("latin-1"))


_GAP = FormatOption(
    "gap_us",
    5000,
    "a pause of the clock longer than this parts two frames, in us",
    integer(50, 1_000_000),
)
_INVERT = FormatOption(
    "invert",
    False,
    "complement every bit first (a shifter of one transistor inverts)",
    boolean,
)


def clocked_format(
    decoder: type[ClockedDecoder],
    words: str,
    *,
    edge: str,
    pause: FormatOption = _GAP,
    more: tuple[FormatOption, ...] = (),
    redundant: bool = True,
) -> WireFormat:
    """What all formats of clock and data say of themselves. edge: at which a bit is
    taken. pause: what ends a frame."""
    at_edge = FormatOption(
        "edge",
        edge,
        "clock edge, at our pin, at which a bit is taken",
        choice("rising", "falling"),
    )
    return WireFormat(
        name=decoder.__module__.rpartition(".")[2],
        words=words,
        make=maker(decoder),
        options=(_INVERT, RANGE, at_edge, pause, *more),
        port=PINS,
        wires=("data", "clock", "req"),
        frame_bits=decoder.bits,
        redundant=redundant,
    )

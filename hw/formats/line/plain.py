"""Profile `plain` of format `line`, with a fast path for lines of a known shape.

The shape of a line (its bytes with every digit as 0) decides all but the digits
themselves. A shape that the strict reader has read once is read again by cutting at the
same places: the fast path costs a few look-ups and accepts nothing that the strict
reader would refuse.
"""

from __future__ import annotations

from hw.formats.shared.lengths import range_fault
from hw.formats.shared.line_splitter import LineSplitter
from hw.formats.shared.plain_text import Measure, ascii_text, read_plain
from hw.reading import Record, Unit

MOST_SHAPES = 64  # shapes of lines that are remembered

_ENDS = (b"\n", b"\r")
_SHAPE = bytes.maketrans(b"123456789\r", b"000000000\n")

# (start, separator, end, negative, multiplier, divisor, unit, flags); separator -1:
# float() reads start:end
Shape = tuple[int, int, int, bool, int, int, Unit, tuple[str, ...]]


class PlainDecoder(LineSplitter):
    """Profile `plain`, with the fast path by shapes."""

    def __init__(
        self,
        *,
        default_unit: Unit = "mm",
        decimals: int | None = None,
        range_mm: tuple[float, float] | None = None,
        at_open: bool = False,
        parity7: str | None = None,
        judged: bool = False,
    ) -> None:
        super().__init__(range_mm=range_mm, at_open=at_open, parity7=parity7)
        self._judged = judged
        self._default_unit: Unit = default_unit
        self._decimals = decimals
        self._shapes: dict[bytes, Shape] = {}

    def feed(self, data: bytes) -> list[Record]:
        """Bytes as they came -> the records they completed, in order."""
        if (
            not self._rest
            and not self._dropping
            and self._parity is None
            and data.endswith(_ENDS)
        ):
            # the usual block of a slow instrument is one whole line
            behind = 1 if data.endswith(b"\r\n") else 0
            line = data[: -1 - behind]
            cut = self._shapes.get(line.translate(_SHAPE))
            if cut is not None:
                return [self._by_shape(line, cut, behind, line)]
        return super().feed(data)

    def _by_shape(self, line: bytes, cut: Shape, behind: int, raw: bytes) -> Record:
        """raw: the line as it came, with its parity."""
        start, separator, end, negative, multiplier, divisor, unit, flags = cut
        if separator < 0:
            value = float(line[start:end])
        else:
            value = (
                int(line[start:separator] + line[separator + 1 : end])
                * multiplier
                / divisor
            )
        if negative:
            value = 0.0 - value  # so that -0 is 0
        if self._range[0] <= value <= self._range[1]:
            return Record(value, unit, flags, None, None, raw, behind)
        return self._reject(range_fault(value, self._range) or "", raw, behind)

    def _lines(self, block: bytes, raw: bytes, out: list[Record]) -> None:
        lines = block.replace(b"\r", b"\n").split(b"\n")
        shapes = block.translate(_SHAPE).split(b"\n")
        self._rest = raw[len(raw) - len(lines.pop()) :]
        left, clean = len(block), raw is block
        known = self._shapes.get
        append = out.append
        # shapes is longer by the unfinished line
        for line, shape in zip(lines, shapes, strict=False):
            left -= len(line) + 1
            own = line if clean else raw[-1 - left - len(line) : -1 - left]
            cut = known(shape)
            if cut is not None:
                append(self._by_shape(line, cut, left, own))
            elif line:
                self._line(line, own, left, out)

    def _read(self, line: bytes) -> Record:
        text = ascii_text(line, self._parity is not None)
        record, measure = read_plain(
            text, self._decimals, self._default_unit, self._judged
        )
        if measure is not None:
            self._learn(line, measure)
        return record

    def _learn(self, line: bytes, measure: Measure) -> None:
        """Remember where the number stands in lines of this shape."""
        number = measure.number
        inch = measure.unit == "inch"
        separator = number.separator if number.separator >= 0 else number.end
        if not inch and number.separator >= 0 and line[separator] == ord("."):
            separator = -1
        if len(self._shapes) >= MOST_SHAPES:
            self._shapes.clear()  # random bytes must not fill the memory
        self._shapes[line.translate(_SHAPE)] = (
            number.start,
            separator,
            number.end,
            number.negative,
            254 if inch else 1,
            10 ** (number.decimals + inch),
            measure.unit,
            measure.flags,
        )

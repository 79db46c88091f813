"""Format `line`: a byte stream cut into ASCII lines, each read by its profile.

May import: hw.reading and the rest of hw.formats.

CR, LF or CR LF ends a line, also when the two come in different reads (the empty line between them is
nothing). More than 64 bytes without an end: one reject, and all is dropped up to the next end. A live
port starts in mid-line, so with `at_open` everything up to the first end is dropped.

The shape of a line (its bytes with every digit as 0) decides all but the digits themselves, so a shape
of profile `plain` that was read once by the strict reader is read again by cutting at the same places:
the hot path costs a few look-ups and still accepts nothing that the strict reader would refuse.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from hw.formats.lengths import EVERYWHERE, outside
from hw.formats.plain_text import Fault, Measure, ascii_text, read_plain
from hw.reading import Record, Unit

LONGEST = 64
"""Bytes a line may have without its end."""
MOST_SHAPES = 64

_SHAPE = bytes.maketrans(b"123456789\r", b"000000000\n")
_ENDS = b"\r\n"

ReadLine = Callable[[bytes], Record]
"""One whole line -> its record without raw and behind; raises Fault."""

# (start, separator, end, negative, multiplier, divisor, unit, flags); separator -1: float() reads start:end
Shape = tuple[int, int, int, bool, int, int, Unit, tuple[str, ...]]


def parity_table(parity: str) -> bytes:
    """256 bytes: each byte without its parity bit, or 0xff where the parity is wrong."""
    wanted = 0 if parity == "even" else 1
    return bytes(byte & 0x7F if byte.bit_count() % 2 == wanted else 0xFF for byte in range(256))


class LineDecoder:
    """Cuts lines and has each read; see hw.reading.Decoder."""

    ends = _ENDS

    def __init__(self, *, at_open: bool = False, parity7: str | None = None) -> None:
        self.rejects = 0
        self._rest = b""  # the unfinished line, parity stripped, at most LONGEST bytes
        self._rest_raw = b""  # the same as it came; kept only with parity
        self._dropping = at_open
        self._dropped: int | None = (
            0 if at_open else None
        )  # bytes dropped at opening; None: told, or not opening
        self._parity = parity_table(parity7) if parity7 else None

    def feed(self, data: bytes) -> list[Record]:
        """Bytes as they came -> the records they completed, in order."""
        out: list[Record] = []
        clean = data if self._parity is None else data.translate(self._parity)
        if self._dropping:
            start = self._first_end(clean)
            if self._dropped is not None:
                self._count_dropped(data, start, out)
            if not start:
                return out
            self._dropping, self._dropped = False, None
            data, clean = data[start:], clean[start:]
        if self._rest:
            clean = self._rest + clean
        if self._parity is not None:
            data = self._rest_raw + data
        self._lines(clean, clean if self._parity is None else data, out)
        return out

    def finish(self) -> list[Record]:
        """An unfinished line is one reject; what may still come of it is dropped up to its end."""
        if not self._rest:
            return []
        raw = self._rest if self._parity is None else self._rest_raw
        self._rest = self._rest_raw = b""
        self._dropping = True
        return [self._reject("cut off: no line end after it", raw, 0)]

    def _first_end(self, data: bytes) -> int:
        """The place after the first line end; 0 when there is none."""
        places = [place for place in (data.find(end) for end in self.ends) if place >= 0]
        return min(places) + 1 if places else 0

    def _count_dropped(self, data: bytes, start: int, out: list[Record]) -> None:
        before = self._dropped or 0
        run = start - 1 if start else len(data)
        if before + run <= LONGEST:
            self._dropped = before + run
            return
        behind = len(data) - (LONGEST + 1 - before)
        words = f"more than {LONGEST} bytes since the opening without a line end (baud rate? parity?)"
        out.append(self._reject(words, data[:LONGEST], behind))
        self._dropped = None

    def _lines(self, block: bytes, raw: bytes, out: list[Record]) -> None:
        lines = block.replace(b"\r", b"\n").split(b"\n")
        self._keep(lines.pop(), raw)
        left = len(block)
        for line in lines:
            if line:
                out.append(self._one(line, raw[len(raw) - left :][: len(line)], left - len(line) - 1))
            left -= len(line) + 1
        self._too_long(out)

    def _keep(self, rest: bytes, raw: bytes) -> None:
        self._rest = rest
        if self._parity is not None:
            self._rest_raw = raw[len(raw) - len(rest) :]

    def _too_long(self, out: list[Record]) -> None:
        rest = self._rest
        if len(rest) <= LONGEST:
            return
        raw = rest if self._parity is None else self._rest_raw
        out.append(self._long(raw, len(rest) - LONGEST - 1))
        self._rest = self._rest_raw = b""
        self._dropping = True

    def _long(self, raw: bytes, behind: int) -> Record:
        return self._reject(f"more than {LONGEST} bytes without a line end", raw[:LONGEST], behind)

    def _one(self, line: bytes, raw: bytes, behind: int) -> Record:
        """A whole line with bytes in it."""
        if len(line) > LONGEST:  # told as of its 65th byte, as when it comes in pieces
            return self._long(raw, behind + 1 + len(line) - LONGEST - 1)
        try:
            record = self._read(line)
        except Fault as fault:
            return self._reject(str(fault), raw, behind)
        return with_frame(record, raw, behind)

    def _read(self, line: bytes) -> Record:
        raise NotImplementedError

    def _reject(self, fault: str, raw: bytes, behind: int) -> Record:
        self.rejects += 1
        return Record(fault=fault, raw=raw, behind=behind)


def with_frame(record: Record, raw: bytes, behind: int) -> Record:
    """The same record with its own bytes and what came after them."""
    import msgspec

    return msgspec.structs.replace(record, raw=raw, behind=behind)


class PlainDecoder(LineDecoder):
    """Profile `plain`, with the hot path by shapes."""

    def __init__(
        self,
        *,
        default_unit: Unit = "mm",
        decimals: int | None = None,
        range_mm: tuple[float, float] | None = None,
        at_open: bool = False,
        parity7: str | None = None,
    ) -> None:
        super().__init__(at_open=at_open, parity7=parity7)
        self._default_unit: Unit = default_unit
        self._decimals = decimals
        self._range = range_mm or EVERYWHERE
        self._shapes: dict[bytes, Shape] = {}

    def _lines(self, block: bytes, raw: bytes, out: list[Record]) -> None:
        lines = block.replace(b"\r", b"\n").split(b"\n")
        shapes = block.translate(_SHAPE).split(b"\n")
        self._keep(lines.pop(), raw)
        left = len(block)
        own = raw is not block
        low, high = self._range
        known = self._shapes.get
        for line, shape in zip(lines, shapes, strict=False):  # shapes has the rest as one more
            size = len(line)
            left -= size + 1
            cut = known(shape)
            if cut is None:
                if line:
                    start = len(raw) - left - size - 1
                    out.append(self._one(line, raw[start : start + size], left))
                continue
            start, separator, end, negative, multiplier, divisor, unit, flags = cut
            if separator < 0:
                value = float(line[start:end])
            else:
                value = int(line[start:separator] + line[separator + 1 : end]) * multiplier / divisor
            if negative:
                value = 0.0 - value  # so that -0 is 0
            if own:
                start = len(raw) - left - size - 1
                line = raw[start : start + size]  # noqa: PLW2901
            if low <= value <= high:
                out.append(Record(value, unit, flags, None, None, line, left))
            else:
                out.append(self._reject(outside(value, self._range) or "", line, left))
        self._too_long(out)

    def _read(self, line: bytes) -> Record:
        text = ascii_text(line, self._parity is not None)
        record, measure = read_plain(text, self._decimals, self._default_unit)
        if measure is not None:
            self._learn(line, measure)
            fault = outside(measure.mm(), self._range)
            if fault:
                raise Fault(fault)
        return record

    def _learn(self, line: bytes, measure: Measure) -> None:
        """Remember where the number stands in lines of this shape."""
        number = measure.number
        inch = measure.unit == "inch"
        divisor = 10 ** (number.decimals + inch)
        point = number.separator >= 0 and line[number.separator : number.separator + 1] == b"."
        separator = -1 if point and not inch else (number.separator if number.separator >= 0 else number.end)
        if len(self._shapes) >= MOST_SHAPES:
            self._shapes.clear()  # a rubbish line must not make us grow
        self._shapes[line.translate(_SHAPE)] = (
            number.start,
            separator,
            number.end,
            number.negative,
            254 if inch else 1,
            divisor,
            measure.unit,
            measure.flags,
        )


def make(options: Mapping[str, Any]) -> LineDecoder:
    """The decoder for a full set of options (hw.formats.read_options)."""
    return PlainDecoder(
        default_unit=options["default_unit"],
        decimals=options["decimals"],
        range_mm=options["range_mm"],
        at_open=options["at_open"],
        parity7=options["parity7"],
    )

"""Cuts arriving bytes into lines, which the formats read.

CR, LF or CR LF ends a line, also when the two come in different reads: the empty line
between them is dropped. A line longer than the longest is one reject, told with its
first byte too many, and everything up to the next end is dropped. So the memory is
bounded whatever arrives.
"""

from __future__ import annotations

import re

import msgspec

from hw.formats.shared.lengths import EVERYWHERE, range_fault
from hw.formats.shared.plain_text import Fault
from hw.reading import Record


def parity_table(parity: str) -> bytes:
    """256 bytes: each byte without its parity bit, or 0xff for a wrong parity."""
    right = {*with_parity(bytes(range(128)), parity)}
    return bytes(byte & 0x7F if byte in right else 0xFF for byte in range(256))


def with_parity(data: bytes, parity: str | None) -> bytes:
    """Seven-bit characters with the parity in bit 7, for a port that makes none:
    "even", "odd", or None as they are."""
    if parity is None:
        return data
    wanted = 0 if parity == "even" else 1
    return bytes(
        byte & 0x7F | ((byte & 0x7F).bit_count() % 2 != wanted) << 7 for byte in data
    )


class LineSplitter:
    """The part of hw.reading.Decoder that all formats made of lines share."""

    ends = re.compile(rb"[\r\n]")
    longest = 64  # bytes a line may have without its end

    def __init__(
        self,
        *,
        range_mm: tuple[float, float] | None = None,
        at_open: bool = False,
        parity7: str | None = None,
    ) -> None:
        self.rejects = 0
        self._range = range_mm or EVERYWHERE
        self._rest = b""  # the unfinished line, as it came
        # a line of which the beginning was missed, or is too long, is dropped
        self._dropping = self._opening = at_open
        self._parity = parity_table(parity7) if parity7 else None

    def feed(self, data: bytes) -> list[Record]:
        """Bytes as they came -> the records they completed, in order."""
        out: list[Record] = []
        if self._rest:
            data = self._rest + data
        if self._dropping and not (data := self._drop(data, out)):
            return out
        self._lines(self._clean(data), data, out)
        if len(self._rest) > self.longest:
            behind = len(self._rest) - self.longest - 1
            out.append(self._too_long(self._rest, behind))
            self._rest, self._dropping = b"", True
        return out

    def _clean(self, data: bytes) -> bytes:
        """Without the parity bits."""
        return data if self._parity is None else data.translate(self._parity)

    def finish(self) -> list[Record]:
        """An unfinished line is one reject; the rest of it is dropped up to its end."""
        if not self._rest or self._dropping:
            return []
        raw, self._rest, self._dropping = self._rest, b"", True
        return [self._reject("cut off: no line end after it", raw, 0)]

    def _drop(self, data: bytes, out: list[Record]) -> bytes:
        """What follows the line that is dropped. A port that never sends a line end is
        one reject, so that it is heard of."""
        found = self.ends.search(self._clean(data))
        size = found.start() if found else len(data)
        if self._opening and size > self.longest:
            words = (
                f"more than {self.longest} bytes since the opening without a line end"
                " (baud rate? parity?)"
            )
            raw, behind = data[: self.longest], len(data) - self.longest - 1
            out.append(self._reject(words, raw, behind))
            self._opening = False
        if found is None:
            self._rest = data if self._opening else b""
            return b""
        self._rest, self._dropping, self._opening = b"", False, False
        return data[found.end() :]

    def _lines(self, block: bytes, raw: bytes, out: list[Record]) -> None:
        """Read the whole lines of a block, keep the rest; `raw` is the block as it
        came."""
        lines = block.replace(b"\r", b"\n").split(b"\n")
        self._rest = raw[len(raw) - len(lines.pop()) :]
        start = 0
        for line in lines:
            end = start + len(line)
            if line:
                self._line(line, raw[start:end], len(block) - end - 1, out)
            start = end + 1

    def _line(self, line: bytes, raw: bytes, behind: int, out: list[Record]) -> None:
        """A whole line with bytes in it."""
        if len(line) > self.longest:
            # the same record as when the line comes in pieces
            out.append(self._too_long(raw, behind + len(line) - self.longest))
        else:
            self._frames(line, raw, behind, out)

    def _frames(self, line: bytes, raw: bytes, behind: int, out: list[Record]) -> None:
        """What a line holds that is not too long: one record, or none."""
        try:
            record = self._read(line)
        except Fault as fault:
            out.append(self._reject(str(fault), raw, behind))
            return
        if record is None:
            return
        if beyond := range_fault(record.value, self._range):
            out.append(self._reject(beyond, raw, behind))
        else:
            out.append(msgspec.structs.replace(record, raw=raw, behind=behind))

    def _read(self, line: bytes) -> Record | None:
        """A line as a record without raw and behind, or None for no record; raises
        Fault. Its value is not looked at for the range."""
        raise NotImplementedError

    def _too_long(self, raw: bytes, behind: int) -> Record:
        return self._reject(
            f"more than {self.longest} bytes without a line end",
            raw[: self.longest],
            behind,
        )

    def _reject(self, fault: str, raw: bytes, behind: int) -> Record:
        self.rejects += 1
        return Record(fault=fault, raw=raw, behind=behind)

"""Profiles of format `line` for microcontrollers that count travel: bridge_counts and
bridge.

`bridge_counts` is a known shape: fields of a letter and a whole number, each ended by a
semicolon, `X1234;Y-5;`, line ends between them or not.

`bridge` is our own, with one clock for travel and gauge, and framed as the open marine
sentence standard frames its sentences: `$`, fields parted by commas, `*`, and in two
hexadecimal digits the exclusive or of all characters between `$` and `*`; CR LF.

    $BRG,17,123456789,-20480,+0012.345mm*47
         |  |         |      the gauge word
         |  |         travel, in counts of 32 bits, signed
         |  the microcontroller's clock at the gauge's reading, us modulo 2**32
         sequence number, modulo 2**16

Longer numbers, up to 64 bits, are taken modulo these.

The gauge word is a number by the rules of `plain` (with a point), `---` for "no
reading", nothing at all when the gauge gave no new word for this line, or, with the
option gauge=sync24 and the like, the bits of a clocked format as the microcontroller
saw them: four bits a hexadecimal digit in order of arrival, the first bit of each four
being worth 1. So the microcontroller need not know what the bits mean.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import reduce
from operator import xor
from typing import Any

from hw.formats import make_decoder
from hw.formats.shared.line_splitter import LineSplitter
from hw.formats.shared.plain_text import Fault, ascii_text, find_measure, status_word
from hw.formats.shared.wire_format import Options
from hw.reading import Record, Unit

SEQUENCES = 1 << 16  # lines, after which the sequence number begins at 0 again
CLOCK = 1 << 32  # us, after which the clock does
# of a board that goes round later than ours: the same number, once ours has gone round
LARGEST_NUMBER = (1 << 64) - 1
LARGEST_COUNT = (1 << 63) - 1  # of profile bridge_counts

_FIELD = re.compile(r"([A-Za-z])([+-]?[0-9]+)")
_SENTENCE = re.compile(r"\$([^$*]*)\*([0-9A-F]{2})")
_WHOLE_64_BITS = re.compile(r"-?[0-9]{1,20}")  # 64 bits have twenty digits
_HEX = re.compile(r"[0-9A-F]+")


def checksum(body: str) -> str:
    """Two hexadecimal digits: the exclusive or of the characters of an ASCII text."""
    return f"{reduce(xor, body.encode('ascii'), 0):02X}"


def nibbles_to_bits(word: str) -> str:
    """Hexadecimal digits in order of arrival -> bits in order of arrival."""
    return "".join(f"{int(digit, 16):04b}"[::-1] for digit in word)


class CountsDecoder(LineSplitter):
    """Profile `bridge_counts`: a semicolon ends a field, a line end inside one spoils
    it."""

    ends = re.compile(rb"[\r\n;]")

    def __init__(
        self,
        *,
        axis: str | None = None,
        at_open: bool = False,
        parity7: str | None = None,
    ) -> None:
        super().__init__(at_open=at_open, parity7=parity7)
        self._axis = axis

    def _lines(self, block: bytes, raw: bytes, out: list[Record]) -> None:
        fields = block.replace(b"\r", b"\n").replace(b";", b"\n").split(b"\n")
        self._rest = raw[len(raw) - len(fields.pop()) :]
        start = 0
        for field in fields:
            end = start + len(field)
            own, behind = raw[start:end], len(block) - end - 1
            if block[end : end + 1] == b";" or len(field) > self.longest:
                self._line(field, own, behind, out)
            elif field:
                fault = "a line end in a field: no semicolon after it"
                out.append(self._reject(fault, own, behind))
            start = end + 1

    def _read(self, line: bytes) -> Record | None:
        text = ascii_text(line, self._parity is not None)
        field = _FIELD.fullmatch(text)
        if field is None:
            raise Fault(
                f"{text!r} is not a letter and a whole number"
                if text
                else "an empty field"
            )
        counts = int(field[2])
        if abs(counts) > LARGEST_COUNT:
            raise Fault("a count of more than 64 bits")
        wanted = self._axis in {None, field[1]}
        return Record(axis=field[1], counts=counts) if wanted else None


def bridge_reader(options: Options) -> Callable[[str], Record]:
    """The function that reads one line of profile `bridge`."""
    bits: Any = None
    if options["gauge"] != "decimal":
        bits = make_decoder(options["gauge"])
    return BridgeReader(options["decimals"], options["default_unit"], bits).read


def _fields(text: str) -> list[str]:
    sentence = _SENTENCE.fullmatch(text)
    if sentence is None:
        raise Fault(
            "not a sentence of $, fields, * and a checksum of two hexadecimal digits"
        )
    body, given = sentence.groups()
    if checksum(body) != given:
        raise Fault(f"checksum {given}, but the characters give {checksum(body)}")
    fields = body.split(",")
    if len(fields) != 5 or fields[0] != "BRG":
        raise Fault("not the five fields BRG, sequence, us, count, gauge word")
    return fields


class BridgeReader:
    """Profile `bridge`; remembers the last sequence number to flag a `gap`. bits: the
    decoder of the gauge word, where it is no number."""

    def __init__(self, decimals: int | None, default_unit: Unit, bits: Any) -> None:
        self._decimals = decimals
        self._default_unit: Unit = default_unit
        self._bits = bits
        self._last: int | None = None

    def read(self, text: str) -> Record:
        """One sentence as a record."""
        fields = _fields(text)
        number = self._whole("sequence number", fields[1], 0, LARGEST_NUMBER)
        sequence = number % SEQUENCES
        device_us = self._whole("time", fields[2], 0, LARGEST_NUMBER) % CLOCK
        counts = self._whole("count", fields[3], -(1 << 31), (1 << 31) - 1)
        said = self._gauge(fields[4])
        follows = self._last is None or sequence == (self._last + 1) % SEQUENCES
        self._last = sequence
        return Record(
            value=said.value,
            unit=said.unit,
            flags=said.flags if follows else (*said.flags, "gap"),
            status=said.status,
            counts=counts,
            sequence=sequence,
            device_us=device_us,
        )

    @staticmethod
    def _whole(what: str, text: str, low: int, high: int) -> int:
        if not _WHOLE_64_BITS.fullmatch(text) or not low <= int(text) <= high:
            raise Fault(
                f"the {what} is {text!r}, not a whole number from {low} to {high}"
            )
        return int(text)

    def _gauge(self, word: str) -> Record:
        if not word:
            return Record()
        if (status := status_word(word)) is not None:
            return Record(status=status)
        if self._bits is None:
            measure = find_measure(word, self._decimals, self._default_unit)
            return Record(value=measure.mm(), unit=measure.unit, flags=measure.flags)
        if not _HEX.fullmatch(word):
            raise Fault(f"the gauge word {word!r} is not hexadecimal")
        record: Record = self._bits.read(nibbles_to_bits(word))
        return record

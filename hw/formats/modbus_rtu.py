"""Format `modbus_rtu`: a 32-bit signed position in two holding registers, asked for by function 03 (or 04).

Frames and CRC as the open Modbus
specification over serial line has them: address, function, data, CRC-16 (polynomial 0xA001, start 0xFFFF)
low byte first.

    asked     01 03 00 00 00 02 c4 0b
    answered  01 03 04 00 00 27 10 e0 0f     10 000 counts
              01 83 01 80 f0                 the device declines: exception 1

As text, one answer a line in hexadecimal. Which word comes first and what a count is worth differ by
device: options words and scale_mm.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from hw.formats.shared.clocked import FrameDecoder
from hw.formats.shared.cutter import with_frame
from hw.formats.shared.lengths import EVERYWHERE, outside
from hw.formats.shared.plain_text import Fault
from hw.reading import Record

READ_HOLDING = 3
READ_INPUT = 4
LONGEST_ANSWER = 256  # bytes of a frame, by the specification


def _crc_table() -> tuple[int, ...]:
    table = []
    for byte in range(256):
        crc = byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
        table.append(crc)
    return tuple(table)


_CRC = _crc_table()


def crc16(data: bytes) -> bytes:
    """The two check bytes that follow `data`, low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc = crc >> 8 ^ _CRC[(crc ^ byte) & 0xFF]
    return crc.to_bytes(2, "little")


def request(address: int, register: int, function: int = READ_HOLDING) -> bytes:
    """What asks device `address` for the two registers from `register` on."""
    body = bytes([address, function]) + register.to_bytes(2, "big") + (2).to_bytes(2, "big")
    return body + crc16(body)


class ModbusRtu(FrameDecoder):
    longest = 4 * LONGEST_ANSWER  # characters: two a byte, and blanks between

    def __init__(
        self,
        *,
        address: int = 1,
        function: int = READ_HOLDING,
        words: str = "hi_lo",
        scale_mm: tuple[int, int] = (1, 1000),
        range_mm: tuple[float, float] | None = None,
    ) -> None:
        super().__init__()
        self._address = address
        self._function = function
        self._low_first = words == "lo_hi"
        self._scale = scale_mm
        self._range = range_mm or EVERYWHERE

    def frame(self, text: str) -> Record:
        """One answer in hexadecimal; whatever comes is answered by a record."""
        raw = text.encode("ascii", "replace")[: self.longest]
        out: list[Record] = []
        self._line(raw, raw, 0, out)
        return out[0] if out else self._reject("an empty answer", raw, 0)

    def answer(self, data: bytes) -> Record:
        """One answer as its bytes, as a serial port has it."""
        return self.frame(data[: LONGEST_ANSWER + 1].hex())

    def _line(self, line: bytes, raw: bytes, behind: int, out: list[Record]) -> None:
        if len(line) > self.longest:
            out.append(self._too_long(raw, behind + len(line) - self.longest))
            return
        if not line.strip(b" "):
            return
        try:
            data = bytes.fromhex(line.decode("latin-1"))
        except ValueError:
            out.append(self._reject("not hexadecimal, two digits a byte", raw, behind))
            return
        try:
            out.append(with_frame(self.meaning(data), data, behind))
        except Fault as fault:
            out.append(self._reject(str(fault), data, behind))

    def meaning(self, data: bytes) -> Record:
        """What an answer says; raises Fault."""
        if len(data) < 5:
            raise Fault(f"{len(data)} bytes are too few for an answer")
        if len(data) > LONGEST_ANSWER:
            raise Fault(f"more than {LONGEST_ANSWER} bytes")
        body, given = data[:-2], data[-2:]
        if crc16(body) != given:
            raise Fault(f"CRC {given.hex()}, but the bytes give {crc16(body).hex()}")
        if body[0] != self._address:
            raise Fault(f"the answer of address {body[0]}, not {self._address}")
        if body[1] == self._function | 0x80 and len(body) == 3:
            return Record(status=f"exception_{body[2]}")
        if body[1] != self._function or body[2] != 4 or len(body) != 7:
            raise Fault(f"not an answer to function {self._function} with two registers")
        four = body[3:]
        counts = int.from_bytes(four[2:] + four[:2] if self._low_first else four, "big", signed=True)
        value = counts * self._scale[0] / self._scale[1]
        fault = outside(value, self._range)
        if fault:
            raise Fault(fault)
        return Record(value=value)


def make(options: Mapping[str, Any]) -> ModbusRtu:
    """The decoder for a full set of options."""
    return ModbusRtu(
        **{name: options[name] for name in ("address", "function", "words", "scale_mm", "range_mm")}
    )

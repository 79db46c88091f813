"""Format `modbus_rtu`: a 32-bit signed position in two registers, read on request.

Frames and CRC as the open Modbus specification over serial line has them: address,
function 03 (or 04), data, CRC-16 (polynomial 0xA001, start 0xFFFF) low byte first.

    asked     01 03 00 00 00 02 c4 0b
    answered  01 03 04 00 00 27 10 e0 0f     10 000 counts
              01 83 01 80 f0                 the device declines: exception 1

The text for the decoder is one answer a line in hexadecimal. The order of the words and
the length of a count differ by device: options words and scale_mm.
"""

from __future__ import annotations

from collections.abc import Sequence

from hw.formats.shared.clocked import FrameDecoder
from hw.formats.shared.options import (
    RANGE,
    FormatOption,
    choice,
    exact_ratio,
    integer,
    seconds,
)
from hw.formats.shared.plain_text import Fault
from hw.formats.shared.wire_format import (
    REGISTERS,
    Diagnosis,
    Options,
    Query,
    RecordTraits,
    WireFormat,
    maker,
)
from hw.reading import Record

READ_HOLDING = 3  # the function that reads holding registers
_ASKED = ("address", "register", "function")
LONGEST_ANSWER = 256  # bytes of a frame, by the specification


def crc16(data: bytes) -> bytes:
    """The two check bytes that follow `data`, low byte first."""
    crc = 0xFFFF
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = crc >> 1 ^ (0xA001 if crc & 1 else 0)
    return crc.to_bytes(2, "little")


def request(address: int, register: int, function: int = READ_HOLDING) -> bytes:
    """What asks device `address` for the two registers from `register` on."""
    body = (
        bytes([address, function])
        + register.to_bytes(2, "big")
        + (2).to_bytes(2, "big")
    )
    return body + crc16(body)


def _checked(data: bytes) -> bytes:
    """An answer without its check bytes; Fault where they or its length are wrong."""
    if len(data) < 5:
        raise Fault(f"{len(data)} bytes are too few for an answer")
    if len(data) > LONGEST_ANSWER:
        raise Fault(f"more than {LONGEST_ANSWER} bytes")
    body, given = data[:-2], data[-2:]
    if crc16(body) != given:
        raise Fault(f"CRC {given.hex()}, but the bytes give {crc16(body).hex()}")
    return body


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
        super().__init__(range_mm=range_mm)
        self._address = address
        self._function = function
        self._low_first = words == "lo_hi"
        self._scale = scale_mm

    def _frames(self, line: bytes, raw: bytes, behind: int, out: list[Record]) -> None:
        if not line.strip(b" "):
            return
        try:
            data = bytes.fromhex(line.decode("latin-1"))
        except ValueError:
            out.append(self._reject("not hexadecimal, two digits a byte", raw, behind))
        else:
            super()._frames(data, data, behind, out)

    def _read(self, line: bytes) -> Record:
        body = _checked(line)
        if body[0] != self._address:
            raise Fault(f"the answer of address {body[0]}, not {self._address}")
        if body[1] == self._function | 0x80 and len(body) == 3:
            return Record(status=f"exception_{body[2]}")
        if body[1] != self._function or body[2] != 4 or len(body) != 7:
            raise Fault(
                f"not an answer to function {self._function} with two registers"
            )
        four = body[3:]
        counts = int.from_bytes(
            four[2:] + four[:2] if self._low_first else four, "big", signed=True
        )
        return Record(value=counts * self._scale[0] / self._scale[1])


def _whole(heard: bytes) -> bool:
    """Five bytes of an exception, nine with two registers."""
    return len(heard) >= (5 if len(heard) > 1 and heard[1] & 0x80 else 9)


def _diagnose(options: Options, text: bytes) -> Diagnosis | None:
    """Another address, where a right checksum shows that one answers."""
    data, function = Query.from_text(text), int(options.get("function", READ_HOLDING))
    frames = [
        data[n : n + 9]
        for n in range(len(data) - 8)
        if data[n + 1 : n + 3] == bytes((function, 4))
    ]
    found = {frame[0] for frame in frames if crc16(frame[:-2]) == frame[-2:]}
    if len(found) != 1 or found == {int(options.get("address", 1))}:
        return None
    (address,) = found
    return Diagnosis("another address answers", "write", (), {"address": address})


def _diagnose_values(options: Options, values: Sequence[float]) -> Diagnosis | None:
    """The other order of words, where all counts are multiples of 65536."""
    scale = float(str(options.get("scale_mm", 0.001)))
    counts = [round(value / scale) for value in values]
    if not all(c & 0xFFFF in (0, 0xFFFF) for c in counts) or all(
        abs(c) <= 0xFFFF for c in counts
    ):
        return None
    words = "hi_lo" if options.get("words") == "lo_hi" else "lo_hi"
    return Diagnosis(
        f"all its numbers are multiples of {65536 * scale:g} mm: its two words may come"
        " the other way round",
        f'if its display says otherwise than {values[-1]:g} mm: words = "{words}"',
        tuple(
            f"{count:#010x}"
            for count in dict.fromkeys(c & 0xFFFFFFFF for c in counts[:3])
        ),
        {"words": words},
    )


FORMAT = WireFormat(
    name="modbus_rtu",
    words="a 32-bit position in two registers",
    make=maker(ModbusRtu),
    options=(
        FormatOption("address", 1, "the device's address", integer(1, 247)),
        FormatOption(
            "register", 0, "the first of the two registers", integer(0, 65534)
        ),
        FormatOption(
            "function", 3, "3 reads holding registers, 4 input registers", integer(3, 4)
        ),
        FormatOption(
            "words", "hi_lo", "which word comes first", choice("hi_lo", "lo_hi")
        ),
        FormatOption(
            "scale_mm", (1, 1000), "mm a count, exact to the decimal text", exact_ratio
        ),
        RANGE,
        FormatOption(
            "timeout", 0.3, "how long the device may take to answer, s", seconds(10)
        ),
    ),
    port=REGISTERS,
    traits=RecordTraits(undetected_errors=False),
    query=Query(
        lambda values: request(*(values[key] for key in _ASKED)), _whole, bits=100
    ),
    # the exceptions are those of the protocol's public specification; the advice is
    # common practice, no source
    statuses={
        "exception_1": (
            "it does not know that function",
            "see its manual, and write function",
        ),
        "exception_2": (
            "it has no such register",
            "see its manual, and write register",
        ),
        "exception_3": (
            "it does not give two registers from there",
            "see its manual, and write register",
        ),
        "exception_4": (
            "it has a failure of its own",
            "see its display; switch it off and on",
        ),
    },
    pattern=rb"(?:[0-9a-f]{10,}\s+)+\Z",
    diagnose=_diagnose,
    diagnose_values=_diagnose_values,
)

"""The format, profile, speed and parity of a serial line, found by listening to it.

People write the settings; the module only proposes them, with the evidence. It listens
with eight bits and no parity, since every seven-bit framing shows there as it is: the
eighth bit is the parity, or a stop bit.

    sent as   heard as 8N1
    8N1       as it is
    7E1 7E2   bit 7 makes the number of ones even; CR comes as 0x8d, so no line ends
    7O1       bit 7 makes it odd
    7N2       bit 7 is the first stop bit: always 1

Listening does not find what speaks only when asked (request, Modbus), what comes over
clock and data lines, nor a parity beside eight bits.
"""

from __future__ import annotations

import json
import time
from collections.abc import Callable, Iterator, Mapping
from typing import TYPE_CHECKING, NamedTuple

from hw.formats import FORMATS, make_decoder
from hw.formats.shared.line_splitter import with_parity
from hw.formats.shared.wire_format import SERIAL, Candidate, Value, WireFormat
from hw.port_names import closed_port
from hw.reading import Record

if TYPE_CHECKING:
    import serial

# baud, the commonest first; common practice, no source
SPEEDS = (9600, 4800, 2400, 19200, 38400, 57600, 115200, 1200, 230400, 921600)
SURE = 3  # readings without a reject, after which no other speed is tried
LEAST_FOR_PROPOSAL = 2  # readings for a proposal, where more was sent than one line
REJECTED_SHARE = 0.1  # of the frames, for a proposal
# s without a byte; the slowest instruments that send by themselves send every 0.3 s
SILENCE_S = 1.6
TURN_S = 1.2  # s for each speed where bytes come
SETTLE_S = 0.05  # s after a change of speed in which bytes are no evidence
ASK_AGAIN = 0.25  # s
READ_WAIT_S = 0.06  # s that a read waits for bytes
ENOUGH_BYTES = 16384  # bytes at one speed, after which listening ends

PARITY_WORDS = {
    "even": (
        "bit 7 makes the number of ones even in all {n} bytes: even parity over seven"
        " bits"
    ),
    "odd": (
        "bit 7 makes the number of ones odd in all {n} bytes: odd parity over seven"
        " bits"
    ),
    "mark": "bit 7 is set in all {n} bytes: seven bits and two stop bits",
}


class Proposal(NamedTuple):
    """Settings that would read the line: keys of a port in the settings file, as they
    are written there."""

    settings: dict[str, Value]
    readings: int
    rejects: int
    evidence: tuple[str, ...]
    complete: bool = True  # more bytes would add no option


class ListeningResult(NamedTuple):
    """heard: bytes by speed. proposal: None where nothing fits, or nothing came."""

    heard: dict[int, bytes]
    proposal: Proposal | None
    # the speed at which lines of text come, whatever their shape
    text_at: int | None = None

    @property
    def silent(self) -> bool:
        return not any(self.heard.values())


def parity_of(data: bytes) -> str | None:
    """The parity that bit 7 of all bytes has: "even", "odd" or "mark"; None where it
    has none."""
    if len(data) < 8 or not any(byte & 0x80 for byte in data):
        return None
    if all(byte & 0x80 for byte in data):
        return "mark"
    ones = {byte.bit_count() % 2 for byte in data}
    return None if len(ones) == 2 else "odd" if 1 in ones else "even"


def is_text(data: bytes) -> bool:
    """Whether the bytes are lines of printing characters: then speed and framing are
    right."""
    parity = parity_of(data[1:])
    clean = bytes(byte & 0x7F for byte in data) if parity else data
    ends = clean.count(b"\r") + clean.count(b"\n")
    printing = sum(0x20 <= byte < 0x7F or byte in b"\r\n\t" for byte in clean)
    return len(data) >= 16 and ends >= 2 and printing >= 0.97 * len(clean)


class _HeardBytes(NamedTuple):
    """Bytes read as 8N1. speed: None where it is not known. parity: of bit 7."""

    data: bytes
    speed: int | None
    parity: str | None


def recognise(data: bytes, speed: int | None = None) -> Proposal | None:
    """Bytes read as 8N1 at `speed`, None where it is not known -> what would read them;
    None when no format does."""
    parity = parity_of(data[1:])  # the first byte may have been cut
    tries = (
        _try(_HeardBytes(data, speed, parity), known, guess)
        for known in FORMATS.values()
        if known.port is SERIAL
        for guess in known.candidates(data)
    )
    found = (one for one in tries if one is not None)
    return max(found, key=lambda one: one.readings - one.rejects, default=None)


def _try(heard: _HeardBytes, known: WireFormat, guess: Candidate) -> Proposal | None:
    if "parity7" not in known.option_names:
        heard = heard._replace(parity=None)  # its bytes may have eight bits of data
    options: dict[str, Value] = dict(guess.options)
    if heard.parity in ("even", "odd"):
        options["parity7"] = heard.parity
    mark = heard.parity == "mark"
    data = bytes(byte & 0x7F for byte in heard.data) if mark else heard.data
    good, rejects = _read(known, options, data)
    if not good or rejects > REJECTED_SHARE * (len(good) + rejects):
        return None
    keys: dict[str, Value | None] = {
        "format": known.name,
        "profile": options.get("profile"),
        "baud": heard.speed,
        "parity7": options.get("parity7"),
        **({"bits": 7, "stop": 2} if mark else {}),
        "default_unit": "mm" if _lacks_unit(good) else None,
        **options,
    }
    settings = {key: value for key, value in keys.items() if value is not None}
    evidence = (*_evidence(heard, good, rejects), *guess.evidence, *_left_open(good))
    return Proposal(settings, len(good), rejects, evidence, guess.complete)


def _read(
    known: WireFormat, options: Mapping[str, Value], data: bytes
) -> tuple[list[Record], int]:
    """The readings, and how many frames were rejected."""
    for from_middle in (True, False):
        records = make_decoder(known.name, options, from_middle=from_middle).feed(data)
        good = [
            record
            for record in records
            if record.value is not None or record.counts is not None
        ]
        if from_middle and len(good) >= LEAST_FOR_PROPOSAL:
            break
    else:  # one press of an instrument's button: one whole line, and nothing else
        good = good if len(good) == len(records) else []
    return good, sum(record.fault is not None for record in records)


def _lacks_unit(good: list[Record]) -> bool:
    return any("default_unit" in record.flags for record in good)


def _evidence(heard: _HeardBytes, good: list[Record], rejects: int) -> Iterator[str]:
    first = "".join(chr(byte & 0x7F) for byte in good[0].raw)
    at = "" if heard.speed is None else f" at {heard.speed} baud"
    yield (
        f"{_counted(len(good), 'reading')} and {_counted(rejects, 'reject')} in"
        f" {len(heard.data)} bytes{at}, such as {first!r}"
    )
    if heard.parity is not None:
        yield PARITY_WORDS[heard.parity].format(n=len(heard.data) - 1)
    if _lacks_unit(good):
        yield "no unit is sent: default_unit is yours to say, mm or in"


def _left_open(good: list[Record]) -> Iterator[str]:
    """What the user has to say besides."""
    if any(record.counts is not None and record.value is None for record in good):
        yield "counts are sent: per_count, the travel of one, is yours to say"
    channels = sorted({record.channel for record in good if record.channel})
    if len(channels) > 1:
        yield f"channels {', '.join(channels)} are heard: say which with channel"


def _counted(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def open_line(port: str, speed: int) -> serial.SerialBase:
    """The port as it is listened to: locked, eight bits, no parity. OSError or
    ValueError where it cannot be."""
    opened = closed_port(port, baudrate=speed, timeout=READ_WAIT_S)
    opened.exclusive = True
    opened.open()
    return opened


def listen(
    line: serial.SerialBase,
    first: int = 9600,
    *,
    request: bytes | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> ListeningResult:
    """Listen at one speed after the other until one is sure. Blocks: 1.6 s for silence,
    12 s at the very most.

    first: the speed to begin with. request: sent at each speed, for what speaks only
    when asked.
    """
    listener, best = _SpeedListener(line, request, clock), None
    for speed in (first, *(speed for speed in SPEEDS if speed != first)):
        found = listener.listen_at(speed)
        if found and _is_sure(found):
            return ListeningResult(listener.heard, found)
        data = listener.heard[speed]
        if not data and len(listener.heard) == 1 and not request:
            break  # what is silent at one speed is silent at all
        if found and (best is None or found.readings > best.readings):
            best = found
            if not found.rejects:
                break
        if best is None and is_text(data):
            # the lines of text show that this speed is right
            return ListeningResult(listener.heard, None, speed)
    return ListeningResult(listener.heard, best)


class _SpeedListener:
    """Listens to a line at one speed after the other. heard: bytes by speed."""

    def __init__(
        self, line: serial.SerialBase, request: bytes | None, clock: Callable[[], float]
    ) -> None:
        self._line, self._request, self._clock = line, request, clock
        self.heard: dict[int, bytes] = {}

    def listen_at(self, speed: int) -> Proposal | None:
        """What would read what comes at this speed."""
        first_byte = TURN_S if self.heard else SILENCE_S  # s for a first byte
        self._tune(speed)
        data, found = bytearray(), None
        began = asked = self._clock()
        self._ask(even=False)
        while self._clock() - began < (TURN_S if data else first_byte):
            data += self._line.read(ENOUGH_BYTES)
            if self._clock() - asked > ASK_AGAIN:
                asked = self._clock()
                # an instrument of seven bits may want parity in what it is asked, too;
                # one of eight has answered by now
                self._ask(even=not data and asked - began >= TURN_S / 2)
            found = recognise(bytes(data), speed) if data else None
            if (found and _is_sure(found)) or len(data) >= ENOUGH_BYTES:
                break
        self.heard[speed] = bytes(data)
        return found

    def _tune(self, speed: int) -> None:
        """Change the speed, and drop what is no evidence."""
        self._line.baudrate = speed
        changed = self._clock()
        while self.heard and self._clock() - changed < SETTLE_S:
            self._line.read(ENOUGH_BYTES)
        self._line.reset_input_buffer()

    def _ask(self, *, even: bool) -> None:
        if self._request:
            request = with_parity(self._request, "even" if even else None)
            self._line.write(request)


def _is_sure(found: Proposal) -> bool:
    return found.readings >= SURE and not found.rejects and found.complete


def settings_text(settings: Mapping[str, Value]) -> str:
    """A proposal as lines of the settings file, parted by semicolons."""
    return "; ".join(f"{key} = {value_text(value)}" for key, value in settings.items())


def value_text(value: object) -> str:
    """A value as TOML has it, a CR in a text too."""
    return json.dumps(value) if isinstance(value, str) else str(value).lower()

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
from typing import Any, NamedTuple, Protocol

from hw.formats import FORMATS, make_decoder
from hw.formats.shared.cutter import with_parity
from hw.formats.shared.declaration import SERIAL, Candidate, Value, WireFormat
from hw.port_names import closed_port
from hw.reading import Record

SPEEDS = (9600, 4800, 2400, 19200, 38400, 57600, 115200, 1200, 230400, 921600)
SURE = 3  # readings without a reject, after which no other speed is tried
LEAST = 2  # readings for a proposal, where more was sent than one line
MOST_REJECTED = 0.1  # of the frames, for a proposal
# s without a byte; the slowest instruments that send by themselves send every 0.3 s
SILENCE = 1.6
TURN = 1.2  # s for each speed where bytes come
SETTLE = 0.05  # s after a change of speed in which bytes are no evidence
LOOK = 0.06  # s that a read waits for bytes
ENOUGH = 16384  # bytes at one speed, after which listening ends

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


class Listening(NamedTuple):
    """heard: bytes by speed. proposal: None where nothing fits, or nothing came."""

    heard: dict[int, bytes]
    proposal: Proposal | None
    # the speed at which lines of text come, whatever their shape
    text_at: int | None = None

    @property
    def silent(self) -> bool:
        return not any(self.heard.values())


class Line(Protocol):
    """The part of a pyserial port that listening uses."""

    baudrate: int

    def read(self, size: int, /) -> bytes: ...

    def reset_input_buffer(self) -> None: ...


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


def recognise(data: bytes, speed: int | None = None) -> Proposal | None:
    """Bytes read as 8N1 at `speed`, None where it is not known -> what would read them;
    None when no format does."""
    parity = parity_of(data[1:])  # the first byte may have been cut
    best: Proposal | None = None
    for known in FORMATS.values():
        if known.port is not SERIAL:
            continue
        for guess in known.candidates(data):
            found = _try(data, speed, parity, known, guess)
            if found and (
                best is None
                or found.readings - found.rejects > best.readings - best.rejects
            ):
                best = found
    return best


def _try(
    data: bytes,
    speed: int | None,
    parity: str | None,
    known: WireFormat,
    guess: Candidate,
) -> Proposal | None:
    if "parity7" not in known.option_names:
        parity = None  # its bytes may have eight bits of data
    options: dict[str, Value] = dict(guess.options)
    if parity in {"even", "odd"}:
        options["parity7"] = parity
    clean = bytes(byte & 0x7F for byte in data) if parity == "mark" else data
    good, rejects = _read(known, options, clean)
    if not good or rejects > MOST_REJECTED * (len(good) + rejects):
        return None
    seven: dict[str, Value] = {"bits": 7, "stop": 2} if parity == "mark" else {}
    unit: dict[str, Value] = {}
    if any("default_unit" in record.flags for record in good):
        unit["default_unit"] = "mm"
    shape = {key: options.pop(key) for key in ("profile",) if key in options}
    framing = {key: options.pop(key) for key in ("parity7",) if key in options}
    baud: dict[str, Value] = {} if speed is None else {"baud": speed}
    settings = {
        "format": known.name,
        **shape,
        **baud,
        **framing,
        **seven,
        **unit,
        **options,
    }
    evidence = _evidence(data, speed, parity, good, rejects, guess.evidence)
    return Proposal(settings, len(good), rejects, tuple(evidence), guess.complete)


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
        if from_middle and len(good) >= LEAST:
            break
    else:  # one press of an instrument's button: one whole line, and nothing else
        good = good if len(good) == len(records) else []
    return good, sum(record.fault is not None for record in records)


def _evidence(
    data: bytes,
    speed: int | None,
    parity: str | None,
    good: list[Record],
    rejects: int,
    guessed: tuple[str, ...],
) -> Iterator[str]:
    first = "".join(chr(byte & 0x7F) for byte in good[0].raw)
    at = "" if speed is None else f" at {speed} baud"
    yield (
        f"{_many(len(good), 'reading')} and {_many(rejects, 'reject')} in {len(data)}"
        f" bytes{at}, such as {first!r}"
    )
    if parity is not None:
        yield PARITY_WORDS[parity].format(n=len(data) - 1)
    if any("default_unit" in record.flags for record in good):
        yield "no unit is sent: default_unit is yours to say, mm or in"
    yield from guessed
    if any(record.counts is not None and record.value is None for record in good):
        yield "counts are sent: per_count, the travel of one, is yours to say"
    channels = sorted({record.channel for record in good if record.channel})
    if len(channels) > 1:
        yield f"channels {', '.join(channels)} are heard: say which with channel"


def _many(number: int, what: str) -> str:
    return f"{number} {what}{'' if number == 1 else 's'}"


def open_line(port: str, speed: int) -> Any:
    """The port as it is listened to: locked, eight bits, no parity. OSError or
    ValueError where it cannot be."""
    opened = closed_port(port, baudrate=speed, timeout=LOOK)
    opened.exclusive = True
    opened.open()
    return opened


def listen(
    line: Line,
    first: int = 9600,
    *,
    request: bytes | None = None,
    clock: Callable[[], float] = time.monotonic,
) -> Listening:
    """Listen at one speed after the other until one is sure. Blocks: 1.6 s for silence,
    12 s at the very most.

    first: the speed to begin with. request: sent at each speed, for what speaks only
    when asked.
    """
    heard: dict[int, bytes] = {}
    best: Proposal | None = None
    for speed in (first, *(speed for speed in SPEEDS if speed != first)):
        line.baudrate = speed
        changed = clock()
        while heard and clock() - changed < SETTLE:
            line.read(ENOUGH)
        line.reset_input_buffer()
        patience = TURN if heard else SILENCE
        data, found = _hear(line, speed, request, patience, clock)
        heard[speed] = data
        if found and _is_sure(found):
            return Listening(heard, found)
        if not data and len(heard) == 1 and not request:
            break  # what is silent at one speed is silent at all
        if found and (best is None or found.readings > best.readings):
            best = found
            if not found.rejects:
                break
        if best is None and is_text(data):
            # the lines of text show that this speed is right
            return Listening(heard, None, speed)
    return Listening(heard, best)


def _hear(
    line: Line,
    speed: int,
    request: bytes | None,
    patience: float,
    clock: Callable[[], float],
) -> tuple[bytes, Proposal | None]:
    """What comes at one speed, and what would read it. patience: s for a first byte."""
    data, found = bytearray(), None
    began = asked = clock()
    if request:
        _ask(line, request)
    while clock() - began < (TURN if data else patience) and len(data) < ENOUGH:
        data += line.read(ENOUGH)
        if request and clock() - asked > 0.25:
            asked = clock()
            # an instrument of seven bits may want parity in what it is asked, too; one
            # of eight has answered by now
            even = not data and asked - began >= TURN / 2
            _ask(line, with_parity(request, "even") if even else request)
        found = recognise(bytes(data), speed) if data else None
        if found and _is_sure(found):
            break
    return bytes(data), found


def _is_sure(found: Proposal) -> bool:
    return found.readings >= SURE and not found.rejects and found.complete


def _ask(line: Line, request: bytes) -> None:
    line.write(request)  # type: ignore[attr-defined]


def settings_text(settings: Mapping[str, Value]) -> str:
    """A proposal as lines of the settings file, parted by semicolons."""
    return "; ".join(
        # a CR as TOML has it, too
        f"{key} = {json.dumps(value) if isinstance(value, str) else str(value).lower()}"
        for key, value in settings.items()
    )

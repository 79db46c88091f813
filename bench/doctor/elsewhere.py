"""An instrument that speaks only when asked, and is silent as the settings are: asked
at other speeds and parities.

Nothing is sent but the request that the settings name.
"""

from __future__ import annotations

import time

import msgspec

from bench.doctor.direct_port import open_port, request_of
from bench.settings.settings_file import PortSettings
from hw.discovery.listening import SPEEDS, listen, open_line
from hw.formats import FORMATS, make_decoder
from hw.formats.shared.declaration import Query

# keys of the settings file, and what they rest on
Found = tuple[dict[str, str | int], tuple[str, ...]]
ANSWER = 0.2  # s
LONGEST = 64  # bytes of an answer


def ask_elsewhere(port: PortSettings) -> Found | None:
    """What would be answered; None where nothing is, or the port cannot be opened.
    Blocks up to a dozen seconds."""
    try:
        return _line(port) if FORMATS[port.format].query is None else _registers(port)
    except (OSError, ValueError):
        return None


def _line(port: PortSettings) -> Found | None:
    request = request_of(port)
    assert request is not None
    with open_line(port.port, port.baud) as line:
        found = listen(line, port.baud, request=request).proposal
    return None if found is None else (found.settings, found.evidence)


def _registers(port: PortSettings) -> Found | None:
    """The checksum of an answer proves speed and parity."""
    request = request_of(port)
    assert request is not None
    for speed in (port.baud, *(speed for speed in SPEEDS if speed != port.baud)):
        for parity, word in (("N", "none"), ("E", "even")):
            if (speed, parity) == (port.baud, port.parity):
                continue
            try:
                data = _answer(
                    msgspec.structs.replace(port, baud=speed, parity=parity), request
                )
            except (OSError, ValueError):
                continue  # a port that knows no parity, or not that speed
            records = make_decoder(port.format, dict(port.options)).feed(
                Query.to_text(data)
            )
            if any(record.fault is None for record in records):
                said = (
                    f"an answer with a right checksum at {speed} baud, parity {word}:"
                    f" {data.hex()}"
                )
                return {"baud": speed, "parity": word}, (said,)
    return None


def _answer(port: PortSettings, request: bytes) -> bytes:
    with open_port(port, ANSWER) as opened:
        opened.reset_input_buffer()
        opened.write(request)
        data, end = b"", time.monotonic() + ANSWER
        while time.monotonic() < end and len(data) < LONGEST:
            data += opened.read(max(1, opened.in_waiting))
    return data

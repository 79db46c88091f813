"""A port opened as the settings say, without the daemon, and the requests on it."""

from __future__ import annotations

import termios
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from hw.formats import FORMATS, read_options
from hw.formats.shared.line_splitter import with_parity
from hw.ports.serial_device import open_device

if TYPE_CHECKING:
    import serial

    from bench.settings.settings_file import PortSettings

REQUEST_RATE = 10.0  # requests a second, where neither the settings nor the format say
READ_TIMEOUT = 0.05  # s that a read waits for a byte
TURN_ROUND = 0.005  # s from a request to the first byte of its answer


def open_port(port: PortSettings) -> serial.SerialBase:
    """Open it for this process alone where it is a device. Raises OSError
    (serial.SerialException)."""
    import serial

    try:
        return open_device(port, READ_TIMEOUT)
    except termios.error as error:  # it is no OSError and has no sentence
        raise serial.SerialException(
            f"it does not take {port.baud} baud {port.bits}{port.parity}{port.stop:g}; "
            'without parity of its own: bits = 8, and parity7 = "even" or "odd"'
        ) from error


def request_of(port: PortSettings) -> bytes | None:
    """The bytes that request a reading; None for what sends by itself."""
    query = FORMATS[port.format].query
    if query is not None:
        return query.request(read_options(port.format, port.options))
    if not port.request:
        return None
    # the characters carry this parity, the port makes none
    parity = port.options.get("parity7")
    return with_parity(
        port.request.encode("ascii"), parity if isinstance(parity, str) else None
    )


def request_rate(port: PortSettings) -> float:
    """Requests a second."""
    query = FORMATS[port.format].query
    return port.rate or (query.rate if query is not None else REQUEST_RATE)


def read_block(port: PortSettings, opened: serial.SerialBase) -> tuple[bytes, bytes]:
    """(the bytes that come in a moment, an answer whole; the same as its decoder takes
    them)."""
    query = FORMATS[port.format].query
    block = opened.read(1)
    if query is not None and block:
        time.sleep(query.bits / port.baud + TURN_ROUND)
    block += opened.read(opened.in_waiting or 0)
    return block, query.to_text(block) if query is not None else block


def blocks(
    port: PortSettings, opened: serial.SerialBase, until: Callable[[], bool]
) -> Iterator[tuple[bytes, bytes]]:
    """As `read_block` gives them, empty ones too, until it is time to end; what only
    answers is asked as often as its settings say."""
    request, interval, due = request_of(port), 1.0 / request_rate(port), 0.0
    while not until():
        if request is not None and time.monotonic() > due:
            due = time.monotonic() + interval
            opened.write(request)
        yield read_block(port, opened)


def echo_of(request: bytes) -> bytes:
    """The line of an instrument that repeats its request, without its end, whatever
    parity that has."""
    return request.strip(b" \r\n\x8d\x8a")

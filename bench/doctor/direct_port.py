"""A port opened as the settings say, without the daemon, and its bytes."""

from __future__ import annotations

import termios
import time
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING

from bench.settings.port_requests import request_of, request_rate
from hw.formats import FORMATS

if TYPE_CHECKING:
    import serial

    from bench.settings.settings_file import PortSettings

READ_TIMEOUT = 0.05  # s that a read waits for a byte
TURN_ROUND = 0.005  # s from a request to the first byte of its answer


def open_port(port: PortSettings) -> serial.SerialBase:
    """Open it for this process alone where it is a device. Raises OSError
    (serial.SerialException)."""
    import serial

    from hw.ports.serial_device import open_device

    try:
        return open_device(port, READ_TIMEOUT)
    except termios.error as error:  # it is no OSError and has no sentence
        raise serial.SerialException(
            f"it does not take {port.baud} baud {port.bits}{port.parity}{port.stop:g}; "
            'without parity of its own: bits = 8, and parity7 = "even" or "odd"'
        ) from error


def blocks(
    port: PortSettings, opened: serial.SerialBase, until: Callable[[], bool]
) -> Iterator[tuple[bytes, bytes]]:
    """(the bytes that come in a moment, an answer whole; the same as its decoder takes
    them), empty ones too, until it is time to end; what only answers is asked as often
    as its settings say."""
    query = FORMATS[port.format].query
    request, interval, due = request_of(port), 1.0 / request_rate(port), 0.0
    while not until():
        if request is not None and time.monotonic() > due:
            due = time.monotonic() + interval
            opened.write(request)
        block = opened.read(1)
        if query is not None and block:
            time.sleep(query.bits / port.baud + TURN_ROUND)
        block += opened.read(opened.in_waiting or 0)
        yield block, query.to_text(block) if query is not None else block

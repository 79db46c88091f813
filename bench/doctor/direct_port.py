"""A wired port opened without the daemon, for the doctor and a capture; and what an
instrument is asked with by anybody."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import serial

    from bench.settings.settings_file import PortSettings

ASKINGS = 10.0  # requests a second, where neither the settings nor the format say
TURN_ROUND = 0.005  # s from a request to the first byte of its answer


def open_port(port: PortSettings, timeout: float) -> serial.SerialBase:
    """For us alone where it is a device. timeout: s that a read waits. Raises OSError
    (serial.SerialException)."""
    import termios

    import serial

    from hw.port_names import closed_port

    try:
        opened = closed_port(
            port.port,
            baudrate=port.baud,
            bytesize=port.bits,
            parity=port.parity,
            stopbits=port.stop,
            timeout=timeout,
            **({"exclusive": True} if port.port.startswith("/") else {}),
        )
        opened.open()
    except termios.error as error:  # no OSError, and no words
        raise serial.SerialException(
            f"it does not take {port.baud} baud with {port.bits} bits, parity"
            f" {port.parity} and {port.stop:g} stop bits; "
            f'one that knows no parity is read with bits = 8 and parity7 = "even" or'
            f' "odd"'
        ) from error
    return opened


def request_of(port: PortSettings) -> bytes | None:
    """What is sent to ask for a reading; None for what sends by itself."""
    from hw.formats import FORMATS, read_options

    query = FORMATS[port.format].query
    if query is not None:
        return query.request(read_options(port.format, port.options))
    if not port.request:
        return None
    from hw.formats.shared.cutter import with_parity

    # what the characters carry and the port does not make
    parity = port.options.get("parity7")
    return with_parity(
        port.request.encode("ascii"), parity if isinstance(parity, str) else None
    )


def request_rate(port: PortSettings) -> float:
    """Requests a second."""
    from hw.formats import FORMATS

    query = FORMATS[port.format].query
    return port.rate or (query.rate if query is not None else ASKINGS)


def read_block(port: PortSettings, opened: serial.SerialBase) -> tuple[bytes, bytes]:
    """What comes in a moment, as it came, an answer whole; and the same as its decoder
    takes it."""
    from hw.formats import FORMATS

    query = FORMATS[port.format].query
    block = opened.read(1)
    if query is not None and block:
        time.sleep(query.bits / port.baud + TURN_ROUND)
    block += opened.read(opened.in_waiting or 0)
    return block, query.to_text(block) if query is not None else block


def echo_of(request: bytes) -> bytes:
    """The line that an instrument sends which repeats what it is asked, without its
    end, whatever parity that has."""
    return request.strip(b" \r\n\x8d\x8a")

"""A wired port opened without the daemon, for the doctor and a capture; and what an instrument is asked with by anybody.

May import: bench.settings (types), hw.formats, serial.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import serial

    from bench.settings import PortSettings


def open_port(port: PortSettings, timeout: float) -> serial.SerialBase:
    """For us alone where it is a device. timeout: s that a read waits. Raises OSError (serial.SerialException)."""
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
            f"it does not take {port.baud} baud with {port.bits} bits, parity {port.parity} and {port.stop:g} stop bits; "
            f'one that knows no parity is read with bits = 8 and parity7 = "even" or "odd"'
        ) from error
    return opened


def request_of(port: PortSettings) -> bytes | None:
    """What is sent to ask for a reading; None for what sends by itself."""
    if port.format == "modbus_rtu":
        from hw.formats import read_options
        from hw.formats.modbus_rtu import request

        values = read_options(port.format, port.options)
        return request(*(int(str(values[key])) for key in ("address", "register", "function")))
    if not port.request:
        return None
    from hw.formats.cutter import with_parity

    parity = port.options.get("parity7")  # what the characters carry and the port does not make
    return with_parity(port.request.encode("ascii"), parity if isinstance(parity, str) else None)


def echo_of(request: bytes) -> bytes:
    """The line that an instrument sends which repeats what it is asked, without its end, whatever parity that has."""
    return request.strip(b" \r\n\x8d\x8a")

"""The request that a port's settings have sent to an instrument that only answers."""

from __future__ import annotations

from bench.settings.port_settings import PortSettings
from hw.formats import FORMATS, read_options
from hw.formats.shared.line_splitter import with_parity

REQUEST_RATE = 10.0  # requests a second, where neither the settings nor the format say


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


def echo_of(request: bytes) -> bytes:
    """The line of an instrument that repeats its request, without its end, whatever
    parity that has."""
    return request.strip(b" \r\n\x8d\x8a")

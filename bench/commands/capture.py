"""`sweepgauge capture`: raw bytes, for a bug report or a fixture.

May import: bench.client, bench.plain_port, bench.settings, bench.wire, click, serial, its neighbours.
"""

from __future__ import annotations

import os
import sys
import time

import click

from bench.commands.common import Complaint, load_settings, paths, say, settings_option, socket_option

LOOK = 0.05  # s
ASKINGS = 10.0  # requests a second, where the settings do not say


@click.command()
@click.argument("instrument", required=False)
@socket_option
@settings_option
@click.option("--seconds", type=click.FloatRange(min=0), help="Stop after so long; else Ctrl-C ends it.")
def capture(
    instrument: str | None, socket_path: str | None, settings_path: str | None, seconds: float | None
) -> int:
    """Raw bytes of an instrument to standard output: through the daemon where it holds the port.

    What is read from pins comes as 0 and 1, a frame a line; Modbus in hexadecimal, an answer a line: as `decode` takes it.

    Example:  sweepgauge capture indicator --seconds 10 > indicator.bin
    """
    from bench.client import NoDaemon, WireClient

    until = None if seconds is None else time.monotonic() + seconds
    where = paths(settings=settings_path, socket=socket_path)
    try:
        client = WireClient(where.socket)
    except NoDaemon:
        count = _direct(instrument, load_settings(where), until)
    else:
        with client:
            count = _through(client, instrument, until)
    say(f"{count} bytes.")
    return 0


def _through(client: object, instrument: str | None, until: float | None) -> int:
    from bench.client import Gone, NoDaemon, Refused, WireClient
    from bench.wire import Capture, Done, RawBytes

    assert isinstance(client, WireClient)
    count = 0
    try:
        client.ask(Capture(instrument), Done)
        while until is None or time.monotonic() < until:
            message = client.next(0.2 if until is None else max(0.01, min(0.2, until - time.monotonic())))
            if isinstance(message, RawBytes):
                count += _out(bytes.fromhex(message.hex))
    except Refused as error:
        raise Complaint(str(error)) from error
    except (Gone, NoDaemon) as error:
        raise Complaint(f"the daemon went away after {count} bytes ({error})") from error
    except KeyboardInterrupt:
        pass
    return count


def _direct(instrument: str | None, settings: object, until: float | None) -> int:

    from bench.settings import Settings

    assert isinstance(settings, Settings)
    ports = {
        name: port
        for name, port in (
            ("indicator", settings.indicator),
            ("travel", settings.travel),
            ("caliper", settings.caliper),
        )
        if port is not None and port.port is not None
    }
    name = instrument or next(iter(ports), None)
    if name not in ports:
        raise Complaint(
            f"no instrument {name or ''!r} with a port in the settings; there are: {', '.join(ports) or 'none'}"
        )
    port = ports[name]
    if port.format == "wedge":
        raise Complaint(
            f"{name} types like a keyboard: only the daemon takes it; start it and capture through it"
        )
    from bench.plain_port import open_port, request_of

    say("No daemon runs: the port is opened here." + ("" if until is not None else " Ctrl-C ends it."))
    request = request_of(port)
    asks = request is not None
    count = 0
    try:
        with open_port(port, LOOK) as opened:
            asked = 0.0
            while until is None or time.monotonic() < until:
                if request is not None and time.monotonic() - asked > 1.0 / (port.rate or ASKINGS):
                    asked = time.monotonic()
                    opened.write(request)
                data = opened.read(1)
                if port.format == "modbus_rtu" and data:
                    time.sleep(LOOK)  # an answer ends with silence
                data += opened.read(opened.in_waiting)
                if data:
                    count += _out(data.hex().encode() + b"\n" if port.format == "modbus_rtu" else data)
    except BrokenPipeError:
        raise  # whoever read our output left: no fault of the port
    except (OSError, ValueError) as error:
        number = getattr(error, "errno", None)
        why = f"{port.port} cannot be opened: {os.strerror(number)}" if number else str(error)
        raise Complaint(f"{why}; `sweepgauge doctor` says what to do") from error
    except KeyboardInterrupt:
        pass
    if not count:
        say(
            "Nothing came, though it was asked."
            if asks
            else "Nothing came: press its send button while this runs,"
            " or name what asks it (request) in the settings."
        )
    return count


def _out(data: bytes) -> int:
    sys.stdout.buffer.write(data)
    sys.stdout.buffer.flush()
    return len(data)

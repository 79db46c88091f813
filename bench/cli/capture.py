"""`sweepgauge capture`: raw bytes, for a bug report or a fixture."""

from __future__ import annotations

import os
import sys
import time
from typing import TYPE_CHECKING

import click

from bench.cli.common import (
    Complaint,
    load_settings,
    paths,
    say,
    say_slow,
    settings_option,
    socket_option,
)

if TYPE_CHECKING:
    from bench.protocol.client import WireClient
    from bench.settings.settings_file import Paths, PortSettings

NOTE_PROMPT = "What was done, and what did its display show"


@click.command()
@click.argument("instrument", required=False)
@socket_option
@settings_option
@click.option(
    "--seconds",
    type=click.FloatRange(min=0),
    help="Stop after so long; else Ctrl-C ends it.",
)
@click.option(
    "--save",
    metavar="FILE",
    help=(
        "Into this file, with what a report needs: how it is set up, and when each byte"
        " came. `decode` reads it."
    ),
)
@click.option(
    "--note",
    metavar="TEXT",
    help="With --save: what was done, and what the display showed.",
)
@click.option(
    "--baud",
    type=click.IntRange(50, 4_000_000),
    help="With a device for the name: its speed, 9600 if not said.",
)
def capture(
    instrument: str | None,
    socket_path: str | None,
    settings_path: str | None,
    seconds: float | None,
    save: str | None,
    note: str | None,
    baud: int | None,
) -> int:
    """Raw bytes of an instrument to standard output: through the daemon where it holds
    the port.

    INSTRUMENT is indicator, travel or caliper; or a device that the settings do not
    name, such as /dev/serial/by-id/... What is read from pins comes as 0 and 1, a frame
    a line; Modbus in hexadecimal, an answer a line: as `decode` takes it.

    Example:  sweepgauge capture indicator --seconds 10 --save mine.json
    """
    where = paths(settings=settings_path, socket=socket_path, client=True)
    if note is not None and save is None:
        raise Complaint("--note goes into the file of --save: name that too")
    device = _device(instrument, where)
    if baud is not None and device is None:
        raise Complaint(
            "--baud is for a device that the settings do not name; else baud stands in"
            " the settings"
        )
    output = _Output(save, note or "")
    try:
        count = _capture(
            instrument,
            device,
            baud,
            where,
            seconds,
            output,
        )
    finally:
        if (
            output.has_begun
            and not note
            and sys.stdin is not None
            and sys.stdin.isatty()
        ):
            output.note = click.prompt(
                NOTE_PROMPT, default="", show_default=False, err=True
            )
        output.close()
    say(f"{count} bytes." if save is None else f"{count} bytes, in {save}.")
    if save is not None and not output.note:
        say(
            "What was done, and what the display showed, is wanted with it: --note, or"
            " tell it beside."
        )
    return 0


def _device(instrument: str | None, where: Paths) -> str | None:
    """The device that is named in place of an instrument; None where it is one of the
    settings'."""
    if instrument is None or not instrument.startswith("/"):
        return None
    from bench.doctor.direct_port import wired_ports

    real = os.path.realpath(instrument)
    for name, port in wired_ports(load_settings(where)).items():
        if port.port and os.path.realpath(port.port) == real:
            raise Complaint(
                f"{instrument} is the {name} of the settings: sweepgauge capture {name}"
            )
    return instrument


def _capture(
    instrument: str | None,
    device: str | None,
    baud: int | None,
    where: Paths,
    seconds: float | None,
    output: _Output,
) -> int:
    from bench.doctor.direct_port import wired_ports
    from bench.protocol.client import NoDaemon, WireClient
    from bench.settings.settings_file import PortSettings

    if device is not None:
        return _direct(
            device, PortSettings(port=device, baud=baud or 9600), seconds, output
        )
    try:
        client = WireClient(where.socket, slow=say_slow)
    except NoDaemon:
        ports = {
            name: port
            for name, port in wired_ports(load_settings(where)).items()
            if port.port or port.pins
        }
        name = instrument or next(iter(ports), None)
        if name is None or name not in ports:
            raise Complaint(
                f"no instrument {name or ''!r} with a port in the settings; there are:"
                f" {', '.join(ports) or 'none'}; or name a device: sweepgauge capture"
                " /dev/serial/by-id/..."
            ) from None
        return _direct(name, ports[name], seconds, output)
    with client:
        return _through_daemon(client, instrument, seconds, where, output)


def _through_daemon(
    client: WireClient,
    instrument: str | None,
    seconds: float | None,
    where: Paths,
    output: _Output,
) -> int:
    from bench.protocol import Capture, Done, RawBytes
    from bench.protocol.client import Gone, NoDaemon, Refused

    count = 0
    try:
        client.ask(Capture(instrument), Done)
        output.begin(instrument or "", None)
        until = _end(seconds)
        while until is None or time.monotonic() < until:
            message = client.next(
                0.2 if until is None else max(0.01, min(0.2, until - time.monotonic()))
            )
            if isinstance(message, RawBytes):
                output.name = message.instrument
                count += output.write(bytes.fromhex(message.hex))
    except Refused as error:
        raise Complaint(str(error)) from error
    except (Gone, NoDaemon) as error:
        raise Complaint(
            f"the daemon went away after {count} bytes ({error})"
        ) from error
    except KeyboardInterrupt:
        pass
    if output.path is not None:
        output.port = _settings_of(output.name, where)
    return count


def _end(seconds: float | None) -> float | None:
    """When a capture of so many s ends that begins now, monotonic s; None is never."""
    return None if seconds is None else time.monotonic() + seconds


def _settings_of(name: str, where: Paths) -> PortSettings | None:
    """The port in the settings; in the service's, where the service gave the bytes."""
    from bench.doctor.direct_port import wired_ports

    return wired_ports(load_settings(where)).get(name)


def _direct(
    name: str, port: PortSettings, seconds: float | None, output: _Output
) -> int:
    from bench.doctor.direct_port import open_port, read_block, request_of, request_rate
    from hw.formats import FORMATS
    from hw.port_names import NotAPort

    if what := FORMATS[port.format].port.daemon_only:
        raise Complaint(
            f"{name} {what}: only the daemon takes it; start it and capture through it"
        )

    say(
        "No daemon runs: the port is opened here."
        + ("" if seconds is not None else " Ctrl-C ends it.")
    )
    request = request_of(port)
    asks = request is not None
    count = 0
    try:
        with open_port(port) as opened:
            output.begin(name, port)
            until = _end(seconds)
            asked = 0.0
            while until is None or time.monotonic() < until:
                if (
                    request is not None
                    and time.monotonic() - asked > 1.0 / request_rate(port)
                ):
                    asked = time.monotonic()
                    opened.write(request)
                data, text = read_block(port, opened)
                if data:
                    count += output.write(text)
    except BrokenPipeError:
        raise  # the reader of the output is gone: no fault of the port
    except NotAPort as error:
        raise Complaint(str(error)) from error
    except (OSError, ValueError) as error:
        number = getattr(error, "errno", None)
        why = (
            f"{port.port} cannot be opened: {os.strerror(number)}"
            if number
            else f"{port.port}: {error}"
        )
        raise Complaint(f"{why}; `sweepgauge doctor` says what to do") from error
    except KeyboardInterrupt:
        pass
    if not count:
        say(
            "Nothing came, though it was asked."
            if asks
            else (
                "Nothing came: press its send button while this runs,"
                " or name what asks it (request) in the settings."
            )
        )
    return count


class _Output:
    """Takes the bytes: to standard output as they come, or with their times into a file
    at the end. name, port: of the instrument."""

    def __init__(self, path: str | None, note: str) -> None:
        self.path, self.note = path, note
        self.name = ""
        self.port: PortSettings | None = None
        self._began: float | None = None
        self._at = ""
        self._blocks: list[tuple[float, str]] = []
        if path is not None and os.path.exists(path):
            raise Complaint(f"{path} is there already: name another file, or remove it")

    @property
    def has_begun(self) -> bool:
        return self.path is not None and self._began is not None

    def begin(self, name: str, port: PortSettings | None) -> None:
        from datetime import UTC, datetime

        self.name, self.port = name, port
        self._began, self._at = (
            time.monotonic(),
            datetime.now(UTC).isoformat(timespec="seconds"),
        )

    def write(self, data: bytes) -> int:
        if self.path is None:
            sys.stdout.buffer.write(data)
            sys.stdout.buffer.flush()
            return len(data)
        assert self._began is not None
        self._blocks.append((round(time.monotonic() - self._began, 4), data.hex()))
        return len(data)

    def close(self) -> None:
        """Write the file, also after the daemon went away in the middle."""
        if self.path is None or self._began is None:
            return  # the port did not open
        from bench.cli.capture_file import SavedCapture, encode
        from bench.settings.settings_file import PortSettings

        saved = SavedCapture(
            instrument=self.name,
            at=self._at,
            note=self.note,
            seconds=round(time.monotonic() - self._began, 4),
            port=self.port or PortSettings(),
            blocks=self._blocks,
        )
        try:
            with open(self.path, "xb") as file:
                file.write(encode(saved))
        except OSError as error:
            raise Complaint(
                f"{self.path} cannot be written: {error.strerror}"
            ) from error

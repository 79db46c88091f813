"""`sweepgauge capture`: raw bytes, for a bug report or a fixture."""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Iterator
from contextlib import suppress
from datetime import UTC, datetime

import click

from bench.cli.capture_file import SavedCapture, encode
from bench.cli.common import (
    CommandError,
    command_errors,
    load_settings,
    paths,
    say,
    say_slow,
    settings_option,
    socket_option,
)
from bench.doctor.direct_port import blocks, open_port
from bench.protocol import Capture, Done, RawBytes
from bench.protocol.client import ConnectionClosed, NoDaemon, WireClient
from bench.settings.port_requests import request_of
from bench.settings.settings_file import Paths, PortSettings
from hw.formats import FORMATS
from hw.port_names import NotAPort

NOTE_PROMPT = "What was done, and what did its display show"
LOOK_EVERY_S = 0.2  # how long is waited for bytes before the time is looked at


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
        "Into this file, with what a report needs: its settings, and when each byte"
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
    name, such as /dev/serial/by-id/... Pins give 0 and 1, a frame a line. Modbus gives
    hexadecimal, an answer a line. `decode` takes both.

    Example:  sweepgauge capture indicator --seconds 10 --save mine.json
    """
    where = paths(settings=settings_path, socket=socket_path, client=True)
    if note is not None and save is None:
        raise CommandError("--note goes into the file of --save: name that too")
    device = _device(instrument, where)
    if baud is not None and device is None:
        raise CommandError(
            "--baud is for a device that the settings do not name; else baud stands in"
            " the settings"
        )
    recording = _Recording(save, seconds)
    try:
        if device is not None:
            recording.instrument = device
            recording.port = PortSettings(port=device, baud=baud or 9600)
            recording.take(_of_port(recording))
        else:
            _named(instrument, where, recording)
    finally:
        if recording.began is not None and save is not None:
            if not note and sys.stdin is not None and sys.stdin.isatty():
                note = click.prompt(
                    NOTE_PROMPT, default="", show_default=False, err=True
                )
            recording.write(note or "")
    where_to = "" if save is None else f", in {save}"
    say(f"{recording.count} bytes{where_to}.")
    if save is not None and not note:
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
    real = os.path.realpath(instrument)
    for name, port in load_settings(where).wired.items():
        if port.port and os.path.realpath(port.port) == real:
            raise CommandError(
                f"{instrument} is the {name} of the settings: sweepgauge capture {name}"
            )
    return instrument


def _named(instrument: str | None, where: Paths, recording: _Recording) -> None:
    """An instrument of the daemon; without one of the settings, opened here."""
    try:
        client = WireClient(where.socket, slow=say_slow)
    except NoDaemon:
        _open_here(instrument, where, recording)
        return
    recording.instrument = instrument or ""
    with client:
        recording.take(_of_daemon(client, instrument, recording))
    if recording.path is not None:
        # in the service's settings, where the service gave the bytes
        wired = load_settings(where).wired.items()
        ours = (port for name, port in wired if name == recording.instrument)
        recording.port = next(ours, PortSettings())


def _open_here(instrument: str | None, where: Paths, recording: _Recording) -> None:
    wired = load_settings(where).wired.items()
    ports = {name: port for name, port in wired if port.port or port.pins}
    recording.instrument = name = instrument or next(iter(ports), "")
    if name not in ports:
        raise CommandError(
            f"no instrument {name!r} with a port in the settings; there are:"
            f" {', '.join(ports) or 'none'}; or name a device: sweepgauge capture"
            " /dev/serial/by-id/..."
        )
    recording.port = ports[name]
    recording.take(_of_port(recording))


def _of_daemon(
    client: WireClient, instrument: str | None, recording: _Recording
) -> Iterator[bytes]:
    try:
        client.ask(Capture(instrument), Done)
        recording.begin()
        while (left := recording.left) > 0:
            message = client.next(max(0.01, min(LOOK_EVERY_S, left)))
            if isinstance(message, RawBytes):
                recording.instrument = message.instrument
                yield bytes.fromhex(message.hex)
    except ConnectionClosed as error:
        raise CommandError(
            f"the daemon went away after {recording.count} bytes ({error})"
        ) from error


def _of_port(recording: _Recording) -> Iterator[bytes]:
    port = recording.port
    if what := FORMATS[port.format].port.daemon_only:
        raise CommandError(
            f"{recording.instrument} {what}: only the daemon takes it; start it and"
            " capture through it"
        )
    end = "" if recording.seconds is not None else " Ctrl-C ends it."
    say(f"No daemon runs: the port is opened here.{end}")
    recording.if_nothing = (
        "Nothing came, though it was asked."
        if request_of(port) is not None
        else "Nothing came: press its send button while this runs. Or name what asks it"
        " (request) in the settings."
    )
    try:
        with open_port(port) as opened:
            recording.begin()
            for data, text in blocks(port, opened, lambda: recording.left <= 0):
                if data:
                    yield text
    except (OSError, ValueError) as error:
        if isinstance(error, NotAPort):
            raise CommandError(str(error)) from error
        number = getattr(error, "errno", None)
        why = f"cannot be opened: {os.strerror(number)}" if number else error
        words = f"{port.port}: {why}; `sweepgauge doctor` says what to do"
        raise CommandError(words) from error


class _Recording:
    """Takes the bytes: to standard output as they come, or with their times into a file
    at the end. path: of that file. seconds: how long; None: until Ctrl-C. began:
    monotonic s."""

    def __init__(self, path: str | None, seconds: float | None) -> None:
        self.path, self.seconds = path, seconds
        self.instrument, self.port = "", PortSettings()
        self.began: float | None = None
        self.count = 0
        self.if_nothing = ""
        self._at = ""
        self._blocks: list[tuple[float, str]] = []
        if path is not None and os.path.exists(path):
            raise CommandError(
                f"{path} is there already: name another file, or remove it"
            )

    def begin(self) -> None:
        self.began = time.monotonic()
        self._at = datetime.now(UTC).isoformat(timespec="seconds")

    @property
    def passed(self) -> float:
        """s since it began."""
        return time.monotonic() - (self.began or 0.0)

    @property
    def left(self) -> float:
        """s"""
        return LOOK_EVERY_S if self.seconds is None else self.seconds - self.passed

    def take(self, blocks: Iterator[bytes]) -> None:
        with suppress(KeyboardInterrupt):
            for data in blocks:
                self.count += len(data)
                if self.path is not None:
                    self._blocks.append((round(self.passed, 4), data.hex()))
                else:
                    sys.stdout.buffer.write(data)
                    sys.stdout.buffer.flush()
        if not self.count and self.if_nothing:
            say(self.if_nothing)

    def write(self, note: str) -> None:
        """The file, also after the daemon went away in the middle."""
        assert self.path is not None
        saved = SavedCapture(
            instrument=self.instrument,
            at=self._at,
            note=note,
            seconds=round(self.passed, 4),
            port=self.port,
            blocks=self._blocks,
        )
        where = self.path
        unwritten = command_errors(
            OSError, words=lambda error: f"{where} cannot be written: {error.strerror}"
        )
        with unwritten, open(self.path, "xb") as file:
            file.write(encode(saved))

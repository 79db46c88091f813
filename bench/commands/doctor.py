"""`sweepgauge doctor`: ports, formats, rates, clock, disk, permissions: what is wrong, what to do.

It proposes and never changes anything. With a daemon running it asks the daemon, which holds the ports; without
one it looks at the ports itself and listens on those that nobody holds.
"""

from __future__ import annotations

import grp
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import click
import msgspec

from bench.commands.common import (
    Complaint,
    json_option,
    load_settings,
    log_option,
    paths,
    settings_option,
    socket_option,
)
from bench.settings import Paths, PortSettings, Settings, words

LEAST_DISK = 100 * 2**20  # bytes; ten years of daily checks are 70 MB
PUSH_SPACING = 2.0  # mm of travel a reading, wanted
LISTEN = 1.5  # s on each port that nobody holds
USUAL_PUSH = 40.0  # mm/s, the quick end of a usual push; common practice, no source


class Matter(msgspec.Struct, frozen=True):
    """One thing looked at. `do`: the remedy, where something is wrong."""

    about: str
    good: bool | None  # None: only told
    words: str
    do: str = ""


@click.command()
@socket_option
@settings_option
@log_option
@json_option
def doctor(socket_path: str | None, settings_path: str | None, log_path: str | None, as_json: bool) -> int:
    """Ports, formats, rates, clock, disk, permissions: what is wrong, what to do.

    Example:  sweepgauge doctor
    """
    where = paths(settings=settings_path, log=log_path, socket=socket_path)
    matters: list[Matter] = []
    try:
        settings = load_settings(where)
    except Complaint as error:
        matters.append(
            Matter("settings", False, str(error), "mend that line; nothing starts half configured")
        )
    else:
        matters += [Matter("settings", None, line) for line in words(settings)]
        matters += _instruments(settings, where)
    matters += [*_ports(), *_rights(), *_clock(), *_disk(where)]
    faults = [m for m in matters if m.good is False]
    if as_json:
        click.echo(msgspec.json.encode({"good": not faults, "matters": matters}))
    else:
        for matter in matters:
            sign = {True: "good ", False: "FAULT", None: "     "}[matter.good]
            click.echo(f"{sign} {matter.about}: {matter.words}")
            if matter.do:
                click.echo(f"      do: {matter.do}")
        click.echo(f"{len(faults)} faults." if faults else "No fault found.")
    return 1 if faults else 0


def _instruments(settings: Settings, where: Paths) -> Iterator[Matter]:
    from bench.client import Gone, NoDaemon, WireClient
    from bench.wire import GetStatus, StatusReply

    try:
        with WireClient(where.socket) as client:
            reply = client.ask(GetStatus(), StatusReply)
    except (NoDaemon, Gone):
        yield Matter("daemon", None, f"none runs at {where.socket}; the ports are looked at here")
        wired = [
            (name, port)
            for name, port in (
                ("indicator", settings.indicator),
                ("travel", settings.travel),
                ("caliper", settings.caliper),
            )
            if port is not None and port.port
        ]
        for name, port in wired:
            yield _listen(name, port)
        if not wired:
            yield Matter(
                "instruments",
                None,
                "none is set up",
                "name a port in the settings, or try the whole job without one: sweepgauge demo",
            )
        return
    assert isinstance(reply, StatusReply)
    yield Matter("daemon", True, f"{reply.program} at {where.socket}")
    recording = reply.recording == "recording"
    yield Matter("log", recording, f"{reply.log}: {reply.recording}")
    for one in reply.instruments:
        good = one.state in ("open", "marks")
        yield Matter(
            one.name, good, one.words, "" if good else "see the words; sweepgauge watch shows what comes"
        )
        if one.rate:
            yield _rate(one.name, one.rate)
        if one.rejects:
            share = one.rejects / max(1, one.rejects + one.readings)
            yield Matter(
                one.name,
                share < 0.01,
                f"{one.rejects} frames rejected of {one.rejects + one.readings}",
                ""
                if share < 0.01
                else "check baud rate, parity and format; capture some bytes: sweepgauge capture",
            )


def _rate(name: str, rate: float) -> Matter:
    fastest = rate * PUSH_SPACING
    return Matter(
        name,
        None if fastest >= USUAL_PUSH else False,
        f"{rate:.1f} readings a second: push no faster than {fastest:.0f} mm/s for one every {PUSH_SPACING:g} mm",
        ""
        if fastest >= USUAL_PUSH
        else "push slower, or work with marks: leave [travel] out of the settings",
    )


def _listen(name: str, port: PortSettings) -> Matter:
    """Open the port as the daemon would and say what is heard in a moment."""
    import serial

    from hw.formats import make_decoder
    from hw.reading import FormatError

    try:
        decoder = make_decoder(
            port.format, {"at_open": True, **port.options} if port.format == "line" else port.options
        )
    except FormatError as error:
        return Matter(name, False, str(error), "mend the option in the settings")
    heard = bytearray()
    try:
        with serial.serial_for_url(
            port.port,
            baudrate=port.baud,
            bytesize=port.bits,
            parity=port.parity,
            stopbits=port.stop,
            timeout=0.2,
        ) as opened:
            if port.request:
                opened.write(port.request.encode("ascii"))
            for _ in range(int(LISTEN / 0.2)):
                heard += opened.read(4096)
    except (OSError, ValueError) as error:
        return Matter(name, False, f"{port.port}: {error}", _remedy(port.port))
    records = decoder.feed(bytes(heard))
    good = sum(1 for r in records if r.value is not None)
    if not heard:
        return Matter(
            name,
            None,
            f"{port.port} is open and silent",
            "switch the instrument on, or press its send button",
        )
    if good and good >= decoder.rejects:
        return Matter(name, True, f"{port.port}: {good} readings in {LISTEN:g} s, {decoder.rejects} rejected")
    high = sum(byte >= 0x80 for byte in heard)
    even = all(bin(byte).count("1") % 2 == 0 for byte in heard)
    hint = (
        'all bytes have even parity: set parity7 = "even" or parity = "even", bits = 7'
        if high and even
        else "check baud rate, parity and format"
    )
    return Matter(
        name,
        False,
        f"{port.port}: {len(heard)} bytes that are not {port.format}: {bytes(heard[:40])!r}",
        hint,
    )


def _ports() -> Iterator[Matter]:
    """Serial ports by their stable names, and who holds them."""
    for folder in ("/dev/serial/by-id", "/dev/serial/by-path"):
        for link in sorted(Path(folder).glob("*")) if Path(folder).is_dir() else []:
            device = link.resolve()
            holder = _holder(device)
            yield Matter(
                "port", None, f"{link} is {device.name}" + (f", held by {holder}" if holder else ", free")
            )
    console = Path("/dev/serial0")
    command = Path("/proc/cmdline")
    if console.exists() and command.exists() and "console=serial0" in command.read_text():
        yield Matter(
            "port",
            False,
            "the login console is on /dev/serial0",
            "turn the serial console off, keep the port on",
        )
    for process in _processes():
        if process == "ModemManager":
            yield Matter(
                "port",
                None,
                "a modem manager runs and may probe new ports for ten seconds",
                "install systemd/60-sweepgauge.rules",
            )


def _processes() -> Iterator[str]:
    for folder in Path("/proc").glob("[0-9]*"):
        try:
            yield (folder / "comm").read_text().strip()
        except OSError:
            continue


def _holder(device: Path) -> str | None:
    for folder in Path("/proc").glob("[0-9]*/fd"):
        try:
            for link in folder.iterdir():
                if os.readlink(link) == str(device):
                    return f"process {folder.parent.name} ({(folder.parent / 'comm').read_text().strip()})"
        except OSError:
            continue
    return None


def _remedy(port: str | None) -> str:
    if port and Path(port).exists() and not os.access(port, os.R_OK | os.W_OK):
        return "sudo adduser $USER dialout, then log out and in again"
    holder = _holder(Path(port).resolve()) if port and Path(port).exists() else None
    return (
        f"it is held by {holder}: close that"
        if holder
        else "is the cable plugged in? ls -l /dev/serial/by-id"
    )


def _rights() -> Iterator[Matter]:
    if os.geteuid() == 0:
        return
    mine = set(os.getgroups()) | {os.getegid()}
    for name, what in (("dialout", "serial ports"), ("gpio", "pedal, lamp and buzzer")):
        try:
            group = grp.getgrnam(name)
        except KeyError:
            continue  # this system has no such group, so nothing hangs on it
        if group.gr_gid not in mine:
            yield Matter(
                "rights",
                False if name == "dialout" else None,
                f"this user is not in the group {name} ({what})",
                f"sudo adduser $USER {name}, then log out and in again",
            )


def _clock() -> Iterator[Matter]:
    synced = Path("/run/systemd/timesync/synchronized")
    if Path("/run/systemd/timesync").is_dir():
        yield Matter(
            "clock",
            synced.exists() or None,
            "set by the network"
            if synced.exists()
            else "not yet set by the network: dates are marked as such",
        )


def _disk(where: Paths) -> Iterator[Matter]:
    folder = where.log.parent
    while not folder.exists() and folder != folder.parent:
        folder = folder.parent
    free = shutil.disk_usage(folder).free
    yield Matter(
        "disk",
        free >= LEAST_DISK,
        f"{free / 2**20:.0f} MiB free for the log in {folder}",
        ""
        if free >= LEAST_DISK
        else "make room: nothing is lost, but nothing more is recorded when it is full",
    )
    if not os.access(folder, os.W_OK):
        yield Matter(
            "disk", False, f"{folder} cannot be written", "a read-only card or another user's folder?"
        )

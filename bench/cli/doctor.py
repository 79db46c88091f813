"""`sweepgauge doctor`: what is wrong with ports, rates, machine and rights, and the
advice.

It proposes and never changes anything. It asks a running daemon, which holds the ports;
without one it listens itself on those that nobody holds.
"""

from __future__ import annotations

import os
import time
from collections.abc import Generator, Iterator, Sequence
from typing import TYPE_CHECKING

import click

from bench.cli.common import (
    Complaint,
    json_option,
    load_settings,
    log_option,
    paths,
    say,
    settings_option,
    socket_option,
)

if TYPE_CHECKING:
    from bench.doctor.diagnostic import Diagnostic, ListeningOptions
    from bench.doctor.instruments import Wired
    from bench.doctor.ports import Cable
    from bench.doctor.rights import User
    from bench.settings.settings_file import Paths, Settings


@click.command()
@socket_option
@settings_option
@log_option
@click.option(
    "--spacing",
    metavar="LENGTH",
    help="Travel wanted between two readings, 2 mm if not said: how fast may you push?",
)
@click.option(
    "--seconds",
    type=click.FloatRange(0.5, 600),
    help=(
        "Listen for so long, 1.5 if not said: for what sends at its button, or for a"
        " longer look at the noise."
    ),
)
@json_option
def doctor(
    socket_path: str | None,
    settings_path: str | None,
    log_path: str | None,
    spacing: str | None,
    seconds: float | None,
    as_json: bool,
) -> int:
    """Ports, formats, rates, clock, disk, permissions: what is wrong, what to do.

    Example:  sweepgauge doctor --spacing "1 mm"
    """
    import msgspec

    from bench.doctor.diagnostic import LISTEN, ListeningOptions
    from bench.units import UnitsError, parse_length

    try:
        wanted = parse_length(spacing or "2 mm")
    except UnitsError as error:
        raise Complaint(f"--spacing: {error}") from error
    if wanted <= 0:
        raise Complaint(f"--spacing takes a length above zero, not {spacing}")
    where = paths(settings=settings_path, log=log_path, socket=socket_path, client=True)
    if seconds is not None:
        say(
            f"Listening for {seconds:g} s: move it, leave it at rest, or press its"
            " button, as you want it heard."
        )
    listening = LISTEN if seconds is None else seconds
    options = ListeningOptions(wanted, "mm", spacing is not None, listening)
    diagnostics = []
    for diagnostic in _diagnose(where, options):
        diagnostics.append(diagnostic)
        if not as_json:
            _print(diagnostic)
    faults = sum(one.good is False for one in diagnostics)
    if as_json:
        click.echo(msgspec.json.encode({"good": not faults, "matters": diagnostics}))
    else:
        open_ends = sum(one.good is None and bool(one.advice) for one in diagnostics)
        click.echo(_total(faults, open_ends))
    return 1 if faults else 0


def _total(faults: int, open_ends: int) -> str:
    """open_ends: notes with an advice, such as on a silent instrument."""
    words = (
        "No fault found"
        if not faults
        else f"{faults} fault{'s' if faults > 1 else ''} found"
    )
    return words + (f"; {open_ends} more to see to." if open_ends else ".")


def _print(one: Diagnostic) -> None:
    sign = {True: "good ", False: "FAULT", None: "     "}[one.good]
    click.echo(f"{sign} {one.about}: {one.words}")
    for line in one.evidence:
        click.echo(f"      heard: {line}")
    if one.advice:
        click.echo(f"      do: {one.advice}")


def _diagnose(where: Paths, options: ListeningOptions) -> Iterator[Diagnostic]:
    """Every subject, in the order in which a user would look."""
    from bench.doctor import machine, pins, ports, rights
    from bench.doctor.diagnostic import fault
    from bench.doctor.direct_port import wired_ports
    from bench.doctor.recent_events import recent_events
    from bench.settings.settings_file import Settings

    try:
        settings = load_settings(where)
    except Complaint as error:
        yield fault("settings", str(error), "mend it; nothing starts half configured")
        settings, known = Settings(), False
    else:
        yield from _settings(settings, where)
        known = True
    options = options._replace(units=settings.units)
    wired = list(wired_ports(settings).items())
    cables = ports.find_ports()
    user = rights.this_user()
    yield from ports.diagnose_cables(cables, wired)
    served = yield from _instruments(where, wired, cables, user, options, known=known)
    yield from recent_events(where.log, time.time())
    yield from ports.diagnose_neighbours(named={port.port for _, port in wired})
    if not served:
        wants = _wanted_groups(settings, wired, cables)
        yield from rights.diagnose_groups(user, rights.known_groups(), wants)
    yield from pins.diagnose_pins(settings, ours=not served)
    yield from machine.diagnose_clock(machine.clock_synced(), time.time())
    yield from machine.diagnose_disk(where.log, ours=not served)
    yield from machine.diagnose_power()
    yield from machine.diagnose_air()
    yield from machine.diagnose_packages()


def _settings(settings: Settings, where: Paths) -> Iterator[Diagnostic]:
    from bench.doctor.diagnostic import note
    from bench.render.settings import words

    for line in words(settings):
        none = settings.settings_file is None and line.startswith("Settings:")
        no_file = f"Settings: no file at {where.settings}, the defaults hold."
        yield note("settings", no_file if none else line)


def _wanted_groups(
    settings: Settings, wired: Wired, cables: Sequence[Cable]
) -> dict[str, str]:
    """The groups that the daemon's user needs, and what each may open."""
    from bench.doctor.pins import wired_pins
    from hw.formats import FORMATS
    from hw.formats.shared.declaration import PINS, SERIAL

    wanted: dict[str, str] = {}
    if cables or any(port.port.startswith("/") for _, port in wired):
        wanted[SERIAL.group] = SERIAL.opens
    if wired_pins(settings):
        wanted[PINS.group] = PINS.opens
    kinds = {FORMATS[port.format].port for _, port in wired}
    wanted |= {kind.group: kind.opens for kind in kinds if not kind.serial_line}
    return wanted


def _instruments(
    where: Paths,
    wired: Wired,
    cables: Sequence[Cable],
    user: User,
    options: ListeningOptions,
    *,
    known: bool,
) -> Generator[Diagnostic, None, bool]:
    """Through the daemon where one runs. known: the settings could be read. Returns
    whether a daemon of another user holds ports and log, which then need no rights of
    ours."""
    from bench.doctor import instruments, service
    from bench.doctor.diagnostic import fault, note
    from bench.protocol.client import Gone, NoDaemon, Refused, WireClient

    served = False
    try:
        with WireClient(where.socket, slow=service.Patience()) as client:
            yield from service.diagnose_daemon(client, dict(wired), options)
        served = where.socket.stat().st_uid != os.geteuid()
        yield from instruments.diagnose_unnamed_cables(wired, cables, user)
        advice = "plug them in, and: sweepgauge learn indicator; or sweepgauge console"
    except NoDaemon:
        socket = service.diagnose_socket(where.socket)
        if socket is not None:
            yield socket
            if socket.good is False:
                return served
        yield note(
            "daemon", f"none runs at {where.socket}; the ports are looked at here"
        )
        yield from instruments.diagnose_ports(wired, cables, user, options)
        advice = (
            "plug them in, and with the daemon running: sweepgauge learn; or name a"
            " port in the settings; or try the whole job with nothing plugged in:"
            " sweepgauge demo"
        )
    except service.Hangs as error:
        yield fault(
            "daemon",
            str(error),
            "is the machine busy? else: sudo systemctl restart sweepgauge",
        )
        return served
    except (Gone, Refused) as error:
        yield fault(
            "daemon",
            f"it ended the talk: {error}",
            "see what it says: journalctl -u sweepgauge -e",
        )
        return served
    if known and not wired:
        yield note("instruments", "none is set up", advice)
    return served

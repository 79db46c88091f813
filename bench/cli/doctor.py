"""`sweepgauge doctor`: ports, formats, rates, clock, disk, permissions: what is wrong,
what to do.

It proposes and never changes anything. With a daemon running it asks the daemon, which
holds the ports; without one it looks at the ports itself and listens on those that
nobody holds.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator
from pathlib import Path
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
    from bench.doctor.matter import Matter
    from bench.doctor.ports import Found
    from bench.doctor.rights import User
    from bench.settings.settings_file import Paths, PortSettings, Settings

SERVICE_SETTINGS = Path("/etc/sweepgauge/settings.toml")
SERVICE_SOCKET = Path("/run/sweepgauge/socket")


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

    from bench.units import UnitsError, parse_length

    try:
        wanted = parse_length(spacing or "2 mm")
    except UnitsError as error:
        raise Complaint(f"--spacing: {error}") from error
    if wanted <= 0:
        raise Complaint(f"--spacing takes a length above zero, not {spacing}")
    where = paths(settings=settings_path, log=log_path, socket=socket_path)
    if settings_path is None:
        where = settings_of_service(where)
    if seconds is not None:
        say(
            f"Listening for {seconds:g} s: move it, leave it at rest, or press its"
            " button, as you want it heard."
        )
    matters = []
    for matter in _look(where, wanted, asked=spacing is not None, seconds=seconds):
        matters.append(matter)
        if not as_json:
            _print(matter)
    faults = sum(matter.good is False for matter in matters)
    if as_json:
        click.echo(msgspec.json.encode({"good": not faults, "matters": matters}))
    else:
        open_ends = sum(matter.good is None and bool(matter.do) for matter in matters)
        click.echo(_total(faults, open_ends))
    return 1 if faults else 0


def settings_of_service(where: Paths) -> Paths:
    """The service's own settings where it is the service that is asked and nobody named
    others."""
    if (
        where.socket == SERVICE_SOCKET
        and "SWEEPGAUGE_SETTINGS" not in os.environ
        and not where.settings.exists()
        and SERVICE_SETTINGS.exists()
    ):
        return where._replace(settings=SERVICE_SETTINGS)
    return where


def _total(faults: int, open_ends: int) -> str:
    """open_ends: what is no fault and has something to do all the same, such as a
    silent instrument."""
    words = (
        "No fault found"
        if not faults
        else f"{faults} fault{'s' if faults > 1 else ''} found"
    )
    return words + (f"; {open_ends} more to see to." if open_ends else ".")


def _print(matter: Matter) -> None:
    sign = {True: "good ", False: "FAULT", None: "     "}[matter.good]
    click.echo(f"{sign} {matter.about}: {matter.words}")
    for line in matter.evidence:
        click.echo(f"      heard: {line}")
    if matter.do:
        click.echo(f"      do: {matter.do}")


def _look(
    where: Paths, spacing: float, *, asked: bool, seconds: float | None
) -> Iterator[Matter]:
    from bench.doctor import machine, pins, ports, rights
    from bench.doctor.lately import lately
    from bench.doctor.matter import fault, told
    from bench.render.settings import words
    from bench.settings.settings_file import Settings
    from hw.formats import FORMATS

    try:
        settings = load_settings(where)
    except Complaint as error:
        yield fault("settings", str(error), "mend it; nothing starts half configured")
        settings, known = Settings(), False
    else:
        known = True
        for line in words(settings):
            none = settings.settings_file is None and line.startswith("Settings:")
            yield told(
                "settings",
                (
                    f"Settings: no file at {where.settings}, the defaults hold."
                    if none
                    else line
                ),
            )
    wired = [
        (name, port)
        for name, port in (
            ("indicator", settings.indicator),
            ("travel", settings.travel),
            ("caliper", settings.caliper),
        )
        if port is not None
    ]
    found = ports.find_ports()
    user = rights.this_user()
    yield from ports.cables(found, wired)
    listened = _instruments(
        settings, where, wired, found, user, spacing, asked=asked, seconds=seconds
    )
    yield from (matter for matter in listened if known or matter.about != "instruments")
    yield from lately(where.log, time.time())
    yield from ports.neighbours(named={port.port for _, port in wired})
    wants = (
        {"dialout": "serial ports"}
        if any(port.port.startswith("/") for _, port in wired) or found
        else {}
    )
    if pins.wired_pins(settings):
        wants["gpio"] = "the pins"
    kinds = {FORMATS[port.format].port for _, port in wired}
    wants |= {kind.group: kind.opens for kind in kinds if not kind.serial_line}
    yield from rights.groups(user, rights.known_groups(), wants)
    yield from pins.pins(settings)
    yield from machine.clock(machine.clock_synced(), time.time())
    yield from machine.disk(where.log)
    yield from machine.power()
    yield from machine.air()
    yield from machine.packages()


def _instruments(
    settings: Settings,
    where: Paths,
    wired: list[tuple[str, PortSettings]],
    found: list[Found],
    user: User,
    spacing: float,
    *,
    asked: bool,
    seconds: float | None,
) -> Iterator[Matter]:
    from bench.doctor import instruments, service
    from bench.doctor.matter import fault, told

    try:
        with service.WireClient(where.socket, slow=service.Patience()) as client:
            yield from service.asked(
                client,
                dict(wired),
                spacing,
                settings.units,
                asked=asked,
                seconds=seconds,
            )
        yield from instruments.others_here(wired, found, user)
        if not wired:
            yield told(
                "instruments",
                "none is set up",
                "plug them in, and: sweepgauge learn indicator; or sweepgauge console",
            )
        return
    except service.NoDaemon:
        left = service.socket_matter(where.socket)
        if left is not None:
            yield left
        if left is not None and left.good is False:
            return
        yield told(
            "daemon", f"none runs at {where.socket}; the ports are looked at here"
        )
    except service.Hangs as error:
        yield fault(
            "daemon",
            str(error),
            "is the machine busy? else: sudo systemctl restart sweepgauge",
        )
        return
    except (service.Gone, service.Refused) as error:
        yield fault(
            "daemon",
            f"it ended the talk: {error}",
            "see what it says: journalctl -u sweepgauge -e",
        )
        return
    yield from instruments.heard_here(
        wired, found, user, spacing, settings.units, asked=asked, seconds=seconds
    )
    if not wired:
        yield told(
            "instruments",
            "none is set up",
            "plug them in, and with the daemon running: sweepgauge learn; or name a"
            " port in the settings; or try the whole job with nothing plugged in:"
            " sweepgauge demo",
        )

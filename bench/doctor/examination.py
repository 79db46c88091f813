"""Examines ports, instruments, machine and rights, one subject after the other.

A running daemon is asked, which holds the ports; without one the ports that nobody
holds are listened to here.
"""

from __future__ import annotations

import os
import time
from collections.abc import Generator, Iterator, Sequence
from pathlib import Path

from bench.doctor import instruments, machine, pins, ports, rights, running_daemon
from bench.doctor.diagnostic import Diagnostic, ListeningOptions, diagnosis
from bench.doctor.instruments import Wired
from bench.doctor.recent_events import recent_events
from bench.protocol.client import ConnectionClosed, NoDaemon, RequestRefused, WireClient
from bench.render.settings import settings_lines
from bench.settings.settings_file import Paths, Settings, SettingsError, load
from hw.discovery.serial_cables import SerialCable, find_cables
from hw.formats import FORMATS
from hw.formats.shared.wire_format import PINS, SERIAL

LEARN_ADVICE = "plug them in, and: sweepgauge learn indicator; or sweepgauge console"
START_ADVICE = (
    "plug them in, and with the daemon running: sweepgauge learn; or name a port in the"
    " settings; or try the whole job with nothing plugged in: sweepgauge demo"
)


def examine(where: Paths, options: ListeningOptions) -> Iterator[Diagnostic]:
    """Every subject, in the order in which a user would look."""
    settings, known = Settings(), True
    try:
        settings = load(where.settings, where.gear)
        yield from _settings(settings, where)
    except SettingsError as error:
        yield diagnosis("settings", "settings-wrong", words=str(error))
        known = False
    options, wired = options._replace(units=settings.units), [*settings.wired.items()]
    cables, user = find_cables(), rights.this_user()
    yield from ports.diagnose_cables(cables, wired)
    served = yield from _instruments(where, wired, cables, user, options, known=known)
    yield from recent_events(where.log, time.time())
    yield from ports.diagnose_neighbours(named={port.port for _, port in wired})
    if not served:
        wants = _wanted_groups(settings, wired, cables)
        yield from rights.diagnose_groups(user, rights.known_groups(), wants)
    yield from pins.diagnose_pins(settings, ours=not served)
    yield from _machine(where.log, ours=not served)


def _machine(log: Path, *, ours: bool) -> Iterator[Diagnostic]:
    yield from machine.diagnose_clock(machine.clock_synced(), time.time())
    yield from machine.diagnose_disk(log, ours=ours)
    yield from machine.diagnose_power()
    yield from machine.diagnose_air()
    yield from machine.diagnose_python()


def _settings(settings: Settings, where: Paths) -> Iterator[Diagnostic]:
    for line in settings_lines(settings):
        none = settings.settings_file is None and line.startswith("Settings:")
        no_file = f"Settings: no file at {where.settings}, the defaults hold."
        yield diagnosis("settings", "settings-line", words=no_file if none else line)


def _wanted_groups(
    settings: Settings, wired: Wired, cables: Sequence[SerialCable]
) -> dict[str, str]:
    """The groups that the daemon's user needs, and what each may open."""
    wanted: dict[str, str] = {}
    if cables or any(port.port.startswith("/") for _, port in wired):
        wanted[SERIAL.group] = SERIAL.opens
    if pins.wired_pins(settings):
        wanted[PINS.group] = PINS.opens
    kinds = {FORMATS[port.format].port for _, port in wired}
    wanted |= {kind.group: kind.opens for kind in kinds if not kind.serial_line}
    return wanted


def _instruments(
    where: Paths,
    wired: Wired,
    cables: Sequence[SerialCable],
    user: rights.User,
    options: ListeningOptions,
    *,
    known: bool,
) -> Generator[Diagnostic, None, bool]:
    """Through the daemon where one runs. known: the settings could be read. Returns
    whether a daemon of another user holds ports and log, which then need no rights of
    ours."""
    served = False
    try:
        with WireClient(where.socket, slow=running_daemon.SlowAnswers()) as client:
            yield from running_daemon.diagnose_daemon(client, dict(wired), options)
        served = where.socket.stat().st_uid != os.geteuid()
        yield from instruments.diagnose_unnamed_cables(wired, cables, user)
        advice = LEARN_ADVICE
    except NoDaemon:
        if (socket := running_daemon.diagnose_socket(where.socket)) is not None:
            yield socket
            if socket.good is False:
                return served
        yield diagnosis("daemon", "no-daemon", socket=where.socket)
        yield from instruments.diagnose_ports(wired, cables, user, options)
        advice = START_ADVICE
    except running_daemon.DaemonHangs as error:
        yield diagnosis("daemon", "daemon-hangs", words=str(error))
        return served
    except (ConnectionClosed, RequestRefused) as error:
        yield diagnosis("daemon", "daemon-ended", error=error)
        return served
    if known and not wired:
        yield diagnosis("instruments", "no-instruments", advice=advice)
    return served

"""The instruments without a daemon: the doctor opens each port for a moment.

Only ports that nobody holds are opened; nothing is sent but the request that the
settings name.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from threading import Lock

from bench.doctor.diagnostic import Diagnostic, ListeningOptions, diagnosis
from bench.doctor.format_mismatch import diagnose_bytes, listen_further
from bench.doctor.observation import (
    Observation,
    diagnose_no_reading,
    diagnose_observation,
    observe,
)
from bench.doctor.rights import User, may_open
from bench.doctor.silent_instrument import REQUEST_ADVICE, diagnose_silence
from bench.doctor.stream_figures import rate_of, stream_figures
from bench.settings.settings_file import PortSettings
from hw.discovery.holders import holders_of, is_pseudo
from hw.discovery.listening import (
    ListeningResult,
    Proposal,
    listen,
    open_line,
    settings_text,
)
from hw.discovery.serial_cables import SerialCable
from hw.formats import FORMATS
from hw.ports.open_errors import error_number
from hw.reading import FormatError

Wired = Sequence[tuple[str, PortSettings]]
Job = Callable[[], Iterator[Diagnostic]]


def diagnose_ports(
    wired: Wired, cables: Sequence[SerialCable], user: User, options: ListeningOptions
) -> list[Diagnostic]:
    """Every port, side by side, as each takes a second or two; in the order of the
    settings, then the cables that they do not name."""
    # two instruments may share one port: one after the other
    turns = {os.path.realpath(port.port): Lock() for _, port in wired}
    pushed = any(name == "travel" for name, _ in wired)

    def one_port(name: str, port: PortSettings) -> Iterator[Diagnostic]:
        with turns[os.path.realpath(port.port)]:
            swept = pushed and name != "caliper"
            yield from _diagnose_port(name, port, user, options, swept)

    ports = [partial(one_port, name, port) for name, port in wired]
    return _side_by_side([*ports, *_unnamed_cables(wired, cables, user)])


def diagnose_unnamed_cables(
    wired: Wired, cables: Sequence[SerialCable], user: User
) -> list[Diagnostic]:
    """The cables that the settings do not name, for when a daemon has the others."""
    return _side_by_side(_unnamed_cables(wired, cables, user))


def _unnamed_cables(
    wired: Wired, cables: Sequence[SerialCable], user: User
) -> list[Job]:
    named = {os.path.realpath(port.port) for _, port in wired}
    return [
        partial(diagnose_cable, cable, user)
        for cable in cables
        if str(cable.device) not in named
    ]


def _side_by_side(jobs: Sequence[Job]) -> list[Diagnostic]:
    with ThreadPoolExecutor(max_workers=8) as pool:
        results = pool.map(lambda job: list(job()), jobs)
        return [diagnostic for result in results for diagnostic in result]


def _diagnose_port(
    name: str, port: PortSettings, user: User, options: ListeningOptions, swept: bool
) -> Iterator[Diagnostic]:
    if (obstacle := _obstacle(name, port, user)) is not None:
        yield obstacle
        return
    try:
        seen = observe(port, options.seconds)
    except (OSError, ValueError) as error:
        yield _not_opened(name, port, error)
        return
    if not seen.data:
        yield diagnose_silence(name, port)
    elif seen.readings and seen.readings >= seen.rejects:
        yield from _diagnose_readings(name, port, seen, options, swept)
    elif seen.statuses and seen.statuses.total() >= seen.rejects:
        yield diagnose_no_reading(name, port.port, seen)
    else:
        heard = listen_further(port, seen.data)
        yield diagnose_bytes(name, port, seen, heard)


def _diagnose_readings(
    name: str,
    port: PortSettings,
    seen: Observation,
    options: ListeningOptions,
    swept: bool,
) -> Iterator[Diagnostic]:
    rejected = f", {seen.rejects} rejected" if seen.rejects else ""
    yield diagnosis(
        name,
        "readings-come",
        port=port.port,
        readings=seen.readings,
        seconds=options.seconds,
        rejected=rejected,
    )
    yield from diagnose_observation(name, port, seen)
    if len(seen.channels) < 2:
        pushed = name != "caliper" and port.asking != "button"
        yield from stream_figures(
            name,
            rate_of(seen.times),
            seen.values,
            options._replace(spacing_named=options.spacing_named and pushed),
            swept=swept,
        )


def _obstacle(name: str, port: PortSettings, user: User) -> Diagnostic | None:
    """Why a port of the settings cannot be read here; None where it can be tried."""
    path, kind = Path(port.port), FORMATS[port.format].port
    if not port.port:
        wires = ", ".join(f"{wire} {pin}" for wire, pin in port.pins.items())
        return diagnosis(name, "pins-by-daemon", wires=wires)
    if port.port.startswith("/"):
        if not path.exists():
            return diagnosis(name, "port-missing", path=path, folder=kind.folder)
        if (denied := may_open(path, user)) is not None:
            return denied
        if kind.serial_line and not is_pseudo(path) and (holders := holders_of(path)):
            return _held(name, port, holders)
        if kind.serial_line and not path.is_char_device():
            what = "a folder" if path.is_dir() else "a file"
            return diagnosis(name, "not-a-port", path=path, what=what)
    if kind.daemon_only:
        return diagnosis(name, "keys-by-daemon", port=port.port, why=kind.daemon_only)
    return None


def _not_opened(name: str, port: PortSettings, error: Exception) -> Diagnostic:
    if isinstance(error, FormatError):
        return diagnosis(name, "option-wrong", words=str(error))
    if holders := holders_of(Path(port.port)) if port.port.startswith("/") else []:
        return _held(name, port, holders)
    if error_number(error) == errno.EAGAIN:  # its lock is another program's
        return diagnosis(name, "port-locked", port=port.port)
    return diagnosis(name, "port-not-opened", port=port.port, error=error)


def _held(name: str, port: PortSettings, holders: Sequence[str]) -> Diagnostic:
    return diagnosis(name, "port-held", port=port.port, holders=", ".join(holders))


def diagnose_cable(cable: SerialCable, user: User) -> Iterator[Diagnostic]:
    """A cable that the settings do not name: what would read it?"""
    if holders_of(cable.device) or may_open(cable.device, user) is not None:
        return
    name = cable.name
    try:
        with open_line(name, 9600) as line:
            heard = listen(line)
    except (OSError, ValueError) as error:
        yield diagnosis("port", "cable-not-opened", cable=name, error=error)
        return
    if heard.proposal is not None:
        yield _unnamed_instrument(name, heard.proposal)
    elif heard.silent:
        yield _silent_cable(name)
    else:
        yield _unknown_cable(name, heard)


def _silent_cable(name: str) -> Diagnostic:
    asked = [f'format = "{one.name}"' for one in FORMATS.values() if one.query]
    request = REQUEST_ADVICE.removeprefix("One that is asked needs ")
    registers = " or ".join(asked)
    return diagnosis(
        "port", "silent-cable", cable=name, request=request, registers=registers
    )


def _unnamed_instrument(name: str, proposal: Proposal) -> Diagnostic:
    settings: dict[str, str | int] = {"port": name, **proposal.settings}
    return diagnosis(
        "port",
        "unnamed-instrument",
        cable=name,
        settings=settings_text(settings),
        evidence=proposal.evidence,
        proposal=settings,
    )


def _unknown_cable(name: str, heard: ListeningResult) -> Diagnostic:
    speeds = ", ".join(f"{speed}" for speed, data in heard.heard.items() if data)
    text_at = heard.text_at
    words = f"{name}: something is sent, but nothing known is heard at {speeds} baud"
    proposal: dict[str, str | int] | None = None
    if text_at is not None:
        words += f"; it is text at {text_at}: {heard.heard[text_at][:40]!r}"
        proposal = {"port": name, "baud": text_at}
    baud = text_at or next(iter(heard.heard))
    return diagnosis(
        "port", "unknown-cable", words=words, cable=name, baud=baud, proposal=proposal
    )

"""The instruments as they are heard here, without a daemon: each port opened as the
settings say, for a moment.

Only ports that nobody holds are opened; nothing is sent but the request that the
settings name.
"""

from __future__ import annotations

import errno
import os
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from threading import Lock
from typing import NamedTuple

from bench.doctor.elsewhere import ask_elsewhere
from bench.doctor.matter import Matter, fault, good, told
from bench.doctor.ports import Found
from bench.doctor.rights import User, may_open
from bench.doctor.stream import rate_of, stream
from bench.doctor.taken import dumb, remarks, take
from bench.settings.settings_file import PortSettings
from bench.units import System
from hw.discovery.holders import holders_of, is_pseudo
from hw.discovery.listening import (
    Listening,
    is_text,
    judge,
    listen,
    open_line,
    settings_text,
)
from hw.formats import FORMATS
from hw.reading import FormatError

LISTEN = 1.5  # s
ASKED = (
    'One that is asked needs request in the settings, often "R\\r", "?\\r" or "PRI\\r"'
)
_OUTSIDE = " is outside range_mm "


class Wish(NamedTuple):
    """What the user wants: travel between readings, mm; the units to be told in;
    whether it was named; s to listen."""

    spacing: float
    units: System
    asked: bool
    seconds: float


Wired = Sequence[tuple[str, PortSettings]]


def heard_here(
    wired: Wired,
    found: Sequence[Found],
    user: User,
    spacing: float,
    units: System,
    *,
    asked: bool = False,
    seconds: float | None = None,
) -> list[Matter]:
    """All ports at once, as each takes a second or two; in the order of the settings.

    asked: the user named the spacing. seconds: to listen to each that is set up; LISTEN
    where it is not said.
    """
    wish = Wish(spacing, units, asked, LISTEN if seconds is None else seconds)
    named = {os.path.realpath(port.port) for _, port in wired}
    others = [cable for cable in found if str(cable.device) not in named]
    pushed = any(name == "travel" for name, _ in wired)
    # two instruments may share one port: one after the other
    turns = {path: Lock() for path in named}
    with ThreadPoolExecutor(max_workers=8) as pool:
        jobs = [
            pool.submit(
                _wired,
                turns[os.path.realpath(port.port)],
                *(name, port, user, wish, pushed and name != "caliper"),
            )
            for name, port in wired
        ]
        jobs += [pool.submit(_unnamed, cable, user) for cable in others]
        return [matter for job in jobs for matter in job.result()]


def others_here(wired: Wired, found: Sequence[Found], user: User) -> list[Matter]:
    """Only the cables that the settings do not name, for when a daemon has the others."""
    named = {os.path.realpath(port.port) for _, port in wired}
    others = [cable for cable in found if str(cable.device) not in named]
    with ThreadPoolExecutor(max_workers=8) as pool:
        jobs = [pool.submit(_unnamed, cable, user) for cable in others]
        return [matter for job in jobs for matter in job.result()]


def _wired(
    turn: Lock, name: str, port: PortSettings, user: User, wish: Wish, swept: bool
) -> list[Matter]:
    with turn:
        return list(_heard(name, port, user, wish, swept))


def _heard(
    name: str, port: PortSettings, user: User, wish: Wish, swept: bool
) -> Iterator[Matter]:
    if not port.port:
        wires = ", ".join(f"{wire} {pin}" for wire, pin in port.pins.items())
        yield told(
            name,
            f"it is on pins ({wires}), which only the daemon reads",
            "start the daemon and look again",
        )
        return
    if port.port.startswith("/"):
        refused = _why_not(name, port, user)
        if refused is not None:
            yield refused
            return
    kind = FORMATS[port.format].port
    if kind.daemon_only:
        yield told(
            name,
            f"{port.port} {kind.daemon_only}, and the daemon takes it for itself",
            "start the daemon and look again; here its numbers would go to the window"
            " in front",
        )
        return
    try:
        heard = take(port, wish.seconds)
    except FormatError as error:
        yield fault(name, str(error), "mend the option in the settings")
        return
    except (OSError, ValueError) as error:
        if holders := holders_of(Path(port.port)) if port.port.startswith("/") else []:
            yield fault(
                name,
                f"{port.port} is held by {', '.join(holders)}",
                "close that program",
            )
        elif getattr(error, "errno", None) == errno.EAGAIN or "exclusively lock" in str(
            error
        ):
            yield fault(
                name,
                f"{port.port} is held by another program",
                f"close it; who it is: sudo fuser -v {port.port}",
            )
        else:
            yield fault(
                name,
                f"{port.port}: {error}",
                "mend the port in the settings, or close what holds it",
            )
        return
    if not heard.data:
        yield from _silent(name, port)
        return
    if heard.good and heard.good >= heard.rejects:
        mark = f", {heard.rejects} rejected" if heard.rejects else ""
        yield good(
            name, f"{port.port}: {heard.good} readings in {wish.seconds:g} s{mark}"
        )
        yield from remarks(name, port, heard)
        if len(heard.channels) < 2:
            asked = wish.asked and name != "caliper" and port.asking != "button"
            yield from stream(
                name,
                rate_of(heard.times),
                heard.values,
                wish.spacing,
                wish.units,
                swept=swept,
                asked=asked,
            )
        return
    if heard.statuses and sum(heard.statuses.values()) >= heard.rejects:
        yield fault(name, *dumb(port.port, heard))
        return
    yield from wrong(
        name, port, heard.data, _look_further(port, heard.data), heard.faults
    )


def _silent(name: str, port: PortSettings) -> Iterator[Matter]:
    """Nothing came. One that is asked may not have understood: it is asked at other
    speeds too."""
    asks = port.request is not None or FORMATS[port.format].query is not None
    other = ask_elsewhere(port) if asks and port.port.startswith("/") else None
    if other is None:
        yield told(
            name,
            f"{port.port} is open and silent"
            + (", though it was asked" if asks else ""),
            wake(port, asks),
        )
        return
    settings, evidence = other
    yield fault(
        name,
        f"{port.port} does not answer at {port.baud} baud as the settings say, and does"
        " otherwise",
        "this would fit what is heard:"
        f" {settings_text(settings)}{_take_out(port, settings)}",
        evidence=evidence,
        proposal=settings,
    )


def wake(port: PortSettings, asks: bool, *, held: bool = False) -> str:
    """What to do about an instrument that says nothing. held: by the daemon, which
    hears one speed only."""
    known = FORMATS[port.format]
    if known.query is not None:
        do = known.port.when_silent
    elif port.asking == "button":
        return (
            "press its button while it is listened to: sweepgauge doctor --seconds 15"
        )
    elif port.pins:
        if "req" in port.pins:
            return (
                "is it on; does REQ reach its contact, and CK? A slow one wants timeout"
                " = 2.5; one that moves may not answer"
            )
        return (
            "is it on; do clock and ground reach its contacts? A clock that never"
            " changes is no clock"
        )
    elif known.port.when_silent:
        return known.port.when_silent
    else:
        do = (
            "switch the instrument on, or press its send button; is its cable firm?"
            + ("" if asks else f" {ASKED}")
        )
    if held and (asks or known.query is not None):
        do += " To have it asked at other speeds, stop the daemon and look again"
    return do


def wrong(
    name: str,
    port: PortSettings,
    data: bytes,
    heard: Listening,
    faults: Counter[str] | None = None,
) -> Iterator[Matter]:
    """Bytes come, and they are not what the settings say. faults: why frames were
    rejected, read as the settings say."""
    speaks = f"of the format {port.format}" + (
        f", profile {port.profile}" if port.profile else ""
    )
    words = f"{port.port}: {len(data)} bytes that are not {speaks}"
    proposal = heard.proposal
    if faults and all(_OUTSIDE in why for why in faults):
        yield fault(
            name,
            f"{port.port}: its numbers are beyond range_mm:"
            f" {faults.most_common(1)[0][0]}",
            "bring it back into that range; or take out range_mm, or make it wider",
        )
        return
    why = tuple(
        f"{fault}, {many} times" for fault, many in (faults or Counter()).most_common(2)
    )
    known = FORMATS[port.format]
    if proposal is None and known.query is not None and known.diagnose is not None:
        other = known.diagnose(port.options, known.query.to_text(data))
        if other is not None and other.proposal is not None:
            do = f"this would fit what is heard: {settings_text(other.proposal)}"
            yield fault(name, words, do, evidence=why, proposal=other.proposal)
            return
    if proposal is None:
        yield _unknown(name, port, words, data, heard, why)
        return
    settings, evidence = dict(proposal.settings), proposal.evidence
    if "default_unit" in settings and "default_unit" in port.options:
        # its owner has said so already
        settings["default_unit"] = str(port.options["default_unit"])
    yield fault(
        name,
        words,
        "this would fit what is heard:"
        f" {settings_text(settings)}{_take_out(port, settings)}",
        evidence=evidence,
        proposal=settings,
    )


def _unknown(
    name: str,
    port: PortSettings,
    words: str,
    data: bytes,
    heard: Listening,
    why: tuple[str, ...],
) -> Matter:
    """Nothing here reads it. Lines of text at another speed: that speed first, or a
    report is of no use."""
    at = heard.text_at
    report = (
        'keep bytes for a report: `sweepgauge capture` ("The next one" in'
        " hw/INSTRUMENTS.md)"
    )
    if at is None:
        return fault(
            name,
            f"{words}: {data[:40]!r}",
            f"check baud rate, parity and format; {report}",
            evidence=why,
        )
    text = heard.heard.get(at) or data
    speed = {"baud": at} if at != port.baud else None
    return fault(
        name,
        f"{words}; they are lines of text at {at} baud: {text[:40]!r}",
        (f"write baud = {at}; " if speed else "")
        + "no profile reads such lines: see its menu for another way of sending; or"
        f" {report}",
        evidence=why if speed is None else (),
        proposal=speed,
    )


def _take_out(port: PortSettings, settings: Mapping[str, str | int]) -> str:
    """What stands in the settings and would be in the way of a proposal."""
    framing = {
        "bits": port.bits != 8,
        "parity": port.parity != "N",
        "stop": port.stop != 1,
    }
    had: list[str] = [
        key for key in ("parity7", "decimals", "judged") if key in port.options
    ]
    had += [key for key, said in framing.items() if said]
    extra = [key for key in had if key not in settings]
    return f"; and take out {', '.join(extra)}" if extra else ""


def _look_further(port: PortSettings, data: bytes) -> Listening:
    as_set = Listening(
        {port.baud: data}, judge(data, port.baud), port.baud if is_text(data) else None
    )
    if not port.port.startswith("/"):
        return as_set
    request = port.request.encode("ascii") if port.request else None
    try:
        with open_line(port.port, port.baud) as line:
            return listen(line, port.baud, request=request)
    except (OSError, ValueError):
        return as_set


def _unnamed(cable: Found, user: User) -> list[Matter]:
    return list(_proposed(cable, user))


def _proposed(cable: Found, user: User) -> Iterator[Matter]:
    """A cable that the settings do not name: what would it be?"""
    if holders_of(cable.device) or may_open(cable.device, user) is not None:
        return
    try:
        with open_line(cable.name, 9600) as line:
            heard = listen(line)
    except (OSError, ValueError) as error:
        yield told("port", f"{cable.name} cannot be listened to: {error}")
        return
    if heard.proposal is not None:
        settings: dict[str, str | int] = {"port": cable.name, **heard.proposal.settings}
        yield told(
            "port",
            f"{cable.name}: an instrument speaks there that the settings do not name",
            "to read it, under [indicator], [travel] or [caliper]:"
            f" {settings_text(settings)}",
            evidence=heard.proposal.evidence,
            proposal=settings,
        )
    elif heard.silent:
        asked = " or ".join(
            f'format = "{known.name}"' for known in FORMATS.values() if known.query
        )
        yield told(
            "port",
            f"{cable.name} is silent",
            "press the instrument's send button and look again. One that is asked, or"
            " has registers, is heard once the settings name it:"
            f" {ASKED.removeprefix('One that is asked needs ')}; {asked}",
        )
    else:
        speeds = ", ".join(f"{speed}" for speed, data in heard.heard.items() if data)
        at = heard.text_at
        said = (
            f"{cable.name}: something is sent, but nothing known is heard at {speeds}"
            " baud"
        )
        settings = {"port": cable.name, "baud": at or next(iter(heard.heard))}
        yield told(
            "port",
            (
                said
                if at is None
                else f"{said}; it is text at {at}: {heard.heard[at][:40]!r}"
            ),
            f"to keep bytes for a report: sweepgauge capture {cable.name} --baud"
            f' {settings["baud"]} --seconds 10 --save mine.json ("The next one" in'
            " hw/INSTRUMENTS.md)",
            proposal=settings if at is not None else None,
        )


def _why_not(name: str, port: PortSettings, user: User) -> Matter | None:
    path, kind = Path(port.port), FORMATS[port.format].port
    if not path.exists():
        return fault(
            name,
            f"{path} is not there",
            f"is the cable plugged in? ls -l {kind.folder}",
        )
    if (denied := may_open(path, user)) is not None:
        return denied
    if kind.serial_line and not is_pseudo(path) and (holders := holders_of(path)):
        return fault(
            name, f"{path} is held by {', '.join(holders)}", "close that program"
        )
    if kind.serial_line and not path.is_char_device():
        what = "a folder" if path.is_dir() else "a file"
        return fault(
            name,
            f"{path} is {what}, not a serial port",
            "name a device: ls -l /dev/serial/by-id",
        )
    return None

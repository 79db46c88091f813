"""The instruments as they are heard here, without a daemon: each port opened as the settings say, for a moment.

Only ports that nobody holds are opened; nothing is sent but the request that the settings name. May import:
bench.doctor, bench.settings (types), hw.
"""

from __future__ import annotations

import os
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from bench.doctor.matter import Matter, fault, good, told
from bench.doctor.ports import Found
from bench.doctor.rights import User, may_open
from bench.doctor.stream import rate_of, stream
from bench.settings import PortSettings
from bench.units import System
from hw.formats import make_decoder
from hw.holders import holders_of, is_pseudo
from hw.listening import Listening, is_text, judge, listen, open_line, settings_text
from hw.reading import FormatError

LISTEN = 1.5  # s
LOOK = 0.05  # s

Wired = Sequence[tuple[str, PortSettings]]


def heard_here(
    wired: Wired, found: Sequence[Found], user: User, spacing: float, units: System
) -> list[Matter]:
    """All ports at once, as each takes a second or two; in the order of the settings."""
    named = {os.path.realpath(port.port) for _, port in wired}
    others = [cable for cable in found if str(cable.device) not in named]
    with ThreadPoolExecutor(max_workers=8) as pool:
        jobs = [pool.submit(_wired, name, port, user, spacing, units) for name, port in wired]
        jobs += [pool.submit(_unnamed, cable, user) for cable in others]
        return [matter for job in jobs for matter in job.result()]


def _wired(name: str, port: PortSettings, user: User, spacing: float, units: System) -> list[Matter]:
    return list(_heard(name, port, user, spacing, units))


def _heard(name: str, port: PortSettings, user: User, spacing: float, units: System) -> Iterator[Matter]:
    if not port.port:
        yield told(name, f"it is on pins, which only the daemon reads: {port.pins}")
        return
    if port.port.startswith("/"):
        refused = _why_not(name, port.port, user)
        if refused is not None:
            yield refused
            return
    try:
        data, times, values, rejects = _take(port)
    except FormatError as error:
        yield fault(name, str(error), "mend the option in the settings")
        return
    except (OSError, ValueError) as error:
        yield fault(name, f"{port.port}: {error}", "mend the port in the settings, or close what holds it")
        return
    if not data:
        yield told(
            name,
            f"{port.port} is open and silent",
            "switch the instrument on, or press its send button; one that is asked needs request in the settings",
        )
        return
    if values and len(values) >= rejects:
        mark = f", {rejects} rejected" if rejects else ""
        yield good(name, f"{port.port}: {len(values)} readings in {LISTEN:g} s{mark}")
        yield from stream(name, rate_of(times), values, spacing, units)
        return
    yield from wrong(name, port, data, _look_further(port, data))


def wrong(name: str, port: PortSettings, data: bytes, heard: Listening) -> Iterator[Matter]:
    """Bytes come, and they are not what the settings say."""
    speaks = f"format {port.format}" + (f", profile {port.profile}" if port.profile else "")
    words = f"{port.port}: {len(data)} bytes that are not {speaks}"
    proposal = heard.proposal
    if proposal is None:
        text = "" if heard.text_at is None else f"; they are lines of text at {heard.text_at} baud"
        yield fault(
            name,
            f"{words}: {data[:40]!r}{text}",
            ("check the profile" if text else "check baud rate, parity and format")
            + "; `sweepgauge capture` keeps bytes for a report",
        )
        return
    yield fault(
        name,
        words,
        f"this would fit what is heard: {settings_text(proposal.settings)}",
        evidence=proposal.evidence,
        proposal=proposal.settings,
    )


def _take(port: PortSettings) -> tuple[bytes, list[float], list[float], int]:
    """Listen as the daemon would: what came, when each reading did, the readings, how many rejects."""
    import serial

    options: dict[str, object] = dict(port.options)
    if port.format == "line":
        options.setdefault("at_open", True)
    decoder = make_decoder(port.format, options)
    heard, times, values = bytearray(), [], []
    with serial.serial_for_url(
        port.port,
        baudrate=port.baud,
        bytesize=port.bits,
        parity=port.parity,
        stopbits=port.stop,
        timeout=LOOK,
        **({"exclusive": True} if port.port.startswith("/") else {}),
    ) as opened:
        asked, end = 0.0, time.monotonic() + LISTEN
        while (now := time.monotonic()) < end:
            if port.request and now - asked > 0.1:
                asked = now
                opened.write(port.request.encode("ascii"))
            data = opened.read(1)
            data += opened.read(opened.in_waiting or 0)
            heard += data
            for record in decoder.feed(data):
                if record.value is not None:
                    times.append(time.monotonic())
                    values.append(record.value)
    return bytes(heard), times, values, decoder.rejects


def _look_further(port: PortSettings, data: bytes) -> Listening:
    as_set = Listening({port.baud: data}, judge(data, port.baud), port.baud if is_text(data) else None)
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
            f"to read it, under [indicator], [travel] or [caliper]: {settings_text(settings)}",
            evidence=heard.proposal.evidence,
            proposal=settings,
        )
    elif heard.silent:
        yield told("port", f"{cable.name} is silent", "press the instrument's send button and look again")
    else:
        speeds = ", ".join(f"{speed}" for speed, data in heard.heard.items() if data)
        yield told("port", f"{cable.name}: something is sent, but nothing known is heard at {speeds} baud")


def _why_not(name: str, port: str, user: User) -> Matter | None:
    path = Path(port)
    if not path.exists():
        return fault(name, f"{port} is not there", "is the cable plugged in? ls -l /dev/serial/by-id")
    if (denied := may_open(path, user)) is not None:
        return denied
    if not is_pseudo(path) and (holders := holders_of(path)):
        return fault(name, f"{port} is held by {', '.join(holders)}", "close that program")
    return None

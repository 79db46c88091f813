"""The daemon asked over its socket: it holds the ports, so it does the listening."""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Iterator
from pathlib import Path

from bench.doctor.instruments import LISTEN, Wish, wake, wrong
from bench.doctor.matter import Matter, fault, good, told
from bench.doctor.rights import group_of
from bench.doctor.stream import rate_of, stream
from bench.doctor.taken import Taken, dumb, remarks
from bench.doctor.unread import unread_matter
from bench.protocol import (
    Capture,
    Done,
    GetStatus,
    InstrumentState,
    RawBytes,
    Readings,
    Rejected,
    StatusReply,
    Watch,
)
from bench.protocol.client import PATIENCE, Gone, NoDaemon, Refused, WireClient
from bench.settings.settings_file import PortSettings
from bench.units import System
from hw.discovery.listening import Listening, is_text, judge
from hw.formats import FORMATS

# of a client's patience; a daemon that hangs is restarted by its watchdog in less
MOST_SILENCES = 6
BAD_SHARE = 0.01  # of the frames, and the wire is looked at
GOOD = ("open", "marks")


class Hangs(Exception):
    """The daemon's connection is open, and nothing comes of it."""


class Patience:
    """What a client does each time the daemon was slow: in the end that is what the
    doctor has to tell."""

    def __init__(self) -> None:
        self.silences = 0

    def __call__(self) -> None:
        self.silences += 1
        if self.silences == MOST_SILENCES:
            raise Hangs(
                f"it is there and has not answered for {MOST_SILENCES * PATIENCE:.0f} s"
            )


def socket_matter(path: Path) -> Matter | None:
    """A socket that is there and answers nobody."""
    if not path.exists():
        return None
    if not stat.S_ISSOCK(path.stat().st_mode):
        return fault(
            "socket",
            f"{path} is there and is not a socket",
            "remove it, or name another with --socket",
        )
    if not os.access(path, os.R_OK | os.W_OK):
        group = group_of(path)
        return fault(
            "socket",
            f"{path} may not be opened by this user; its group, {group}, may",
            (
                "its daemon was started by root: end that one, and start the service or"
                " one of your own"
                if group == "root"
                else f"sudo adduser $USER {group}, then log out and in again"
            ),
        )
    return told(
        "socket",
        f"{path} is left over from a daemon that was killed; the next one clears it"
        " away",
    )


def asked(
    client: WireClient,
    ports: dict[str, PortSettings],
    spacing: float,
    units: System,
    *,
    asked: bool = False,
    seconds: float | None = None,
) -> Iterator[Matter]:
    """What the daemon says, and what its instruments sound like for a moment. Raises
    Gone, NoDaemon, Refused.

    asked: the user named the spacing. seconds: to listen; LISTEN where it is not said.
    """
    wish = Wish(spacing, units, asked, LISTEN if seconds is None else seconds)
    heard = _watch(client, wish.seconds)
    reply = client.ask(
        GetStatus(), StatusReply
    )  # after listening: an instrument may just have been switched on
    yield good(
        "daemon", f"{reply.program} (process {client.version.pid}) at {client.path}"
    )
    if reply.log_state != "not-recorded":
        yield good("log", f"{reply.log}: what is measured is recorded")
    else:
        yield fault(
            "log",
            f"{reply.log}: {reply.recording}",
            "see disk below; measuring goes on meanwhile",
        )
    for words in reply.notes:
        yield told("daemon", words)
    pushed = any(
        one.role == "travel" and one.state != "marks" for one in reply.instruments
    )
    for one in reply.instruments:
        yield from _instrument(
            client,
            one,
            heard.get(one.name, Taken()),
            ports.get(one.name),
            wish,
            pushed and one.role != "caliper",
        )


def _watch(client: WireClient, seconds: float) -> dict[str, Taken]:
    """What each instrument says for a moment."""
    out: dict[str, Taken] = {}
    client.ask(Watch(on=True), Done)
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        message = client.next(left)
        if isinstance(message, Readings):
            heard = out.setdefault(message.instrument, Taken())
            heard.times += message.at
            heard.values += message.values
            heard.shown.add(message.unit)
            heard.flags.update({flag: len(message.values) for flag in message.flags})
        elif isinstance(message, Rejected):
            heard = out.setdefault(message.instrument, Taken())
            if message.status is not None:
                heard.statuses[message.status] += 1
            elif message.fault is not None:
                heard.faults[message.fault] += 1
    client.ask(Watch(on=False), Done)
    return out


def _instrument(
    client: WireClient,
    one: InstrumentState,
    heard: Taken,
    port: PortSettings | None,
    wish: Wish,
    swept: bool,
) -> Iterator[Matter]:
    words = one.words.removeprefix(f"The {one.name} ")
    if one.state == "open" and not (heard.values or heard.statuses):
        before = "" if one.age is None else f", the last reading {one.age:.0f} s ago"
        yield told(
            one.name,
            f"{words.rstrip('.')}, and nothing came in {wish.seconds:g} s{before}",
            wake(
                port or PortSettings(),
                port is not None and port.request is not None,
                held=True,
            ),
        )
    elif one.spoiled or one.state == "no-reading":
        pass  # told below, by what was heard
    elif one.state in GOOD:
        yield good(one.name, words)
    elif (
        one.state in ("garbled", "flooding")
        and port is not None
        and not FORMATS[port.format].port.serial_line
    ):
        yield unread_matter(one.name, port, _capture(client, one.name), heard.faults)
    elif one.state in ("garbled", "flooding") and port is not None:
        data = _capture(client, one.name)
        if (query := FORMATS[port.format].query) is not None:
            data = query.from_text(data)
        at = port.baud if is_text(data) else None
        found = Listening({port.baud: data}, judge(data, port.baud), at)
        yield from wrong(one.name, port, data, found, heard.faults)
        yield told(
            one.name, words, "to try other speeds, stop the daemon and look again"
        )
    elif one.state == "silent":
        asks = port is not None and port.request is not None
        yield told(one.name, words, wake(port or PortSettings(), asks, held=True))
    else:
        yield fault(one.name, words, _REMEDY.get(one.state, "see the words"))
    if heard.statuses and not heard.values:
        yield fault(one.name, *dumb(one.port, heard))
    elif one.state == "no-reading" and not heard.values:
        yield fault(one.name, words, "see what its display says")
    else:
        yield from remarks(one.name, port or PortSettings(), heard)
    yield from stream(
        one.name,
        rate_of(heard.times) or one.rate,
        heard.values,
        wish.spacing,
        wish.units,
        swept=swept,
        asked=wish.asked and one.state == "open" and one.role != "caliper",
    )
    frames = one.rejects + one.readings
    if one.rejects and one.state in GOOD:
        share = one.rejects / max(1, frames)
        refused = f"{one.rejects} of {frames} frames were rejected since it was opened"
        if share < BAD_SHARE:
            yield told(one.name, refused)
        else:
            yield fault(
                one.name,
                refused,
                "check the cable, its length and what runs beside it; `sweepgauge"
                " capture` keeps bytes for a report",
            )
    if one.held:
        many = "1 reading" if one.held == 1 else f"{one.held} readings"
        yield told(
            one.name,
            f"{many} leapt and came back, as when a bit flips on the line: not used",
        )


_REMEDY = {
    "absent": "ls -l /dev/serial/by-id shows what is plugged in",
    "busy": "close the program that holds it",
    "denied": (
        "sudo adduser sweepgauge dialout (or the user that runs the daemon), then start"
        " it again"
    ),
}


def _capture(client: WireClient, name: str) -> bytes:
    out = bytearray()
    client.ask(Capture(name), Done)
    end = time.monotonic() + LISTEN
    while (left := end - time.monotonic()) > 0:
        message = client.next(left)
        if isinstance(message, RawBytes) and message.instrument == name:
            out += bytes.fromhex(message.hex)
    client.ask(Capture(name, on=False), Done)
    return bytes(out)


__all__ = ["Gone", "NoDaemon", "Refused", "WireClient", "asked", "socket_matter"]

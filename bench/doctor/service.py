"""The daemon asked over its socket: it holds the ports, so it does the listening.

May import: bench.client, bench.doctor, bench.settings (types), bench.wire, hw.listening.
"""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Iterator
from pathlib import Path

from bench.client import Gone, NoDaemon, Refused, WireClient
from bench.doctor.instruments import LISTEN, wrong
from bench.doctor.matter import Matter, fault, good, told
from bench.doctor.stream import rate_of, stream
from bench.doctor.taken import Taken, dumb, remarks
from bench.settings import PortSettings
from bench.units import System
from bench.wire import (
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
from hw.listening import Listening, is_text, judge

BAD_SHARE = 0.01  # of the frames, and the wire is looked at
GOOD = ("open", "marks")


def socket_matter(path: Path) -> Matter | None:
    """A socket that is there and answers nobody."""
    if not path.exists():
        return None
    if not stat.S_ISSOCK(path.stat().st_mode):
        return fault(
            "socket", f"{path} is there and is not a socket", "remove it, or name another with --socket"
        )
    if not os.access(path, os.R_OK | os.W_OK):
        return fault(
            "socket",
            f"{path} may not be opened by this user; its group may",
            "sudo adduser $USER sweepgauge, then log out and in again",
        )
    return told("socket", f"{path} is left over from a daemon that was killed; the next one clears it away")


def asked(
    client: WireClient, ports: dict[str, PortSettings], spacing: float, units: System
) -> Iterator[Matter]:
    """What the daemon says, and what its instruments sound like for a moment. Raises Gone, NoDaemon, Refused."""
    heard = _watch(client)
    reply = client.ask(
        GetStatus(), StatusReply
    )  # after listening: an instrument may just have been switched on
    assert isinstance(reply, StatusReply)
    yield good("daemon", f"{reply.program} (process {client.version.pid}) at {client.path}")
    if reply.recording == "recording":
        yield good("log", f"{reply.log}: what is measured is recorded")
    else:
        yield fault("log", f"{reply.log}: {reply.recording}", "see disk below; measuring goes on meanwhile")
    for words in reply.notes:
        yield told("daemon", words)
    pushed = any(one.role == "travel" and one.state != "marks" for one in reply.instruments)
    for one in reply.instruments:
        yield from _instrument(
            client,
            one,
            heard.get(one.name, Taken()),
            ports.get(one.name),
            spacing,
            units,
            pushed and one.role != "caliper",
        )


def _watch(client: WireClient) -> dict[str, Taken]:
    """What each instrument says for a moment."""
    out: dict[str, Taken] = {}
    client.ask(Watch(on=True), Done)
    end = time.monotonic() + LISTEN
    while (left := end - time.monotonic()) > 0:
        message = client.next(left)
        if isinstance(message, Readings):
            heard = out.setdefault(message.instrument, Taken())
            heard.times += message.at
            heard.values += message.values
            heard.shown.add(message.unit)
            heard.flags.update({flag: len(message.values) for flag in message.flags})
        elif isinstance(message, Rejected) and message.status is not None:
            out.setdefault(message.instrument, Taken()).statuses[message.status] += 1
    client.ask(Watch(on=False), Done)
    return out


def _instrument(
    client: WireClient,
    one: InstrumentState,
    heard: Taken,
    port: PortSettings | None,
    spacing: float,
    units: System,
    swept: bool,
) -> Iterator[Matter]:
    words = one.words.removeprefix(f"{one.name}: ")
    if one.state == "open" and not (heard.values or heard.statuses):
        before = "" if one.age is None else f", the last reading {one.age:.0f} s ago"
        yield told(
            one.name,
            f"{words.rstrip('.')}, and nothing came in {LISTEN:g} s{before}",
            "switch it on, or press its send button; is its cable firm?",
        )
    elif one.state in GOOD:
        yield good(one.name, words)
    elif one.state in ("garbled", "flooding") and port is not None:
        data = _capture(client, one.name)
        at = port.baud if is_text(data) else None
        yield from wrong(one.name, port, data, Listening({port.baud: data}, judge(data, port.baud), at))
        yield told(one.name, words, "to try other speeds, stop the daemon and look again")
    elif one.state == "silent":
        yield told(one.name, words, "switch it on, or press its send button; is its cable firm?")
    else:
        yield fault(one.name, words, _REMEDY.get(one.state, "see the words"))
    if heard.statuses and not heard.values:
        yield fault(one.name, *dumb(one.port, heard))
    else:
        yield from remarks(one.name, port or PortSettings(), heard)
    yield from stream(one.name, rate_of(heard.times) or one.rate, heard.values, spacing, units, swept=swept)
    frames = one.rejects + one.readings
    if one.rejects and one.state in GOOD:
        share = one.rejects / max(1, frames)
        refused = f"{one.rejects} of {frames} frames were rejected"
        if share < BAD_SHARE:
            yield told(one.name, refused)
        else:
            yield fault(
                one.name,
                refused,
                "check the cable, its length and what runs beside it; `sweepgauge capture` keeps bytes for a report",
            )
    if one.held:
        yield told(
            one.name,
            f"{one.held} readings were well formed and went where nothing goes: held back, as a bit flipped",
        )


_REMEDY = {
    "absent": "is the cable plugged in? ls -l /dev/serial/by-id",
    "busy": "close the program that holds it",
    "denied": "sudo adduser sweepgauge dialout (or the user that runs the daemon), then start it again",
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

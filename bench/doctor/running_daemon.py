"""The running daemon, asked over its socket: it holds the ports and listens for us."""

from __future__ import annotations

import os
import stat
import time
from collections.abc import Iterator, Mapping
from pathlib import Path

import msgspec

from bench import protocol
from bench.doctor.diagnostic import LISTEN, Diagnostic, ListeningOptions, diagnosis
from bench.doctor.format_mismatch import diagnose_bytes, diagnose_frames, heard_as_set
from bench.doctor.observation import (
    Observation,
    diagnose_no_reading,
    diagnose_observation,
)
from bench.doctor.rights import group_of, join_advice, this_user
from bench.doctor.silent_instrument import silence_advice
from bench.doctor.stream_figures import rate_of, stream_figures
from bench.protocol.client import WireClient
from bench.render.wording import without_name
from bench.settings.settings_file import PortSettings
from hw.formats import FORMATS
from hw.timeouts import ANSWER_S, HANG_SILENCES

BAD_SHARE = 0.01  # of the frames rejected, from which on it is a fault of the wire
GOOD_STATES = ("open", "marks")


class DaemonHangs(Exception):
    """The daemon's connection is open, and nothing comes of it."""


class SlowAnswers:
    """Called each time the daemon was slow. Raises Hangs in the end."""

    def __init__(self) -> None:
        self.silences = 0

    def __call__(self) -> None:
        self.silences += 1
        if self.silences == HANG_SILENCES:
            raise DaemonHangs(
                f"it is there and has not answered for {HANG_SILENCES * ANSWER_S:.0f} s"
            )


def diagnose_socket(path: Path) -> Diagnostic | None:
    """A socket that is there and answers nobody."""
    try:
        mode = path.stat().st_mode
    except PermissionError:
        return _closed_to_us(path, group_of(path.parent))
    except OSError:
        return None
    if not stat.S_ISSOCK(mode):
        return diagnosis("socket", "not-a-socket", path=path)
    if not os.access(path, os.R_OK | os.W_OK):
        return _closed_to_us(path, group_of(path))
    return diagnosis("socket", "socket-left", path=path)


def _closed_to_us(path: Path, group: str) -> Diagnostic:
    user = this_user()
    advice = join_advice(user, group)
    if group == "root":
        advice = (
            "its daemon was started by root: end that one; start the service, or one"
            " of your own"
        )
    return diagnosis("socket", "socket-denied", path=path, group=group, advice=advice)


def diagnose_daemon(
    client: WireClient, ports: Mapping[str, PortSettings], options: ListeningOptions
) -> Iterator[Diagnostic]:
    """What the daemon says, and what its instruments send while it is watched. Raises
    Gone, NoDaemon, Refused."""
    seen = _watch(client, options.seconds)
    # after the watch: an instrument may just have been switched on
    reply = client.ask(protocol.GetStatus(), protocol.StatusReply)
    program, process = reply.program, client.version.pid
    yield diagnosis(
        "daemon", "daemon-runs", program=program, process=process, socket=client.path
    )
    if reply.log_state != "not-recorded":
        yield diagnosis("log", "log-recorded", log=reply.log)
    else:
        recording = reply.recording
        yield diagnosis("log", "log-not-recorded", log=reply.log, recording=recording)
    for words in reply.notes:
        yield diagnosis("daemon", "daemon-note", words=words)
    states = reply.instruments
    pushed = any(one.role == "travel" and one.state != "marks" for one in states)
    for one in states:
        yield from _instrument(
            client, one, seen.get(one.name, Observation()), ports, options, pushed
        )


def _instrument(
    client: WireClient,
    one: protocol.InstrumentState,
    seen: Observation,
    ports: Mapping[str, PortSettings],
    options: ListeningOptions,
    pushed: bool,
) -> Iterator[Diagnostic]:
    port, carried = ports.get(one.name), one.role != "caliper"
    yield from _state(client, one, seen, port, options.seconds)
    yield from _readings(one, seen, port or PortSettings())
    named = options.spacing_named and one.state == "open" and carried
    yield from stream_figures(
        one.name,
        rate_of(seen.times) or one.rate,
        seen.values,
        options._replace(spacing_named=named),
        swept=pushed and carried,
    )
    yield from _frame_counts(one)


def _listen(
    client: WireClient, to: protocol.Watch | protocol.Capture, seconds: float
) -> Iterator[protocol.Message | None]:
    """What the daemon tells for so long."""
    client.ask(to, protocol.Done)
    end = time.monotonic() + seconds
    while (left := end - time.monotonic()) > 0:
        yield client.next(left)
    client.ask(msgspec.structs.replace(to, on=False), protocol.Done)


def _watch(client: WireClient, seconds: float) -> dict[str, Observation]:
    """What each instrument sends for so long."""
    out: dict[str, Observation] = {}
    for message in _listen(client, protocol.Watch(on=True), seconds):
        if isinstance(message, protocol.Readings | protocol.RejectedFrame):
            _note(out.setdefault(message.instrument, Observation()), message)
    return out


def _note(
    seen: Observation, message: protocol.Readings | protocol.RejectedFrame
) -> None:
    if isinstance(message, protocol.Readings):
        seen.times += message.at
        seen.values += message.values
        seen.shown_units.add(message.unit)
        seen.flags.update({flag: len(message.values) for flag in message.flags})
    elif message.status is not None:
        seen.statuses[message.status] += 1
    elif message.fault is not None:
        seen.faults[message.fault] += 1


def _state(
    client: WireClient,
    one: protocol.InstrumentState,
    seen: Observation,
    port: PortSettings | None,
    seconds: float,
) -> Iterator[Diagnostic]:
    """The state of an instrument as the daemon has it, and what would mend it."""
    words = without_name(one.name, one.words)
    asks = port is not None and port.request is not None
    silent = silence_advice(port or PortSettings(), asks, held=True)
    if one.state == "open" and not (seen.values or seen.statuses):
        yield diagnosis(
            one.name,
            "nothing-came",
            words=words.rstrip("."),
            seconds=seconds,
            before="" if one.age is None else f", the last reading {one.age:.0f} s ago",
            advice=silent,
        )
    elif one.spoiled or one.state == "no-reading":
        pass  # what it sends says why
    elif one.state in ("garbled", "flooding") and port is not None:
        yield from _unread(client, one, port, seen)
    elif one.state in GOOD_STATES:
        yield diagnosis(one.name, "state-good", words=words)
    elif one.state == "silent":
        yield diagnosis(one.name, "state-silent", words=words, advice=silent)
    else:
        advice = _REMEDY.get(one.state, "see the words")
        yield diagnosis(one.name, "state-bad", words=words, advice=advice)


def _unread(
    client: WireClient,
    one: protocol.InstrumentState,
    port: PortSettings,
    seen: Observation,
) -> Iterator[Diagnostic]:
    seen.text = seen.data = _capture(client, one.name)
    known = FORMATS[port.format]
    if not known.port.serial_line:
        yield diagnose_frames(one.name, port, seen.text, seen.faults)
        return
    if known.query is not None:
        seen.data = known.query.from_text(seen.text)
    yield diagnose_bytes(one.name, port, seen, heard_as_set(port, seen.data))
    yield diagnosis(one.name, "other-speeds", words=without_name(one.name, one.words))


def _readings(
    one: protocol.InstrumentState, seen: Observation, port: PortSettings
) -> Iterator[Diagnostic]:
    if seen.statuses and not seen.values:
        yield diagnose_no_reading(one.name, one.port, seen)
    elif one.state == "no-reading" and not seen.values:
        yield diagnosis(
            one.name, "instrument-says", words=without_name(one.name, one.words)
        )
    else:
        yield from diagnose_observation(one.name, port, seen)


def _frame_counts(one: protocol.InstrumentState) -> Iterator[Diagnostic]:
    """Rejected frames and readings that leapt, since the port was opened."""
    frames = one.rejects + one.readings
    if one.rejects and one.state in GOOD_STATES:
        code = "few" if one.rejects < BAD_SHARE * frames else "many"
        yield diagnosis(
            one.name, f"{code}-rejected", rejects=one.rejects, frames=frames
        )
    if one.held:
        many = "1 reading" if one.held == 1 else f"{one.held} readings"
        yield diagnosis(one.name, "leapt", many=many)


_REMEDY = {
    "absent": "ls -l /dev/serial/by-id shows what is plugged in",
    "busy": "close the program that holds it",
    "denied": (
        "sudo adduser sweepgauge dialout (or the daemon's user); then start it again"
    ),
}


def _capture(client: WireClient, name: str) -> bytes:
    """What comes for a moment, as the daemon gives it."""
    return b"".join(
        bytes.fromhex(message.hex)
        for message in _listen(client, protocol.Capture(name), LISTEN)
        if isinstance(message, protocol.RawBytes) and message.instrument == name
    )

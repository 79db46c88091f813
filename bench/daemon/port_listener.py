"""The serial ports of this machine, and one of them that is listened to before it is
known what hangs on it.

A thread opens it once, finds out by listening how it speaks, then reads it; what it
hears comes on the event loop. Nothing is ever sent.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import glob
import os
import re
import shlex
import threading
import time
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple

from bench.daemon.acquisition import Instrument
from bench.procedure.status_message import StatusMessage, status
from bench.protocol import Cable
from hw.discovery.holders import holders_of, is_pseudo
from hw.discovery.listening import ListeningResult, Proposal, listen, open_line
from hw.discovery.serial_cables import NAME_FOLDERS, find_cables
from hw.formats import FORMATS, make_decoder
from hw.port_names import NotAPort
from hw.timeouts import LISTENER_END_S, SILENT_S

LONGEST_PORT_NAME = 24  # characters of a port's name on the screen
MOST_PORTS = 32  # ports that are listened to at once
ENVIRONMENT = "SWEEPGAUGE_PORTS"
FRESH_S = 1.5  # s that a reading is told as the present one
GARBLED_RECORDS = 8  # rejects in a row: it was not understood after all


class NamedPort(NamedTuple):
    """A port: the name that stays, for the settings, and the device that it is now."""

    name: str
    device: str


ListPorts = Callable[[], list[NamedPort]]


def serial_ports(environ: Mapping[str, str] = os.environ) -> list[NamedPort]:
    """Every serial port there is, by its stable name where it has one.

    SWEEPGAUGE_PORTS names more, parted by blanks: paths, patterns with *, URLs of
    pyserial.
    """
    out = {
        str(found.device): NamedPort(found.name, str(found.device))
        for found in find_cables()
    }
    for device in _devices():
        out.setdefault(device, NamedPort(device, device))
    for word in shlex.split(environ.get(ENVIRONMENT, "")):
        for name in [word] if "://" in word else sorted(glob.glob(word)):
            device = name if "://" in name else os.path.realpath(name)
            out.setdefault(device, NamedPort(name, device))
    return [*out.values()][:MOST_PORTS]


def _devices() -> list[str]:
    """The serial ports by the names of the kernel, without that of its own console."""
    from serial.tools.list_ports import comports

    try:
        console = Path("/sys/class/tty/console/active").read_text().split()
    except OSError:
        console = []
    return [port.device for port in comports() if Path(port.device).name not in console]


def short_name(name: str) -> str:
    """The part of a port's name that tells it from others, without the folder."""
    short = name
    for folder in NAME_FOLDERS:
        short = short.removeprefix(f"/dev/{folder}/")
    if short == name and name.startswith("/"):
        short = Path(name).name
    short = re.sub(r"(-if\d+)?(-port\d+)?$", "", short.removeprefix("usb-"))
    most = LONGEST_PORT_NAME
    # a cable's number is at the end of its name
    return short if len(short) <= most else f"..{short[2 - most :]}"


# what is told of a port that cannot be opened, by the number of its error
PORT_DENIED = "denied", status("cable-denied")
PORT_BUSY = "busy", status("cable-busy")
COULD_NOT = {
    **dict.fromkeys((errno.EACCES, errno.EPERM), PORT_DENIED),
    **dict.fromkeys((errno.EBUSY, errno.EAGAIN), PORT_BUSY),
}


class _Stopped(OSError):
    """Raised in the thread when the port is to be let go."""


class PortListener:
    """One port that is listened to. on_readings: called on the loop with the listener,
    stamps and values of each block with readings."""

    def __init__(
        self,
        port: NamedPort,
        on_readings: Callable[[PortListener, list[float], list[float]], None],
    ) -> None:
        self.port = port
        self.state = "listening"
        self.remark = status("cable-listening")
        self.proposal: Proposal | None = None
        self.unit: str = "mm"
        self.value: float | None = None
        self.last: float | None = None
        self.lost = False  # it must be opened anew
        self._interval: float | None = None
        self._on_readings = on_readings
        self._loop = asyncio.get_running_loop()
        self._stop, self._ended = threading.Event(), asyncio.Event()
        threading.Thread(
            target=self._work, name=f"listen {port.name}", daemon=True
        ).start()

    async def stop(self) -> None:
        """After this the port is free, and nothing more is heard of it."""
        self._stop.set()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._ended.wait(), LISTENER_END_S)

    def tick(self, now: float) -> None:
        if self.last is None:
            return
        usual, silence = self._interval, now - self.last
        if self.state == "reads" and usual is not None and usual < 1.0:
            if silence > max(SILENT_S, 5 * usual):
                self.state, self.remark = "silent", status("cable-asleep")
        elif self.state == "silent" and silence < SILENT_S:
            self.state, self.remark = "reads", self._spoken()

    def cable(self, now: float) -> Cable:
        return Cable(
            port=self.port.name,
            name=short_name(self.port.name),
            state=self.state,
            remarks=[self.remark],
            value=self.value,
            unit=self.unit,
            age=None if self.last is None else age_told(now - self.last),
        )

    # ---- in the thread ---------------------------------------------------------------

    def _work(self) -> None:
        try:
            self._listen()
        except _Stopped:
            pass
        except Exception as error:
            # pyserial's back-ends raise whatever theirs raise; the port is gone or was
            # never one
            self._tell(self._could_not, error)
        finally:
            self._tell(self._ended.set)

    def _listen(self) -> None:
        device = self.port.device
        is_device = device.startswith("/") and not is_pseudo(device)
        if is_device and (holders := holders_of(device)):
            held = status("cable-held", holders=", ".join(holders))
            self._tell(self._become, "busy", held, True)
            return
        with open_line(self.port.name, 9600) as line:
            while True:
                heard = listen(line, clock=self._clock)
                if (proposal := heard.proposal) is None:
                    self._tell(self._become, *_not_heard(heard))
                else:
                    first = heard.heard.get(int(proposal.settings["baud"]), b"")
                    self._read(line, proposal, first)

    def _read(self, line: Any, proposal: Proposal, first: bytes) -> None:
        """Read until the bytes can no longer be decoded."""
        settings, many = proposal.settings, proposal.readings >= 3
        line.baudrate = int(settings["baud"])
        line.bytesize = int(settings.get("bits", 8))
        line.stopbits = int(settings.get("stop", 1))
        name = str(settings["format"])
        names = FORMATS[name].option_names
        options = {key: settings[key] for key in names if key in settings}
        decoder = make_decoder(name, options, from_middle=many)
        self._tell(self._understood, proposal)
        bad = 0
        # one line, sent by hand, is the reading; a stream goes on anyway
        data = first if not many else b""
        while bad < GARBLED_RECORDS:
            now, records = self._clock(), decoder.feed(data)
            good = [record for record in records if record.value is not None]
            rejects = sum(record.fault is not None for record in records)
            bad = 0 if good else bad + rejects
            if good:
                values = [record.value for record in good]
                self._tell(self._arrived, now, values, good[-1].unit)
            data = line.read(1) + line.read(line.in_waiting or 0)
        self._tell(self._become, "listening", status("cable-changed"))

    def _clock(self) -> float:
        """The time before each read; raises _Stopped where the port is to be let go."""
        if self._stop.is_set():
            raise _Stopped
        return time.monotonic()

    def _tell(self, call: Callable[..., None], *arguments: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is gone
            self._loop.call_soon_threadsafe(call, *arguments)

    # ---- on the loop -----------------------------------------------------------------

    def _become(self, state: str, remark: StatusMessage, lost: bool = False) -> None:
        self.state, self.remark, self.lost = state, remark, lost
        if state != "reads":
            self.value = self.last = None

    def _could_not(self, error: Exception) -> None:
        if isinstance(error, NotAPort):
            no_port = status("cable-no-port", why=str(error))
            self._become("away", no_port, True)
        else:
            gone = "away", status("cable-gone")
            number = getattr(error, "errno", None) or 0
            self._become(*COULD_NOT.get(number, gone), lost=True)

    def _understood(self, proposal: Proposal) -> None:
        self.proposal = proposal
        self._interval = None
        self._become("reads", self._spoken())

    def _spoken(self) -> StatusMessage:
        assert self.proposal is not None
        s = self.proposal.settings
        line = {"format": s.get("profile", s["format"]), "baud": s["baud"]}
        if "bits" in s:
            return status("cable-reads-seven", **line)
        if "parity7" in s:
            return status("cable-reads-parity", **line, parity=s["parity7"])
        return status("cable-reads", **line)

    def _arrived(self, now: float, values: list[float], unit: str) -> None:
        if self._stop.is_set():
            return
        many, span = len(values), 0.0
        if self.last is not None:
            gap, span = (now - self.last) / many, min(0.1, now - self.last)
            usual = self._interval
            self._interval = gap if usual is None else usual + (gap - usual) / 8
        stamps = [now - span * (many - 1 - n) / many for n in range(many)]
        self.value, self.unit, self.last = values[-1], unit, now
        self._on_readings(self, stamps, values)


def age_told(seconds: float) -> float:
    """Fresh, or whole seconds: what only gets older is not told ten times a second."""
    return 0.0 if seconds < FRESH_S else float(int(seconds))


# the state of a cable whose instrument is in that state; the others are named alike
CABLE_STATES = {
    **{"open": "reads", "absent": "away"},
    **dict.fromkeys(("garbled", "flooding"), "unknown"),
}


def wired_cable(one: Instrument) -> Cable:
    state, port = one.state_message(), one.settings.port
    return Cable(
        port,
        short_name(port),
        CABLE_STATES.get(state.state, state.state),
        state.words,
        state.value,
        state.unit,
        None if state.age is None else age_told(state.age),
        role=one.name,
    )


def _not_heard(heard: ListeningResult) -> tuple[str, StatusMessage]:
    if heard.silent:
        return "silent", status("cable-silent")
    if heard.text_at is not None:
        return "unknown", status("cable-text", baud=heard.text_at)
    return "unknown", status("cable-unknown")

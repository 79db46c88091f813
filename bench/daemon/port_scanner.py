"""Listens to every serial port that nobody holds, before it is known what hangs on it:
format, speed, readings.

A thread for each port opens it once, finds out by listening how it speaks, then reads
it; what it hears comes on the event loop. Ports are let go when nobody looks for cables
any more. Nothing is ever sent to them.
"""

from __future__ import annotations

import asyncio
import contextlib
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
from bench.doctor.ports import FOLDERS, find_ports
from bench.protocol import Cable
from hw.discovery.holders import holders_of, is_pseudo
from hw.discovery.listening import Listening, Proposal, listen, open_line
from hw.formats import FORMATS, make_decoder
from hw.port_names import NotAPort

LOOK = 1.0  # s between looks at what is plugged in
AGAIN = 1.0  # s until a port that could not be opened is tried again
QUIET = 2.0  # s without a reading, where readings came by themselves
FRESH = 1.5  # s
LONGEST_NAME = 24
GARBLED = 8  # rejects in a row: it was not understood after all
MOST_NAMES = 32  # of a kind that are listened to at once
ENVIRONMENT = "SWEEPGAUGE_PORTS"


class Place(NamedTuple):
    """A port: the name that stays, for the settings, and the device that it is now."""

    name: str
    device: str


Places = Callable[[], list[Place]]


def places(environ: Mapping[str, str] = os.environ) -> list[Place]:
    """Every serial port there is, by its stable name where it has one.

    SWEEPGAUGE_PORTS names more, parted by blanks: paths, patterns with *, URLs of
    pyserial.
    """
    out = {
        str(found.device): Place(found.name, str(found.device))
        for found in find_ports()
    }
    for device in _devices():
        out.setdefault(device, Place(device, device))
    for word in shlex.split(environ.get(ENVIRONMENT, "")):
        for name in [word] if "://" in word else sorted(glob.glob(word)):
            device = name if "://" in name else os.path.realpath(name)
            out.setdefault(device, Place(name, device))
    return [*out.values()][:MOST_NAMES]


def _devices() -> list[str]:
    """What the kernel calls serial ports, without the one on which its own console is."""
    from serial.tools.list_ports import comports

    try:
        console = Path("/sys/class/tty/console/active").read_text().split()
    except OSError:
        console = []
    return [port.device for port in comports() if Path(port.device).name not in console]


def short_name(name: str) -> str:
    """What tells a cable from another, without the folder."""
    short = name
    for folder in FOLDERS:
        short = short.removeprefix(f"/dev/{folder}/")
    if short == name and name.startswith("/"):
        short = Path(name).name
    short = re.sub(r"(-if\d+)?(-port\d+)?$", "", short.removeprefix("usb-"))
    return (
        short if len(short) <= LONGEST_NAME else f"..{short[2 - LONGEST_NAME :]}"
    )  # its number is at its end


class _Stopped(OSError):
    """The port is to be let go."""


class Tapped:
    """One port that is listened to. `heard(self, stamps, values)` on the loop, for each
    block with readings."""

    def __init__(
        self, place: Place, heard: Callable[[Tapped, list[float], list[float]], None]
    ) -> None:
        self.place = place
        self.state = "listening"
        self.words = "It is listened to."
        self.proposal: Proposal | None = None
        self.unit: str = "mm"
        self.value: float | None = None
        self.last: float | None = None
        self.lost = False  # it must be opened anew
        self._interval: float | None = None
        self._heard = heard
        self._loop = asyncio.get_running_loop()
        self._stop = threading.Event()
        self._ended = asyncio.Event()
        threading.Thread(
            target=self._work, name=f"listen {place.name}", daemon=True
        ).start()

    async def stop(self) -> None:
        """After this the port is free, and nothing more is heard of it."""
        self._stop.set()
        with contextlib.suppress(TimeoutError):
            await asyncio.wait_for(self._ended.wait(), 2.0)

    def tick(self, now: float) -> None:
        usual = self._interval
        if (
            self.state == "reads"
            and self.last is not None
            and usual is not None
            and usual < 1.0
        ):
            if now - self.last > max(QUIET, 5 * usual):
                self.state, self.words = (
                    "silent",
                    "It has fallen silent: is the instrument asleep?",
                )
        elif (
            self.state == "silent" and self.last is not None and now - self.last < QUIET
        ):
            self.state, self.words = "reads", self._spoken()

    def said(self, now: float, role: str = "") -> Cable:
        return Cable(
            port=self.place.name,
            name=short_name(self.place.name),
            state=self.state,
            words=self.words,
            value=self.value,
            unit=self.unit,
            age=None if self.last is None else age_told(now - self.last),
            role=role,
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
        device = self.place.device
        if (
            device.startswith("/")
            and not is_pseudo(device)
            and (holders := holders_of(device))
        ):
            self._tell(
                self._become,
                "busy",
                f"It is held by {', '.join(holders)}: close that program.",
                True,
            )
            return
        with open_line(self.place.name, 9600) as line:
            while True:
                watched = _Watched(line, self._stop)
                heard = listen(watched)
                if heard.proposal is None:
                    self._tell(self._become, *_not_heard(heard))
                    continue
                self._read(
                    line,
                    heard.proposal,
                    heard.heard.get(int(heard.proposal.settings["baud"]), b""),
                )

    def _read(self, line: Any, proposal: Proposal, first: bytes) -> None:
        """Until it is not understood any more."""
        settings = proposal.settings
        line.baudrate = int(settings["baud"])
        line.bytesize, line.stopbits = (
            int(settings.get("bits", 8)),
            int(settings.get("stop", 1)),
        )
        name = str(settings["format"])
        options = {
            key: settings[key] for key in FORMATS[name].option_names if key in settings
        }
        many = proposal.readings >= 3
        decoder = make_decoder(name, options, from_middle=many)
        self._tell(self._understood, proposal)
        bad = 0
        # one line, sent by hand, is the reading; a stream goes on anyway
        data = first if not many else b""
        while True:
            if self._stop.is_set():
                raise _Stopped
            if not data:
                data = line.read(1) + line.read(line.in_waiting or 0)
            records = decoder.feed(data) if data else []
            data = b""
            good = [record for record in records if record.value is not None]
            rejects = sum(record.fault is not None for record in records)
            bad = 0 if good else bad + rejects
            if good:
                values = [record.value for record in good if record.value is not None]
                self._tell(self._arrived, time.monotonic(), values, good[-1].unit)
            if bad >= GARBLED:
                self._tell(
                    self._become,
                    "listening",
                    "What it sends has changed; it is listened to again.",
                )
                return

    def _tell(self, call: Callable[..., None], *arguments: object) -> None:
        with contextlib.suppress(RuntimeError):  # the loop is gone
            self._loop.call_soon_threadsafe(call, *arguments)

    # ---- on the loop -----------------------------------------------------------------

    def _become(self, state: str, words: str, lost: bool = False) -> None:
        self.state, self.words, self.lost = state, words, lost
        if state != "reads":
            self.value = self.last = None

    def _could_not(self, error: Exception) -> None:
        number = getattr(error, "errno", None)
        if isinstance(error, NotAPort):
            self._become("away", f"{error}.", True)
        elif number in {13, 1}:
            words = "It may not be opened: add the daemon's user to the group dialout."
            self._become("denied", words, True)
        elif number in {16, 11}:
            self._become("busy", "Another program holds it: close that program.", True)
        else:
            self._become("away", "It went away: was the cable pulled?", True)

    def _understood(self, proposal: Proposal) -> None:
        self.proposal = proposal
        self._interval = None
        self._become("reads", self._spoken())

    def _spoken(self) -> str:
        assert self.proposal is not None
        s = self.proposal.settings
        framing = f", {s['parity7']} parity over seven bits" if "parity7" in s else ""
        framing = ", seven bits and two stop bits" if "bits" in s else framing
        return (
            f"It reads: {s.get('profile', s['format'])} lines at {s['baud']}"
            f" baud{framing}."
        )

    def _arrived(self, now: float, values: list[float], unit: str) -> None:
        if self._stop.is_set():
            return
        if self.last is not None:
            gap = (now - self.last) / len(values)
            self._interval = (
                gap
                if self._interval is None
                else self._interval + (gap - self._interval) / 8
            )
        span = 0.0 if self.last is None else min(0.1, now - self.last)
        stamps = [
            now - span * (len(values) - 1 - n) / len(values) for n in range(len(values))
        ]
        self.value, self.unit, self.last = values[-1], unit, now
        self._heard(self, stamps, values)


def age_told(seconds: float) -> float:
    """Fresh, or whole seconds: what only gets older is not told ten times a second."""
    return 0.0 if seconds < FRESH else float(int(seconds))


def wired_cable(one: Instrument) -> Cable:
    said = one.said()
    state = {
        "open": "reads",
        "absent": "away",
        "garbled": "unknown",
        "flooding": "unknown",
    }.get(said.state, said.state)
    age = None if said.age is None else age_told(said.age)
    port = one.settings.port
    return Cable(
        port,
        short_name(port),
        state,
        said.words,
        said.value,
        said.unit,
        age,
        role=one.role,
    )


def _not_heard(heard: Listening) -> tuple[str, str]:
    if heard.silent:
        return (
            "silent",
            (
                "Nothing is sent: switch it on, let it send by itself, or press its"
                " send button."
            ),
        )
    if heard.text_at is not None:
        return (
            "unknown",
            f"Lines of text at {heard.text_at} baud, of a shape that is not known.",
        )
    return (
        "unknown",
        "Something is sent that nothing known reads; `sweepgauge doctor` says more.",
    )


class _Watched:
    """A line that stops being read when it is to be let go."""

    def __init__(self, line: Any, stop: threading.Event) -> None:
        self._line, self._stop = line, stop

    @property
    def baudrate(self) -> int:
        return int(self._line.baudrate)

    @baudrate.setter
    def baudrate(self, speed: int) -> None:
        self._line.baudrate = speed

    def read(self, size: int, /) -> bytes:
        if self._stop.is_set():
            raise _Stopped
        data: bytes = self._line.read(size)
        return data

    def reset_input_buffer(self) -> None:
        self._line.reset_input_buffer()


class PortScanner:
    """All ports that are listened to. `held`: devices that the daemon itself reads
    already."""

    def __init__(
        self,
        where: Places,
        held: Callable[[], set[str]],
        heard: Callable[[Tapped, list[float], list[float]], None],
    ) -> None:
        self._where, self._held, self._heard = where, held, heard
        self.tapped: dict[str, Tapped] = {}  # by device
        self.on = False
        self.looked = False  # once at the least since it was put on
        self._due = 0.0
        self._looking: asyncio.Task[None] | None = None
        self._again: dict[str, float] = {}

    def start(self) -> None:
        if not self.on:
            self.on, self.looked, self._due = True, False, 0.0

    async def stop(self) -> None:
        self.on = False
        if self._looking is not None:
            self._looking.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._looking
            self._looking = None
        tapped, self.tapped = [*self.tapped.values()], {}
        await asyncio.gather(*(one.stop() for one in tapped))

    async def release(self, port: str) -> Tapped | None:
        """Let go of one port, that the daemon may open it as an instrument; what was
        known of it."""
        for device, one in self.tapped.items():
            if one.place.name == port:
                del self.tapped[device]
                await one.stop()
                return one
        return None

    def tick(self, now: float) -> None:
        if not self.on:
            return
        for one in self.tapped.values():
            one.tick(now)
        if now >= self._due and (self._looking is None or self._looking.done()):
            self._due = now + LOOK
            self._looking = asyncio.get_running_loop().create_task(self._look())

    async def _look(self) -> None:
        found = {place.device: place for place in await asyncio.to_thread(self._where)}
        now = time.monotonic()
        held = self._held()
        for device, one in [*self.tapped.items()]:
            if device not in found or device in held or one.lost:
                del self.tapped[device]
                if one.lost and device in found:
                    self._again[device] = now + AGAIN
                await one.stop()
        for device, place in found.items():
            if (
                device not in self.tapped
                and device not in held
                and now >= self._again.get(device, 0.0)
            ):
                self.tapped[device] = Tapped(place, self._heard)
        self.looked = True

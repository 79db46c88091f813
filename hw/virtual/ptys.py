"""Instruments of the virtual saw on pseudo-terminals, with faults on demand.

They send in real time. What an instrument sends while nobody has its port open is lost,
as on a real cable; so are lines that the reader leaves unread.
"""

from __future__ import annotations

import asyncio
import contextlib
import fcntl
import os
import select
import struct
import termios
import time
import tty
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Literal

from .hands import Hands
from .saw import VirtualSaw

Encode = Callable[[float], bytes]
Mode = Literal["continuous", "button"]
# bytes that a reader may leave unread; of more the kernel shows only a part
UNREAD_LIMIT = 2000
LOOK_EVERY = 6  # lines between two looks at the reader; one costs as much as a reading
CALIPER_RATE = 10.0  # lines per second: hand tools send no faster
# s by which a reading is old when it is sent; invented
INDICATOR_AGE, TRAVEL_AGE, CALIPER_AGE = 0.015, 0.010, 0.05
BEHIND_LIMIT = 1.0  # s behind time, after which readings are left out


def plain_line(decimals: int = 3) -> Encode:
    """Encoder of `+0012.345 mm` CR LF: sign, 8 characters, unit."""

    def encode(mm: float) -> bytes:
        return b"%+09.*f mm\r\n" % (decimals, mm + 0.0)

    return encode


@dataclass
class VirtualPort:
    """The port of one instrument: a pseudo-terminal under a stable name.

    path: the symlink, the same after every replug. age: s by which a reading is old
    when it is sent. every: ticks between two of its lines. silent: it sends nothing.
    sent, lost: lines since the start. device: the terminal that the path points to,
    None while unplugged.
    """

    name: str
    path: Path
    read: Callable[[float], float]
    encode: Encode
    age: float
    every: int = 1
    mode: Mode = "continuous"
    silent: bool = False
    sent: int = 0
    lost: int = 0
    device: str | None = None
    _master: int = -1
    _poll: select.poll = field(default_factory=select.poll)
    _listened: bool = False
    _keeps_up: bool = False
    _device_had: str = ""

    def plug(self) -> None:
        """Open a pseudo-terminal (another one than before) and point the stable name at
        it."""
        if self._master >= 0:
            return
        master, slave = self._other_terminal()
        self.device = self._device_had = os.ttyname(slave)
        tty.setraw(slave)
        # the settings stay with the master; a hang-up there says that nobody listens
        os.close(slave)
        os.set_blocking(master, False)
        self._master, self._listened = master, False
        self._poll.register(master, 0)
        passing = self.path.with_name(self.path.name + ".new")
        passing.unlink(missing_ok=True)
        passing.symlink_to(self.device)
        passing.replace(self.path)

    def _other_terminal(self) -> tuple[int, int]:
        """Both ends of a terminal under another name than before."""
        first = os.openpty()
        if os.ttyname(first[1]) != self._device_had:
            return first
        try:
            return os.openpty()
        finally:
            for fd in first:
                os.close(fd)

    def unplug(self) -> None:
        """Pull the cable: the reader sees a hang-up, the name goes."""
        self.path.unlink(missing_ok=True)
        if self._master >= 0:
            self._poll.unregister(self._master)
            os.close(self._master)
        self._master, self.device = -1, None

    def send(self, data: bytes, *, look: bool = True) -> bool:
        """Write bytes if somebody listens and keeps up; else they are lost.

        look: find out first whether that is so; otherwise the last look counts.
        """
        if self._master < 0:
            return False
        with contextlib.suppress(OSError):
            if look:
                self._look()
            if self._listened and self._keeps_up:
                return os.write(self._master, data) == len(data)
        return False

    def _look(self) -> None:
        listened = not any(event & select.POLLHUP for _, event in self._poll.poll(0))
        if self._listened and not listened:
            self._flush()
        self._listened = listened
        self._keeps_up = listened and self._unread() <= UNREAD_LIMIT

    def drain(self) -> None:
        """Read and drop what the host sent."""
        if self._master >= 0 and self._listened:
            with contextlib.suppress(OSError):
                os.read(self._master, 4096)

    def _unread(self) -> int:
        # only the reader's end knows; the master's own count is always 0
        with self._readers_end() as slave:
            answer = fcntl.ioctl(slave, termios.FIONREAD, b"\0\0\0\0")
        return int(struct.unpack("i", answer)[0])

    def _flush(self) -> None:
        """Drop what the last reader left unread when it closed the port."""
        with self._readers_end() as slave:
            termios.tcflush(slave, termios.TCIOFLUSH)

    @contextlib.contextmanager
    def _readers_end(self) -> Iterator[int]:
        slave = os.open(self.device or "", os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            yield slave
        finally:
            os.close(slave)


class VirtualPorts:
    """The saw's instruments as serial ports: "indicator" and "travel", and "caliper"
    where it is asked for.

    directory: where the stable names are made. rate: lines per second of each; modes:
    "continuous" (the default) or "button" by name. encode_*: mm -> the bytes of one
    reading. Errors in a read or an encode stop the sending and are raised by `stop`.
    """

    def __init__(
        self,
        saw: VirtualSaw,
        hands: Hands,
        directory: str | os.PathLike[str],
        rate: float = 120.0,
        *,
        encode_indicator: Encode | None = None,
        encode_travel: Encode | None = None,
        modes: Mapping[str, Mode] | None = None,
        caliper: bool = False,
    ) -> None:
        self.saw = saw
        self.hands = hands
        self.rate = rate
        self.directory = Path(directory)
        indicator = (hands.indicator_at, encode_indicator or plain_line())
        travel = (hands.travel_at, encode_travel or plain_line(2))
        instruments = {
            "indicator": (*indicator, INDICATOR_AGE, 1),
            "travel": (*travel, TRAVEL_AGE, 1),
        }
        if caliper:
            every = max(1, round(rate / CALIPER_RATE))
            felt = (hands.caliper_at, plain_line(2), CALIPER_AGE, every)
            instruments["caliper"] = felt
        self._ports = {
            name: VirtualPort(
                name, self.directory / f"usb-pretend-{name}-port0", *instrument
            )
            for name, instrument in instruments.items()
        }
        for name, mode in (modes or {}).items():
            self._port(name).mode = mode
        self._timer: asyncio.TimerHandle | None = None
        self._due = 0.0
        self._count = 0
        self._error: Exception | None = None

    @property
    def paths(self) -> dict[str, str]:
        """Stable name of each instrument's port."""
        return {name: str(port.path) for name, port in self._ports.items()}

    @property
    def devices(self) -> dict[str, str | None]:
        return {name: port.device for name, port in self._ports.items()}

    @property
    def counts(self) -> dict[str, tuple[int, int]]:
        """(sent, lost) lines by name."""
        return {name: (port.sent, port.lost) for name, port in self._ports.items()}

    async def start(self) -> None:
        self.directory.mkdir(parents=True, exist_ok=True)
        for port in self._ports.values():
            port.plug()
        self._due = time.monotonic()
        self._timer = asyncio.get_running_loop().call_at(self._due, self._tick)

    async def stop(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None
        for port in self._ports.values():
            port.unplug()
        if self._error is not None:
            error, self._error = self._error, None
            raise error

    # -- the instrument's own button, and faults ---------------------------------------

    def press_send(self, name: str = "indicator") -> None:
        """Send one reading now (mode "button")."""
        self._say(self._port(name), time.monotonic())

    def unplug(self, name: str) -> None:
        self._port(name).unplug()

    def replug(self, name: str) -> None:
        """The cable again: the same stable name, another device."""
        self._port(name).plug()

    def silence(self, name: str) -> None:
        """Send nothing from now on."""
        self._port(name).silent = True

    # -- how ---------------------------------------------------------------------------

    def _port(self, name: str) -> VirtualPort:
        if name not in self._ports:
            raise ValueError(
                f"no instrument is called {name!r}; there are {', '.join(self._ports)}"
            )
        return self._ports[name]

    def _tick(self) -> None:
        try:
            now = time.monotonic()
            if now - self._due > BEHIND_LIMIT:
                self._due = now
            while self._due <= now:
                for port in self._ports.values():
                    if port.mode == "continuous" and self._count % port.every == 0:
                        self._say(port, self._due, look=self._count % LOOK_EVERY == 0)
                self._count += 1
                self._due += 1.0 / self.rate
            if self._count % 64 == 0:
                for port in self._ports.values():
                    port.drain()
        except Exception as error:  # kept for stop(): a timer has nobody to raise to
            self._error = error
            return
        self._timer = asyncio.get_running_loop().call_at(self._due, self._tick)

    def _say(self, port: VirtualPort, t: float, *, look: bool = True) -> None:
        if port.device is None or port.silent:
            return
        if port.send(port.encode(port.read(t - port.age)), look=look):
            port.sent += 1
        else:
            port.lost += 1

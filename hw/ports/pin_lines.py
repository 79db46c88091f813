"""Edges of a few input pins, in order and with the kernel's own time; one output that
only pulls low.

Two ways. `KernelLines` asks the kernel (uapi linux/gpio.h, version 2, Linux 5.10 and
later) for all pins in ONE request: then edges of different pins keep their order, and
the queue can be a thousand edges long. The usual libraries ask pin by pin, and the
kernel queues 16 edges for each, which a busy Python misses unseen. `LibraryLines` goes
through gpiozero all the same, for its mock pins and for older kernels; what it misses
shows as frames of a wrong length.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import fcntl
import os
import select
import struct
from collections import deque
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any, NamedTuple, Protocol


class Edge(NamedTuple):
    """at: monotonic ns. line: its name. level: after the edge."""

    at: int
    line: str
    level: bool


class Lost(NamedTuple):
    """Edges were missed here."""

    at: int


Happened = Edge | Lost


class Lines(Protocol):
    """Open pins. `drain` gives what happened since the last call; `wake` is called on
    the loop when there is some."""

    levels: dict[str, bool]  # when opened

    def start(
        self, loop: asyncio.AbstractEventLoop, wake: Callable[[], None]
    ) -> None: ...

    def drain(self) -> list[Happened]: ...

    def waiting(self) -> bool:
        """Edges wait to be drained."""
        ...

    def pull(self, low: bool) -> None:
        """The request line, if there is one: down, or let go."""
        ...

    def close(self) -> None: ...


# ---- the kernel's own ----------------------------------------------------------------

GET_CHIPINFO = 0x8044B401
GET_LINE = 0xC250B407
GET_VALUES = 0xC010B40E
SET_VALUES = 0xC010B40F
INPUT, OUTPUT, RISING, FALLING, OPEN_DRAIN = 0x4, 0x8, 0x10, 0x20, 0x40
NO_PULL = 0x400  # the chip's own resistors would pull at the gauge's 1.5 V lines
OUTPUT_VALUES = 2  # id of the attribute
QUEUE = 1024  # edges; the kernel grants no more
EVENT = struct.Struct("=QIIII24x")
# offsets, consumer; flags, how many attributes; ten of (id, value, mask); how many
# lines, queue; the descriptor
REQUEST = struct.Struct("=64I32sQI20x" + "I4xQQ" * 10 + "II20xi")
# how the chips that carry the header's pins are labelled
CHIPS = ("pinctrl-bcm", "pinctrl-rp1")


def find_chip(
    dev: Path = Path("/dev"), label: Callable[[int], str] | None = None
) -> Path:
    """The chip that carries the header: its number has changed between kernels, its
    label has not.

    Raises FileNotFoundError where there is none; PermissionError where none may be
    opened.
    """
    denied: OSError | None = None
    for path in sorted(dev.glob("gpiochip*")):
        try:
            fd = os.open(path, os.O_RDWR | os.O_CLOEXEC)
        except PermissionError as error:
            denied = error
            continue
        try:
            if (label or _label)(fd).startswith(CHIPS):
                return path
        finally:
            os.close(fd)
    if denied is not None:
        raise denied
    raise FileNotFoundError(
        errno.ENOENT, "this machine has no pins", str(dev / "gpiochip*")
    )


def _label(fd: int) -> str:
    info = fcntl.ioctl(fd, GET_CHIPINFO, bytes(68))
    return info[32:64].split(b"\0")[0].decode("ascii", "replace")


def pack_request(
    pins: list[int], flags: int, *, queue: int = 0, level: int | None = None
) -> bytes:
    """A struct gpio_v2_line_request; level: what the outputs are at first."""
    attributes = [0, 0, 0] * 10
    if level is not None:
        attributes[:3] = [OUTPUT_VALUES, level, (1 << len(pins)) - 1]
    offsets = pins + [0] * (64 - len(pins))
    return REQUEST.pack(
        *offsets,
        b"sweepgauge",
        flags,
        0 if level is None else 1,
        *attributes,
        len(pins),
        queue,
        0,
    )


def unpack_events(
    data: bytes, names: Mapping[int, str], last: int | None
) -> tuple[list[Happened], int | None]:
    """The kernel's events -> edges, with Lost where its numbering has a gap. last: the
    number before, or None."""
    out: list[Happened] = []
    for at, kind, pin, number, _ in EVENT.iter_unpack(
        data[: len(data) // EVENT.size * EVENT.size]
    ):
        if last is not None and number != (last + 1) & 0xFFFFFFFF:
            out.append(Lost(at))
        last = number
        if pin in names:
            out.append(Edge(at, names[pin], kind == 1))
    return out, last


class KernelLines:
    """Raises OSError when made: no pins, not allowed, or a pin is another program's."""

    def __init__(
        self,
        inputs: Mapping[str, int],
        request: int | None = None,
        chip: Path | None = None,
    ) -> None:
        self.levels: dict[str, bool] = {}
        self._names = {pin: name for name, pin in inputs.items()}
        self._last: int | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._fd = self._request_fd = -1
        fd = os.open(chip or find_chip(), os.O_RDWR | os.O_CLOEXEC)
        try:
            pins = list(inputs.values())
            self._fd = self._ask(
                fd, pack_request(pins, INPUT | RISING | FALLING | NO_PULL, queue=QUEUE)
            )
            os.set_blocking(self._fd, False)
            values = fcntl.ioctl(
                self._fd, GET_VALUES, struct.pack("=QQ", 0, (1 << len(pins)) - 1)
            )
            bits = struct.unpack("=QQ", values)[0]
            self.levels = {
                name: bool(bits >> place & 1) for place, name in enumerate(inputs)
            }
            if request is not None:
                # open drain: a gauge pulls this line to its own 1.5 V and must never be
                # driven high
                self._request_fd = self._ask(
                    fd, pack_request([request], OUTPUT | OPEN_DRAIN | NO_PULL, level=1)
                )
        except OSError:
            self.close()
            raise
        finally:
            os.close(fd)

    @staticmethod
    def _ask(fd: int, request: bytes) -> int:
        answer = fcntl.ioctl(fd, GET_LINE, request)
        return int(REQUEST.unpack(answer)[-1])

    def start(self, loop: asyncio.AbstractEventLoop, wake: Callable[[], None]) -> None:
        self._loop = loop
        loop.add_reader(self._fd, wake)

    def drain(self) -> list[Happened]:
        out: list[Happened] = []
        while True:
            try:
                data = os.read(self._fd, EVENT.size * QUEUE)
            except BlockingIOError:
                return out
            events, self._last = unpack_events(data, self._names, self._last)
            out += events
            if len(data) < EVENT.size * QUEUE:
                return out

    def waiting(self) -> bool:
        if self._fd < 0:
            return False
        poll = select.poll()
        poll.register(self._fd, select.POLLIN)
        return any(event & select.POLLIN for _, event in poll.poll(0))

    def pull(self, low: bool) -> None:
        if self._request_fd >= 0:
            fcntl.ioctl(
                self._request_fd, SET_VALUES, struct.pack("=QQ", 0 if low else 1, 1)
            )

    def close(self) -> None:
        if self._loop is not None and self._fd >= 0:
            self._loop.remove_reader(self._fd)
        for fd in (self._fd, self._request_fd):
            if fd >= 0:
                os.close(fd)
        self._fd = self._request_fd = -1


# ---- through the library -------------------------------------------------------------


class LibraryLines:
    """The same through a pin factory of gpiozero, whose callbacks come in a thread of
    its own."""

    def __init__(
        self, inputs: Mapping[str, int], request: int | None, factory: Any
    ) -> None:
        self._edges: deque[Edge] = deque()
        self._loop: asyncio.AbstractEventLoop | None = None
        self._wake: Callable[[], None] = lambda: None
        self._woken = False
        self._pins = {name: factory.pin(pin) for name, pin in inputs.items()}
        self._request = None if request is None else factory.pin(request)
        # the library holds its callbacks weakly
        self._heard: list[Callable[..., None]] = []
        self._let_go()
        for pin in self._pins.values():
            pin.function = "input"
            # a pin with a resistor of its own refuses
            with contextlib.suppress(Exception):
                pin.pull = "floating"
            pin.edges = "both"
        self.levels = {name: bool(pin.state) for name, pin in self._pins.items()}

    def start(self, loop: asyncio.AbstractEventLoop, wake: Callable[[], None]) -> None:
        self._loop, self._wake = loop, wake
        for name, pin in self._pins.items():

            def changed(ticks: float, state: float, name: str = name) -> None:
                self._edges.append(Edge(round(ticks * 1e9), name, bool(state)))
                if not self._woken:
                    self._woken = True
                    with contextlib.suppress(RuntimeError):  # the loop is gone
                        loop.call_soon_threadsafe(self._called)

            self._heard.append(changed)
            pin.when_changed = changed

    def _called(self) -> None:
        self._woken = False
        self._wake()

    def drain(self) -> list[Happened]:
        out = [self._edges.popleft() for _ in range(len(self._edges))]
        # each pin has a queue of its own; time puts them in order, and data moves
        # before its clock does
        out.sort(key=lambda edge: (edge.at, edge.line == "clock"))
        return list(out)

    def waiting(self) -> bool:
        return bool(self._edges)

    def pull(self, low: bool) -> None:
        if self._request is None:
            return
        if low:
            self._request.output_with_state(0)  # never first an output and then low
        else:
            self._let_go()

    def _let_go(self) -> None:
        if self._request is not None:
            self._request.function = "input"

    def close(self) -> None:
        for pin in self._pins.values():
            pin.when_changed = None
            pin.close()
        if self._request is not None:
            self._request.close()
        self._heard.clear()

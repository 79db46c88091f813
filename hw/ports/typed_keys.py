"""A cable that types: key presses read from the kernel's input device, before any
window has them.

It has the face of `hw.ports.serial_port.SerialPort`. The device is taken for ourselves
(EVIOCGRAB), so that the digits go nowhere else. A block is what format `wedge` reads:
the key names of one run, a line, ended by its terminator or where the keys stop for the
time-out. Only presses count: releases and the keyboard's own repeats do not. Where the
kernel says that it dropped events the run has a key of that name, which no number has.

The layout of an event and the ioctls are the kernel's (uapi linux/input.h); codes as in
input-event-codes.h.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import fcntl
import os
import struct
import time

from hw.port_names import NotAPort, refuse_other_things
from hw.ports.serial_port import FIRST_RETRY, LAST_RETRY, OnBlock, OnState, waiting
from hw.reading import PortState

# a time of two longs, type, code, value: 24 bytes on a 64-bit machine
EVENT = struct.Struct("@llHHi")
GRAB = 0x40044590
KEYS_TYPE, SYN_TYPE, SYN_DROPPED, PRESSED = 1, 0, 3, 1
# s after the opening in which a first key may be one in the middle of a number
FRESH = 0.3
LONGEST = 100  # keys of a run that never ends

CODES = {
    # KEY_1 is 2, KEY_0 is 11
    **{code: f"KEY_{(code - 1) % 10}" for code in range(2, 12)},
    **dict(
        zip(
            (82, 79, 80, 81, 75, 76, 77, 71, 72, 73),
            (f"KEY_KP{n}" for n in range(10)),
            strict=True,
        )
    ),
    **{
        12: "KEY_MINUS",
        15: "KEY_TAB",
        28: "KEY_ENTER",
        51: "KEY_COMMA",
        52: "KEY_DOT",
        57: "KEY_SPACE",
    },
    **{
        74: "KEY_KPMINUS",
        78: "KEY_KPPLUS",
        83: "KEY_KPDOT",
        96: "KEY_KPENTER",
        121: "KEY_KPCOMMA",
    },
}
ENDS = {"ENTER": ("KEY_ENTER", "KEY_KPENTER"), "TAB": ("KEY_TAB",)}


class TypedKeys:
    """start() and stop() are called on the event loop; both callbacks come on it too."""

    heard_silence = False

    def __init__(
        self,
        path: str,
        on_block: OnBlock,
        on_state: OnState,
        *,
        terminator: str = "ENTER",
        timeout: float = 0.3,
    ) -> None:
        self.path = path
        self._on_block, self._on_state = on_block, on_state
        self._ends = ENDS[terminator]
        self._timeout = timeout
        self._fd = -1
        self._loop: asyncio.AbstractEventLoop | None = None
        self._opener: asyncio.Task[None] | None = None
        self._said: tuple[PortState, str] | None = None
        self._run: list[str] = []
        self._rest = b""
        self._when = 0
        self._fresh = 0.0  # until then a run may be half over
        self._pausing: asyncio.TimerHandle | None = None
        self.opened = 0

    @property
    def is_open(self) -> bool:
        return self._fd >= 0

    def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._opener = self._loop.create_task(self._keep_opening())

    async def stop(self) -> None:
        if self._opener is not None:
            self._opener.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._opener
        self._close()

    def write(self, data: bytes) -> bool:
        """A keyboard takes no requests."""
        return False

    def stuck(self) -> bool:
        """Events wait to be read."""
        return self._fd >= 0 and waiting(self._fd)

    # ---- opening ---------------------------------------------------------------------

    async def _keep_opening(self) -> None:
        retry = FIRST_RETRY
        while not self._try_to_open():
            await asyncio.sleep(retry)
            retry = min(LAST_RETRY, retry * 1.5)

    def _try_to_open(self) -> bool:
        try:
            refuse_other_things(self.path)
            # a device file opens at once or not at all
            fd = os.open(
                self.path, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC
            )
        except OSError as error:
            self._say(*_why_not(self.path, error))
            return False
        try:
            fcntl.ioctl(fd, GRAB, 1)
        except OSError as error:
            if error.errno == errno.EBUSY:
                os.close(fd)
                self._say(
                    "busy",
                    f"{self.path} is held by another program: close that program.",
                )
                return False
            # what knows no grab is no keyboard but a line that carries the same events
        assert self._loop is not None
        self._fd = fd
        self._run, self._rest = [], b""
        self._fresh = time.monotonic() + FRESH
        self.opened += 1
        self._loop.add_reader(fd, self._readable)
        self._say("open", f"{self.path} is open.")
        return True

    def _lost(self) -> None:
        self._close()
        self._say(
            "absent",
            f"{self.path} went away (the cable was pulled); it is taken up again when"
            " it is back.",
        )
        assert self._loop is not None
        self._opener = self._loop.create_task(self._keep_opening())

    def _close(self) -> None:
        if self._pausing is not None:
            self._pausing.cancel()
            self._pausing = None
        if self._fd >= 0:
            if self._loop is not None:
                self._loop.remove_reader(self._fd)
            os.close(self._fd)
        self._fd = -1

    # ---- keys ------------------------------------------------------------------------

    def _readable(self) -> None:
        try:
            data = os.read(self._fd, EVENT.size * 64)
        except BlockingIOError:
            return
        except OSError:
            self._lost()
            return
        if not data:
            self._lost()
            return
        self._when = time.monotonic_ns()
        data = self._rest + data
        whole = len(data) // EVENT.size * EVENT.size
        self._rest = data[whole:]
        for _, _, kind, code, value in EVENT.iter_unpack(data[:whole]):
            if kind == KEYS_TYPE and value == PRESSED:
                self._key(CODES.get(code, f"KEY_CODE{code}"))
            elif kind == SYN_TYPE and code == SYN_DROPPED:
                self._key("SYN_DROPPED")

    def _key(self, name: str) -> None:
        assert self._loop is not None
        if self._pausing is not None:
            self._pausing.cancel()
        self._run.append(name)
        if name in self._ends or len(self._run) > LONGEST:
            self._pausing = None
            self._tell()
        else:
            self._pausing = self._loop.call_later(self._timeout, self._tell)

    def _tell(self) -> None:
        run, self._run = self._run, []
        self._pausing = None
        if time.monotonic() < self._fresh:
            # opened while it typed, perhaps: the front of the number is not there
            return
        self._on_block(" ".join(run).encode() + b"\n", self._when)

    def _say(self, state: PortState, words: str) -> None:
        if (state, words) != self._said:
            self._said = (state, words)
            self._on_state(state, words)


def _why_not(path: str, error: OSError) -> tuple[PortState, str]:
    if isinstance(error, NotAPort):
        return "absent", f"{error}."
    if error.errno in {errno.ENOENT, errno.ENODEV, errno.ENXIO}:
        return "absent", f"{path} is not there: is the cable plugged in?"
    if error.errno in {errno.EACCES, errno.EPERM}:
        return (
            "denied",
            (
                f"{path} may not be opened: add this user to the group input and log in"
                " again."
            ),
        )
    return "absent", f"{path} cannot be opened: {error.strerror or error}."

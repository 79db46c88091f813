"""A cable that types: key presses read from the kernel's input device, before any
window has them.

The port grabs the device, so that the digits go nowhere else. A block is what format
`wedge` reads: a line with the key names of one run, which ends with its terminator or
with a pause of the time-out. Only presses count, not releases and the keyboard's own
repeats. Where the kernel dropped events the run has a key of that name, which no number
has.

The layout of an event and the ioctls are the kernel's (uapi linux/input.h), the codes
those of input-event-codes.h. They are written out here because the bindings (evdev)
have no wheels for the Pi.
"""

from __future__ import annotations

import asyncio
import errno
import fcntl
import os
import struct
import time

from hw.formats.wedge import TERMINATORS
from hw.port_names import refuse_other_things
from hw.ports.open_errors import open_error
from hw.ports.reconnecting_port import OnBlock, OnState, ReconnectingPort
from hw.ports.serial_device import unread
from hw.timeouts import PORT_FIRST_RETRY_S, PORT_LAST_RETRY_S
from hw.timer import Timer

# a time of two longs, type, code, value: 24 bytes on a 64-bit machine
EVENT = struct.Struct("@llHHi")
GRAB = 0x40044590  # EVIOCGRAB
# EV_KEY, EV_SYN, SYN_DROPPED, and the value of a key that goes down
KEYS_TYPE, SYN_TYPE, SYN_DROPPED, KEY_DOWN = 1, 0, 3, 1
# s after the opening in which a first key may stand in the middle of a number
OPENING_S = 0.3
LONGEST_KEY_RUN = 100  # keys, after which a run without a terminator ends

KEYPAD = (82, 79, 80, 81, 75, 76, 77, 71, 72, 73)  # codes of its digits 0 to 9
CODES = {
    **{code: f"KEY_{(code - 1) % 10}" for code in range(2, 12)},  # KEY_1 to KEY_0
    **{code: f"KEY_KP{digit}" for digit, code in enumerate(KEYPAD)},
    12: "KEY_MINUS",
    15: "KEY_TAB",
    28: "KEY_ENTER",
    51: "KEY_COMMA",
    52: "KEY_DOT",
    57: "KEY_SPACE",
    74: "KEY_KPMINUS",
    78: "KEY_KPPLUS",
    83: "KEY_KPDOT",
    96: "KEY_KPENTER",
    121: "KEY_KPCOMMA",
}


class TypedKeys(ReconnectingPort):
    def __init__(
        self,
        path: str,
        on_block: OnBlock,
        on_state: OnState,
        *,
        terminator: str = "ENTER",
        timeout: float = 0.3,
    ) -> None:
        retry = (PORT_FIRST_RETRY_S, PORT_LAST_RETRY_S)
        super().__init__(path, on_block, on_state, retry)
        self._ends = {f"KEY_{key}" for key in TERMINATORS[terminator]}
        self._timeout = timeout
        self._fd = -1
        self._run: list[str] = []
        self._rest = b""
        self._when = 0
        self._fresh = 0.0  # monotonic s until which a run may be half over
        self._pause = Timer()  # that ends a run

    @property
    def is_open(self) -> bool:
        return self._fd >= 0

    def stuck(self) -> bool:
        """Events wait to be read."""
        return self._fd >= 0 and unread(self._fd)

    async def _try_to_open(self) -> bool:
        try:
            refuse_other_things(self.where)
            # a device file opens at once or not at all
            fd = os.open(
                self.where, os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY | os.O_CLOEXEC
            )
            _grab(fd)
        except OSError as error:
            self._report(*open_error(self.where, error, "input"))
            return False
        self._fd = fd
        self._run, self._rest = [], b""
        self._fresh = time.monotonic() + OPENING_S
        asyncio.get_running_loop().add_reader(fd, self._readable)
        return True

    def _close(self) -> None:
        self._pause.stop()
        if self._fd >= 0:
            asyncio.get_running_loop().remove_reader(self._fd)
            os.close(self._fd)
        self._fd = -1

    # ---- keys ------------------------------------------------------------------------

    def _readable(self) -> None:
        try:
            data = os.read(self._fd, EVENT.size * 64)
        except BlockingIOError:
            return
        except OSError:
            data = b""
        if not data:
            self._lost("the cable was pulled")
            return
        self._when = time.monotonic_ns()
        data = self._rest + data
        whole = len(data) // EVENT.size * EVENT.size
        self._rest = data[whole:]
        for _, _, kind, code, value in EVENT.iter_unpack(data[:whole]):
            if kind == KEYS_TYPE and value == KEY_DOWN:
                self._key(CODES.get(code, f"KEY_CODE{code}"))
            elif kind == SYN_TYPE and code == SYN_DROPPED:
                self._key("SYN_DROPPED")

    def _key(self, name: str) -> None:
        self._run.append(name)
        if name in self._ends or len(self._run) > LONGEST_KEY_RUN:
            self._pause.stop()
            self._tell()
        else:
            self._pause.start(self._timeout, self._tell)

    def _tell(self) -> None:
        run, self._run = self._run, []
        # the device may have been opened in the middle of this number
        if time.monotonic() >= self._fresh:
            self.on_block(" ".join(run).encode() + b"\n", self._when)


def _grab(fd: int) -> None:
    """Keep the device's keys from everybody else. Raises OSError and closes it where
    another program does."""
    try:
        fcntl.ioctl(fd, GRAB, 1)
    except OSError as error:
        # a device that knows no grab is a line that carries the same events
        if error.errno == errno.EBUSY:
            os.close(fd)
            raise

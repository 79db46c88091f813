"""A serial port that survives unplugging: opened by name, read in blocks on the event
loop.

pyserial opens it (a device or one of pyserial's URLs); the loop reads its file
descriptor, and a thread reads a URL that has none (`loop://`, `rfc2217://`). A thread
opens it: a cable that is going bad or a remote port can take seconds, and the loop
reads the other instruments meanwhile. Nothing here raises at the caller once it is
started: the port reports its state with a sentence.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import os
import threading
import time
from collections.abc import Callable
from typing import Any

from hw.port_names import PortOptions
from hw.ports.open_errors import open_error
from hw.ports.polling_rounds import PollingRounds
from hw.ports.reconnecting_port import OnBlock, OnState, ReconnectingPort
from hw.ports.serial_device import (
    close_device,
    descriptor,
    is_writable,
    open_device,
    unread,
)
from hw.timeouts import PORT_FIRST_RETRY_S, PORT_LAST_RETRY_S, READER_STALL_S
from hw.timer import Timer

BLOCK = 65536  # bytes a read; a full line at 921,600 baud is 9 kB in 0.1 s
# s of silence, besides the time of a longest line, after which no line is under way
QUIET_TIME = 0.05
LINE_CHARACTERS = 64  # characters
# errors of a port that is no more
PULLED = {None, errno.EIO, errno.ENODEV, errno.ENXIO}


class SerialPort(ReconnectingPort):
    def __init__(
        self,
        options: PortOptions,
        on_block: OnBlock,
        on_state: OnState,
        rounds: PollingRounds | None = None,
    ) -> None:
        """rounds: of several ports that may be read together; None, and this one is
        read at once always."""
        retry = (PORT_FIRST_RETRY_S, PORT_LAST_RETRY_S)
        super().__init__(options.port, on_block, on_state, retry)
        self.options = options
        self._rounds = rounds or PollingRounds()
        self._serial: Any = None
        self._fd: int | None = None
        self._discard_until = 0
        self._silence = Timer()  # until the line counts as silent
        self._last_turn = 0.0  # of the reading thread, monotonic s

    @property
    def is_open(self) -> bool:
        return self._serial is not None

    def write(self, data: bytes) -> bool:
        """Also False where the port is full."""
        if self._fd is not None:
            try:
                return os.write(self._fd, data) == len(data)
            except BlockingIOError:
                return False
            except OSError as error:
                self._on_error(error)
        elif self._serial is not None and is_writable(self._serial):
            with contextlib.suppress(OSError):
                self._serial.write(data)
                return True
        return False

    def stuck(self) -> bool:
        """Whether bytes wait to be read, or the reading thread hangs."""
        if self._fd is not None:
            return unread(self._fd)
        return (
            self._serial is not None
            and time.monotonic() - self._last_turn > READER_STALL_S
        )

    # ---- opening ---------------------------------------------------------------------

    async def _try_to_open(self) -> bool:
        opened = await self._open_in_thread()
        if isinstance(opened, Exception):
            self._report(*open_error(self.where, opened, "dialout"))
            return False
        self._serial, self._fd = opened, descriptor(opened)
        self._discard_until = time.monotonic_ns() + int(self.options.settle * 1e9)
        self._last_turn = time.monotonic()
        self._loop = asyncio.get_running_loop()
        self.heard_silence = False
        self._listen_for_silence()
        if self._fd is None:
            threading.Thread(
                target=self._read_in_thread, args=(opened,), daemon=True
            ).start()
        else:
            os.set_blocking(self._fd, False)
            self._rounds.join(self._fd, self._readable)
        return True

    def _listen_for_silence(self) -> None:
        o = self.options
        quiet = QUIET_TIME + LINE_CHARACTERS * (o.bits + 3) / o.baud
        self._silence.start(quiet, self._was_silent)

    def _was_silent(self) -> None:
        """The line is silent, unless the loop is late and bytes wait to be read."""
        with contextlib.suppress(OSError, AttributeError):
            self.heard_silence = not self._serial.in_waiting

    async def _open_in_thread(self) -> object:
        """The open port, or the error. A thread of its own, as the loop's end would
        wait for one of the loop's."""
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[object] = loop.create_future()

        def deliver(opened: object) -> None:
            if answer.done():  # stopped meanwhile: nobody else closes the port
                close_device(opened)
            else:
                answer.set_result(opened)

        def work() -> None:
            try:
                opened = self._open_serial()
            except Exception as error:
                # OSError mostly; termios and the URL handlers have classes of their own
                opened = error
            try:
                loop.call_soon_threadsafe(deliver, opened)
            except RuntimeError:  # the loop is gone
                close_device(opened)

        name = f"open {self.where}"
        threading.Thread(target=work, name=name, daemon=True).start()
        return await answer

    def _open_serial(self) -> object:
        return open_device(self.options)

    # ---- reading ---------------------------------------------------------------------

    def _readable(self) -> None:
        assert self._fd is not None
        now = time.monotonic_ns()
        try:
            data = os.read(self._fd, BLOCK)
        except BlockingIOError:
            return
        except OSError as error:
            self._on_error(error)
            return
        if data:
            self._receive(data, now)
        else:  # after a hang-up the descriptor stays readable for ever
            self._on_error(None)

    def _receive(self, data: bytes, now: int) -> None:
        # a port that opens and never sends a byte is opened less and less often
        self._retry = self._first_retry
        if self._silence.running:
            self._silence.stop()
        if now >= self._discard_until:
            self.on_block(data, now)
        else:
            self.heard_silence = False
            self._listen_for_silence()

    def _read_in_thread(self, opened: Any) -> None:
        """Read until the port is another one; the loop may end at any time."""
        with contextlib.suppress(RuntimeError):
            while self._serial is opened:
                self._last_turn = time.monotonic()
                try:
                    data = opened.read(1)
                    if waiting := opened.in_waiting:
                        data += opened.read(waiting)
                except Exception as error:
                    # pyserial's URL handlers raise whatever their back-end raises; the
                    # port is gone either way
                    self._from_thread(opened, self._on_error, error)
                    return
                if data:
                    self._from_thread(opened, self._receive, data, time.monotonic_ns())

    def _from_thread(
        self, opened: object, call: Callable[..., None], *arguments: object
    ) -> None:
        """On the loop, and only if the port is still the one that was read."""

        def there() -> None:
            if self._serial is opened:
                call(*arguments)

        self._loop.call_soon_threadsafe(there)

    def _on_error(self, error: Exception | None) -> None:
        why = "the cable was pulled or the instrument hung up"
        if isinstance(error, OSError) and error.errno not in PULLED:
            why = error.strerror or str(error)
        self._lost(why)

    def _close(self) -> None:
        if self._fd is not None:
            self._rounds.leave(self._fd)
        self._silence.stop()
        opened, self._serial, self._fd = self._serial, None, None
        close_device(opened)

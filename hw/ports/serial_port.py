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
from typing import NamedTuple

from hw.patience import PORT_FIRST_RETRY_S, PORT_LAST_RETRY_S, READER_STALL_S
from hw.ports.port_state import StateReport, open_error
from hw.ports.rounds import Rounds
from hw.ports.serial_device import (
    close_device,
    descriptor,
    is_writable,
    open_device,
    unread,
)
from hw.reading import PortState

BLOCK = 65536  # bytes a read; a full line at 921,600 baud is 9 kB in 0.1 s
# s of silence, besides the time of a longest line, after which no line is under way
QUIET_TIME = 0.05
LONGEST_LINE = 64  # characters


class PortOptions(NamedTuple):
    """How to open it. port: a device path or a pyserial URL. dtr, rts: None leaves the
    driver's default."""

    port: str
    baud: int = 9600
    bits: int = 8
    parity: str = "N"
    stop: float = 1
    dtr: bool | None = None
    rts: bool | None = None
    # s of input to discard after opening (boards that reset when opened)
    settle: float = 0.0


OnBlock = Callable[[bytes, int], None]  # data, monotonic ns of its arrival
OnState = Callable[[PortState, str], None]  # state, sentence


class _CannotOpen(Exception):
    def __init__(self, state: PortState, words: str) -> None:
        super().__init__(words)
        self.state, self.words = state, words


class SerialPort:
    """start() and stop() are called on the event loop, and so are both callbacks."""

    def __init__(
        self,
        options: PortOptions,
        on_block: OnBlock,
        on_state: OnState,
        rounds: Rounds | None = None,
    ) -> None:
        """rounds: of several ports that may be read together; None, and this one is
        read at once always."""
        self.options = options
        self._rounds = rounds or Rounds()
        self.on_block = on_block  # who hears the bytes may change
        self._report = StateReport(on_state)
        self._serial: object | None = None
        self._fd: int | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._opener: asyncio.Task[None] | None = None
        self._stopping = False
        self._retry = PORT_FIRST_RETRY_S
        self._discard_until = 0
        self._silence: asyncio.TimerHandle | None = None
        self._last_turn = 0.0  # of the reading thread, monotonic s
        self.opened = 0  # how often
        # After the opening the line was silent: what comes first begins a line.
        self.heard_silence = False

    @property
    def is_open(self) -> bool:
        return self._serial is not None

    def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._opener = self._loop.create_task(self._keep_opening(0.0))

    async def stop(self) -> None:
        """After this no callback comes, also when the port was being opened."""
        self._stopping = True
        if self._opener is not None:
            self._opener.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._opener
        self._close()

    def write(self, data: bytes) -> bool:
        """Send to the instrument (a request for a reading); False when the port is not
        open or full."""
        if self._fd is not None:
            try:
                return os.write(self._fd, data) == len(data)
            except BlockingIOError:
                return False
            except OSError as error:
                self._lost(error)
                return False
        if self._serial is not None and is_writable(self._serial):
            with contextlib.suppress(OSError):
                self._serial.write(data)  # type: ignore[attr-defined]
                return True
        return False

    def stuck(self) -> bool:
        """Something lies there unread, or the thread that reads does not come round:
        true for long, it hangs."""
        if self._fd is not None:
            return unread(self._fd)
        return (
            self._serial is not None
            and time.monotonic() - self._last_turn > READER_STALL_S
        )

    # ---- opening ---------------------------------------------------------------------

    async def _keep_opening(self, wait: float) -> None:
        if wait:
            await asyncio.sleep(wait)
        while not await self._try_to_open():
            await asyncio.sleep(self._retry)
            self._retry = min(PORT_LAST_RETRY_S, self._retry * 1.5)

    async def _try_to_open(self) -> bool:
        try:
            opened = await self._open_in_thread()
        except _CannotOpen as error:
            self._report(error.state, error.words)
            return False
        self._serial = opened
        self.opened += 1
        self._discard_until = time.monotonic_ns() + int(self.options.settle * 1e9)
        self._fd = descriptor(opened)
        self._last_turn = time.monotonic()
        assert self._loop is not None
        self.heard_silence = False
        self._listen_for_silence()
        if self._fd is None:
            threading.Thread(
                target=self._read_in_thread, args=(opened,), daemon=True
            ).start()
        else:
            os.set_blocking(self._fd, False)
            self._rounds.join(self._fd, self._readable)
        self._report("open", f"{self.options.port} is open.")
        return True

    def _listen_for_silence(self) -> None:
        o = self.options
        assert self._loop is not None
        quiet = QUIET_TIME + LONGEST_LINE * (o.bits + 3) / o.baud
        self._silence = self._loop.call_later(quiet, self._was_silent)

    def _was_silent(self) -> None:
        """A late loop must not take what waits for silence."""
        self._silence = None
        with contextlib.suppress(OSError, AttributeError):
            self.heard_silence = not self._serial.in_waiting  # type: ignore[union-attr]

    async def _open_in_thread(self) -> object:
        """A thread of its own, as the loop's end would wait for one of the loop's."""
        loop = asyncio.get_running_loop()
        answer: asyncio.Future[object] = loop.create_future()

        def deliver(opened: object | None, error: Exception | None) -> None:
            if answer.done():  # stopped meanwhile: nobody else closes the port
                close_device(opened)
            elif error is not None:
                answer.set_exception(error)
            else:
                answer.set_result(opened)

        def work() -> None:
            opened: object | None = None
            error: Exception | None = None
            try:
                opened = self._open_serial()
            except Exception as caught:
                # OSError mostly; termios and the URL handlers have classes of their own
                error = _CannotOpen(*open_error(self.options.port, caught, "dialout"))
            try:
                loop.call_soon_threadsafe(deliver, opened, error)
            except RuntimeError:  # the loop is gone
                close_device(opened)

        threading.Thread(
            target=work, name=f"open {self.options.port}", daemon=True
        ).start()
        return await answer

    def _open_serial(self) -> object:
        o = self.options
        return open_device(
            o.port,
            o.dtr,
            o.rts,
            baudrate=o.baud,
            bytesize=o.bits,
            parity=o.parity,
            stopbits=o.stop,
        )

    # ---- reading ---------------------------------------------------------------------

    def _readable(self) -> None:
        assert self._fd is not None
        now = time.monotonic_ns()
        try:
            data = os.read(self._fd, BLOCK)
        except BlockingIOError:
            return
        except OSError as error:
            self._lost(error)
            return
        if not data:  # after a hang-up the descriptor stays readable for ever
            self._lost(None)
            return
        self._receive(data, now)

    def _receive(self, data: bytes, now: int) -> None:
        # a port that opens and never sends a byte is opened less and less often
        self._retry = PORT_FIRST_RETRY_S
        if self._silence is not None or now < self._discard_until:
            if self._silence is not None:
                self._silence.cancel()
                self._silence = None
            if now < self._discard_until:
                self.heard_silence = False
                self._listen_for_silence()
        if now >= self._discard_until:
            self.on_block(data, now)

    def _read_in_thread(self, opened: object) -> None:
        """Read until the port is another one; the loop may end at any time."""
        with contextlib.suppress(RuntimeError):
            while self._serial is opened:
                self._last_turn = time.monotonic()
                try:
                    data = opened.read(1)  # type: ignore[attr-defined]
                    waiting = opened.in_waiting  # type: ignore[attr-defined]
                    if waiting:
                        data += opened.read(waiting)  # type: ignore[attr-defined]
                except Exception as error:
                    # pyserial's URL handlers raise whatever their back-end raises; the
                    # port is gone either way
                    self._from_thread(opened, self._lost, error)
                    return
                if data:
                    self._from_thread(opened, self._receive, data, time.monotonic_ns())

    def _from_thread(
        self, opened: object, call: Callable[..., None], *arguments: object
    ) -> None:
        """On the loop, and only if the port is still the one that was read."""
        assert self._loop is not None

        def there() -> None:
            if self._serial is opened:
                call(*arguments)

        self._loop.call_soon_threadsafe(there)

    def _lost(self, error: BaseException | None) -> None:
        if self._stopping or self._serial is None:
            return
        self._close()
        why = "the cable was pulled or the instrument hung up"
        if isinstance(error, OSError) and error.errno not in {
            None,
            errno.EIO,
            errno.ENODEV,
            errno.ENXIO,
        }:
            why = error.strerror or str(error)
        self._report(
            "absent",
            f"{self.options.port} went away ({why}); it is taken up again when it is"
            " back.",
        )
        assert self._loop is not None
        self._opener = self._loop.create_task(self._keep_opening(self._retry / 2))
        self._retry = min(PORT_LAST_RETRY_S, self._retry * 1.5)

    def _close(self) -> None:
        if self._fd is not None:
            self._rounds.leave(self._fd)
        self._fd = None
        if self._silence is not None:
            self._silence.cancel()
            self._silence = None
        opened, self._serial = self._serial, None
        close_device(opened)

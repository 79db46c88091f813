"""An instrument on pins: clock and data, or the two waves of a scale, as the text that
its decoder reads.

It has the interface of `hw.ports.serial_port.SerialPort`. A block is one frame a line,
0 and 1 in order of arrival, stamped with the kernel's time of its last bit. A frame
ends where the clock pauses. The decoder decides how many bits it may have: 23 or 25
bits in place of 24 are rejected and counted, never cut to fit. The bits before the
first pause are dropped, since their frame was half over.

These rates are worked out; none has been tried on a Pi. A word of `sync24` is at most
72 edges every 0.12 s and one of `sync52` 156, and the kernel queues 1024, so the loop
may be half a second late. `sync48` and `bcd28` send a bit in 13 us, which the kernel's
interrupts may or may not follow. Scales and encoders may give a few thousand edges a
second; for more a microcontroller has to count.

Measured in the appliance rig, through the kernel's own interrupts, on an emulated core
of 500 million instructions a second: of 80 words of `sync24` at 280 or 420 us a bit all
80 came, at 140 us a bit 67, the others were rejected and none was wrong. 2000 edges of
an encoder came whole at 200, 2500 and 10,000 a second.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import time
from collections.abc import Mapping
from typing import Any, Literal, NamedTuple

from hw.formats import FORMATS, read_options
from hw.patience import PINS_RETRY_S
from hw.ports.pin_frames import Builder, FrameBuilder, StateBuilder, TextLine
from hw.ports.pin_lines import KernelLines, Lines, MakeLines
from hw.ports.port_state import (
    DENIED,
    Refusal,
    StateReport,
    end_task,
    error_number,
)
from hw.ports.serial_port import OnBlock, OnState

# us of pause that end an answer: gauges take up to 4 ms a bit (public timing notes)
REQUESTED_GAP_US = 20_000
RUN_END = 0.02  # s of rest that end a block of quadrature states
STANDING = 0.04  # s between two blocks of a scale at rest
# requests a second; gauges repeat in 0.07 to 1.2 s (public timing notes)
RATE = 5.0


class PinOptions(NamedTuple):
    """pins: BCM numbers by name: clock, data and perhaps req; or a, b and perhaps z.

    edge: of the clock at our pin, at which a bit is taken. gap_us: a longer pause of
    the clock parts two frames. timeout: s that a gauge may take to answer req. rate:
    requests a second.
    """

    pins: Mapping[str, int]
    edge: Literal["rising", "falling"] = "rising"
    gap_us: int = 5000
    timeout: float = 0.3
    rate: float = RATE


def pin_options(
    name: str,
    options: Mapping[str, object],
    pins: Mapping[str, int],
    rate: float | None = None,
) -> PinOptions:
    """How format `name` with its options is read from these pins. Raises FormatError,
    or ValueError for the pins."""
    known = set(FORMATS[name].wires[:2])
    if not known or not known <= pins.keys():
        raise ValueError(
            f"{name} is read from the pins {' and '.join(sorted(known))}, not from"
            f" {', '.join(pins)}"
        )
    values = read_options(name, options)
    if rate is not None:
        values["rate"] = rate
    given: dict[str, Any] = {
        key: value for key, value in values.items() if key in PinOptions._fields
    }
    return PinOptions(pins, **given)


class ClockedPins:
    """start() and stop() are called on the event loop, and so are both callbacks."""

    def __init__(
        self,
        options: PinOptions,
        on_block: OnBlock,
        on_state: OnState,
        make_lines: MakeLines | None = None,
    ) -> None:
        """make_lines: in place of the kernel's, for tests."""
        self.options = options
        self._on_block = on_block
        self._report = StateReport(on_state)
        self._make_lines = make_lines or KernelLines
        self._lines: Lines | None = None
        self._builder: Builder | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self.heard_silence = False
        self._pausing: asyncio.TimerHandle | None = None
        self._idle = asyncio.Event()
        self._idle.set()
        self._answered = asyncio.Event()
        self._request_now = asyncio.Event()
        self.opened = 0
        self.unanswered = 0  # requests

    @property
    def is_open(self) -> bool:
        return self._lines is not None

    @property
    def idle(self) -> bool:
        """Open, and the clock has paused: the next word comes from its first bit."""
        return self.is_open and self._idle.is_set()

    @property
    def where(self) -> str:
        return "pins " + ", ".join(
            f"{name} {pin}" for name, pin in self.options.pins.items()
        )

    def start(self) -> None:
        self._loop = asyncio.get_running_loop()
        self._tasks = [self._loop.create_task(self._keep_opening())]

    async def stop(self) -> None:
        for task in self._tasks:
            await end_task(task)
        self._close()

    def write(self, data: bytes) -> bool:
        """Request a reading now, whatever the bytes; False without an open request
        line."""
        if self._lines is None or "req" not in self.options.pins:
            return False
        self._request_now.set()
        return True

    def stuck(self) -> bool:
        """Edges wait to be read."""
        return self._lines is not None and self._lines.waiting()

    # ---- opening ---------------------------------------------------------------------

    async def _keep_opening(self) -> None:
        while True:
            if self._try_to_open():
                if isinstance(self._builder, StateBuilder):
                    await self._report_standing(self._builder)
                    return
                if "req" not in self.options.pins:
                    return
                try:
                    await self._request_readings()
                except OSError as error:
                    self._lost(error)
            await asyncio.sleep(PINS_RETRY_S)

    def _try_to_open(self) -> bool:
        pins = dict(self.options.pins)
        request = pins.pop("req", None)
        try:
            self._lines = self._make_lines(pins, request)
        # the library, the kernel and the board each fail in their own classes
        except Exception as error:
            self._report(*_open_error(self.where, error))
            return False
        self._begin_text(self._lines.levels, request is not None)
        self.opened += 1
        assert self._loop is not None
        self._lines.start(self._loop, self._woken)
        self._report("open", f"{self.where} are open.")
        if request is None and "clock" in pins:
            self._await_pause()
        return True

    def _begin_text(self, levels: Mapping[str, bool], requested: bool) -> None:
        """Join the edges to frames, where there is a clock, or to states."""
        if "clock" in self.options.pins:
            gap = REQUESTED_GAP_US if requested else self.options.gap_us
            self._builder = FrameBuilder(
                self.options.edge, gap, levels, whole=requested
            )
            self._pause_s = 1.5 * gap * 1e-6
        else:
            self._builder = StateBuilder(levels)
            self._pause_s = RUN_END

    def _lost(self, error: OSError) -> None:
        self._close()
        self._report(
            "absent",
            f"{self.where} went away ({error.strerror or error}); they are tried"
            " again.",
        )

    def _close(self) -> None:
        if self._pausing is not None:
            self._pausing.cancel()
            self._pausing = None
        self._idle.set()
        lines, self._lines = self._lines, None
        if lines is not None:
            with contextlib.suppress(Exception):
                lines.pull(False)
            lines.close()

    # ---- reading ---------------------------------------------------------------------

    def _woken(self) -> None:
        try:
            events_came = self._read()
        except OSError as error:
            self._lost(error)
            # the task that requests, or gives the standing state, has lost its lines
            for task in self._tasks:
                task.cancel()
            self._tasks = [asyncio.get_running_loop().create_task(self._keep_opening())]
            return
        if events_came and (
            self._pausing is None or isinstance(self._builder, FrameBuilder)
        ):
            self._await_pause()

    def _await_pause(self) -> None:
        assert self._loop is not None
        if self._pausing is not None:
            self._pausing.cancel()
        self._idle.clear()
        self._pausing = self._loop.call_later(self._pause_s, self._paused)

    def _read(self) -> bool:
        if self._lines is None or self._builder is None:
            return False
        events = self._lines.drain()
        for event in events:
            self._give(self._builder.add(event))
        if events:
            self._answered.set()
        return bool(events)

    def _paused(self) -> None:
        """The pause that ends a frame, unless the loop was late and edges wait to be
        read."""
        assert self._builder is not None
        self._pausing = None
        with contextlib.suppress(OSError):  # the next wake reports it
            if self._read() and isinstance(self._builder, FrameBuilder):
                self._await_pause()
                return
        self._idle.set()
        self._give(self._builder.pause())

    def _give(self, line: TextLine | None) -> None:
        if line is not None:
            self._on_block(line[0].encode() + b"\n", line[1])

    async def _report_standing(self, builder: StateBuilder) -> None:
        """Give the state again and again while no edges come."""
        while self._builder is builder and self._lines is not None:
            await asyncio.sleep(STANDING)
            if (
                self._pausing is None
                and self._lines is not None
                and not self._lines.waiting()
            ):
                self._give(builder.stand(time.monotonic_ns()))

    # ---- requesting ------------------------------------------------------------------

    async def _request_readings(self) -> None:
        """Pull the request low until the first edge of an answer or the time-out, again
        and again; a gauge wants it released before its last bit."""
        while True:
            due = time.monotonic() + 1.0 / self.options.rate
            lines = self._lines
            assert lines is not None
            self._answered.clear()
            lines.pull(True)
            try:
                # wait_for of Python 3.11 may lose a cancel, and with it the end
                async with asyncio.timeout(self.options.timeout):
                    await self._answered.wait()
            except TimeoutError:
                self.unanswered += 1
            finally:
                # the next pull reports lines that are gone
                with contextlib.suppress(OSError):
                    lines.pull(False)
            self._request_now.clear()
            with contextlib.suppress(TimeoutError):
                async with asyncio.timeout(max(0.0, due - time.monotonic())):
                    await self._request_now.wait()
            await self._idle.wait()  # never in the middle of an answer


# by errno
OPEN_ERRORS: dict[int | None, Refusal] = {
    errno.ENOENT: ("absent", "{where}: this machine has no such pins."),
    errno.EACCES: DENIED,
    errno.EPERM: DENIED,
    errno.EBUSY: (
        "busy",
        "{where}: another program or a device-tree overlay has one of them.",
    ),
    errno.EINVAL: (
        "absent",
        "{where}: this kernel does not take such a request; Linux 5.10 or later does.",
    ),
}


def _open_error(where: str, error: Exception) -> Refusal:
    if isinstance(error, ImportError):
        words = "the library gpiod is not installed: pip install gpiod"
        return "absent", f"{where} cannot be read: {words}."
    state, words = OPEN_ERRORS.get(
        error_number(error), ("absent", "{where} cannot be opened: {kind}: {error}.")
    )
    kind = type(error).__name__
    return state, words.format(
        where=where, port=where, group="gpio", kind=kind, error=error
    )

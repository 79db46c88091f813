"""An instrument on pins: clock and data, or the two waves of a scale, as the text that
its decoder reads.

A block is one frame a line, 0 and 1 in order of arrival, stamped with the kernel's time
of its last bit. A frame ends where the clock pauses. The decoder decides how many bits
it may have: 23 or 25 bits in place of 24 are rejected and counted, never cut to fit.
The bits before the first pause are dropped, since their frame was half over.

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
from hw.ports.open_errors import NOT_ALLOWED, OpenFailure, open_error
from hw.ports.pin_frames import Builder, FrameBuilder, StateBuilder, TextLine
from hw.ports.pin_lines import GpioLines, MakeGpioLines
from hw.ports.reconnecting_port import OnBlock, OnState, ReconnectingPort
from hw.timeouts import PINS_RETRY_S
from hw.timer import Timer

# us of pause that end an answer: gauges take up to 4 ms a bit (public timing notes)
REQUESTED_GAP_US = 20_000
RUN_END = 0.02  # s of rest that end a block of quadrature states
STANDING = 0.04  # s between two blocks of a scale at rest
# requests a second; gauges repeat in 0.07 to 1.2 s (public timing notes)
PIN_REQUEST_RATE = 5.0


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
    rate: float = PIN_REQUEST_RATE


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
    asked: dict[str, object] = {} if rate is None else {"rate": rate}
    values = read_options(name, options) | asked
    given: dict[str, Any] = {
        key: value for key, value in values.items() if key in PinOptions._fields
    }
    return PinOptions(pins, **given)


class ClockedPins(ReconnectingPort):
    OPENED = "{} are open."
    LOST = "{} went away ({}); they are tried again."

    def __init__(
        self,
        options: PinOptions,
        on_block: OnBlock,
        on_state: OnState,
        make_lines: MakeGpioLines | None = None,
    ) -> None:
        """make_lines: in place of the kernel's, for tests."""
        pins = ", ".join(f"{name} {pin}" for name, pin in options.pins.items())
        retry = (PINS_RETRY_S, PINS_RETRY_S)
        super().__init__(f"pins {pins}", on_block, on_state, retry)
        self.options = options
        self._requested = "req" in options.pins
        self._clocked = "clock" in options.pins
        self._make_lines = make_lines or GpioLines
        self._lines: GpioLines | None = None
        self._builder: Builder | None = None
        self._pause_s = RUN_END
        self._pause = Timer()  # that ends a frame or a run
        self._idle = asyncio.Event()
        self._idle.set()
        self._answered = asyncio.Event()
        self._request_now = asyncio.Event()
        self.unanswered = 0  # requests

    @property
    def is_open(self) -> bool:
        return self._lines is not None

    @property
    def idle(self) -> bool:
        """Open, and the clock has paused: the next word comes from its first bit."""
        return self.is_open and self._idle.is_set()

    def write(self, data: bytes) -> bool:
        """Request a reading now, whatever the bytes; False without an open request
        line."""
        if goes := self.is_open and self._requested:
            self._request_now.set()
        return goes

    def stuck(self) -> bool:
        return self._lines is not None and self._lines.waiting()

    # ---- opening ---------------------------------------------------------------------

    async def _try_to_open(self) -> bool:
        pins = dict(self.options.pins)
        request = pins.pop("req", None)
        try:
            self._lines = self._make_lines(pins, request)
        # the library, the kernel and the board each fail in their own classes
        except Exception as error:
            self._report(*open_error(self.where, error, "gpio", PIN_ERRORS))
            return False
        self._begin_text(self._lines.levels)
        self._lines.start(asyncio.get_running_loop(), self._woken)
        if self._clocked and not self._requested:
            self._await_pause()
        return True

    def _begin_text(self, levels: Mapping[str, bool]) -> None:
        """Join the edges to frames, where there is a clock, or to states."""
        if self._clocked:
            o, asked = self.options, self._requested
            gap = REQUESTED_GAP_US if asked else o.gap_us
            self._builder = FrameBuilder(o.edge, gap, levels, whole=asked)
            self._pause_s = 1.5 * gap * 1e-6
        else:
            self._builder = StateBuilder(levels)

    async def _serve(self) -> None:
        if isinstance(self._builder, StateBuilder):
            await self._report_standing(self._builder)
        elif self._requested:
            try:
                await self._request_readings()
            except OSError as error:
                self._on_error(error)

    def _on_error(self, error: OSError) -> None:
        self._lost(error.strerror or str(error))

    def _close(self) -> None:
        self._pause.stop()
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
            self._on_error(error)
            return
        if events_came and (self._clocked or not self._pause.running):
            self._await_pause()

    def _await_pause(self) -> None:
        self._idle.clear()
        self._pause.start(self._pause_s, self._paused)

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
        with contextlib.suppress(OSError):  # the next wake reports it
            if self._read() and self._clocked:
                self._await_pause()
                return
        self._idle.set()
        self._give(self._builder.pause())

    def _give(self, line: TextLine | None) -> None:
        if line is not None:
            self.on_block(line[0].encode() + b"\n", line[1])

    async def _report_standing(self, builder: StateBuilder) -> None:
        """Give the state again and again while no edges come."""
        while self._lines is not None:
            await asyncio.sleep(STANDING)
            if not self._pause.running and not self.stuck():
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
PIN_ERRORS: dict[int | None, OpenFailure] = {
    errno.ENOENT: ("absent", "{port}: this machine has no such pins."),
    errno.EACCES: NOT_ALLOWED,
    errno.EPERM: NOT_ALLOWED,
    errno.EBUSY: (
        "busy",
        "{port}: another program or a device-tree overlay has one of them.",
    ),
    errno.EINVAL: (
        "absent",
        "{port}: this kernel does not take such a request; Linux 5.10 or later does.",
    ),
}

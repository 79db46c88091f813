"""An instrument on pins: clock and data, or the two waves of a scale, as the text that
its decoder reads.

It has the face of `hw.ports.serial_port.SerialPort`, so that whoever reads instruments
need not know which it is: a block is one frame a line, 0 and 1 in order of arrival,
stamped with the kernel's time of its last bit. A frame ends where the clock pauses; how
many bits it may have is the decoder's business, so that 23 or 25 of 24 are rejected and
counted, never cut to fit. Before the first pause nothing is told: the frame was half
over.

How fast, by arithmetic, as none of it has been tried on a Pi: a word of `sync24` is at
most 72 edges every 0.12 s and one of `sync52` 156, and the kernel keeps 1024, so the
loop may be half a second late. `sync48` and `bcd28` send a bit in 13 us, which the
kernel's interrupts may or may not follow. Scales and encoders: a few thousand edges a
second at most; a microcontroller that counts is the better way.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import time
from collections.abc import Callable, Mapping
from typing import Any, Literal, NamedTuple, Protocol

from hw.formats import FORMATS, read_options
from hw.ports.pin_lines import Happened, KernelLines, LibraryLines, Lines, Lost
from hw.reading import PortState

REQUESTED_GAP_US = 20_000  # gauges that answer on request were seen to take 4 ms a bit
RUN = 0.02  # s of quadrature states in one block
STANDING = 0.04  # s; a scale that does not move says so this often
RETRY = 2.0  # s
RATE = 5.0  # requests a second; gauges repeat in 0.07 to 1.2 s

OnBlock = Callable[[bytes, int], None]
OnState = Callable[[PortState, str], None]


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
    kept = {key: values[key] for key in ("edge", "gap_us", "timeout") if key in values}
    return PinOptions(pins, **kept, **({} if rate is None else {"rate": rate}))  # type: ignore[arg-type]


class Builder(Protocol):
    """Edges in order -> lines of text, each with the time of its last edge."""

    def take(self, happened: Happened) -> tuple[str, int] | None: ...

    def pause(self) -> tuple[str, int] | None:
        """Nothing has come for a while: what that ends."""
        ...


class FrameBuilder:
    """Bits between two pauses of the clock; `?` stands where edges were missed, which
    no decoder takes for a bit."""

    def __init__(
        self, edge: str, gap_us: int, levels: Mapping[str, bool], *, whole: bool = False
    ) -> None:
        """levels: of clock and data when opened. whole: the line is known to be idle,
        as before a request."""
        self._rising = edge == "rising"
        self._gap = gap_us * 1000
        self._data = levels.get("data", False)
        self._clock = levels.get("clock", False)
        self._bits: list[str] = []
        self._whole = whole  # a pause was seen since the opening
        self._last: int | None = None  # ns of the last clock edge
        self._sampled = 0  # ns of the last bit

    def take(self, happened: Happened) -> tuple[str, int] | None:
        if isinstance(happened, Lost):
            self._bits.append("?")
            self._sampled = happened.at
            return None
        if happened.line == "data":
            self._data = happened.level
            return None
        if happened.line != "clock":
            return None
        ended = None
        if self._last is not None and happened.at - self._last > self._gap:
            ended = self.pause()
        if happened.level == self._clock:  # the edge between was missed
            self._bits.append("?")
        self._clock, self._last = happened.level, happened.at
        if happened.level == self._rising:
            self._bits.append("1" if self._data else "0")
            self._sampled = happened.at
        return ended

    def pause(self) -> tuple[str, int] | None:
        bits, self._bits = "".join(self._bits), []
        whole, self._whole = self._whole, True
        return (bits, self._sampled) if bits and whole else None


class StateBuilder:
    """States 2A + B of two square waves, in runs; each run begins with the state that
    the last one ended with."""

    def __init__(self, levels: Mapping[str, bool]) -> None:
        self._a, self._b = levels.get("a", False), levels.get("b", False)
        self._run = [self._state()]
        self._last = 0

    def _state(self) -> str:
        return str(2 * self._a + self._b)

    def take(self, happened: Happened) -> tuple[str, int] | None:
        self._last = happened.at
        if isinstance(happened, Lost):
            self._run.append("?")  # nobody knows how many
            return None
        before = self._state()
        if happened.line == "a":
            self._a = happened.level
        elif happened.line == "b":
            self._b = happened.level
        elif happened.line == "z":
            return None
        # an edge to where the line was already: the one between was missed
        self._run.append(self._state() if self._state() != before else "?")
        return None

    def pause(self) -> tuple[str, int] | None:
        if len(self._run) < 2:
            return None
        run, self._run = "".join(self._run), [self._state()]
        return run, self._last

    def stand(self, now: int) -> tuple[str, int]:
        """It is where it was: a run of one state, so that rest can be told from a
        pulled cable."""
        return self._state(), now


class ClockedPins:
    """start() and stop() are called on the event loop; both callbacks come on it too."""

    def __init__(
        self,
        options: PinOptions,
        on_block: OnBlock,
        on_state: OnState,
        make_factory: Callable[[], Any] | None = None,
    ) -> None:
        """make_factory: a gpiozero pin factory to go through; None asks the kernel
        itself."""
        self.options = options
        self._on_block = on_block
        self._on_state = on_state
        self._make_factory = make_factory
        self._lines: Lines | None = None
        self._builder: Builder | None = None
        self._loop: asyncio.AbstractEventLoop | None = None
        self._tasks: list[asyncio.Task[None]] = []
        self.heard_silence = False
        self._pausing: asyncio.TimerHandle | None = None
        self._idle = asyncio.Event()
        self._idle.set()
        self._answered = asyncio.Event()
        self._ask_now = asyncio.Event()
        self._said: tuple[PortState, str] | None = None
        self.opened = 0
        self.unanswered = 0  # requests

    @property
    def is_open(self) -> bool:
        return self._lines is not None

    @property
    def idle(self) -> bool:
        """Open, and the clock has paused: the next word is heard from its first bit."""
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
            task.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await task
        self._close()

    def write(self, data: bytes) -> bool:
        """Ask for a reading now, whatever the bytes; False where no request line is
        wired or it is not open."""
        if self._lines is None or "req" not in self.options.pins:
            return False
        self._ask_now.set()
        return True

    def stuck(self) -> bool:
        """Edges wait and nobody takes them."""
        return self._lines is not None and self._lines.waiting()

    # ---- opening ---------------------------------------------------------------------

    async def _keep_opening(self) -> None:
        while True:
            if self._try_to_open():
                if isinstance(self._builder, StateBuilder):
                    await self._say_where(self._builder)
                    return
                if "req" not in self.options.pins:
                    return
                try:
                    await self._ask_on()
                except OSError as error:
                    self._lost(error)
            await asyncio.sleep(RETRY)

    def _try_to_open(self) -> bool:
        pins = dict(self.options.pins)
        request = pins.pop("req", None)
        try:
            if self._make_factory is None:
                self._lines = KernelLines(pins, request)
            else:
                self._lines = LibraryLines(pins, request, self._make_factory())
        # the library, the kernel and the board each fail in their own classes
        except Exception as error:
            self._say(*_why_not(self.where, error))
            return False
        levels = self._lines.levels
        if "clock" in pins:
            gap = REQUESTED_GAP_US if request is not None else self.options.gap_us
            self._builder = FrameBuilder(
                self.options.edge, gap, levels, whole=request is not None
            )
            self._quiet = 1.5 * gap * 1e-6
        else:
            self._builder = StateBuilder(levels)
            self._quiet = RUN
        self.opened += 1
        assert self._loop is not None
        self._lines.start(self._loop, self._woken)
        self._say("open", f"{self.where} are open.")
        if request is None and "clock" in pins:
            self._wait_for_quiet()
        return True

    def _lost(self, error: OSError) -> None:
        self._close()
        self._say(
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

    # ---- hearing ---------------------------------------------------------------------

    def _woken(self) -> None:
        try:
            came = self._take()
        except OSError as error:
            self._lost(error)
            # whoever asks, or tells where it stands, does so of lines that are gone
            for task in self._tasks:
                task.cancel()
            self._tasks = [asyncio.get_running_loop().create_task(self._keep_opening())]
            return
        if came and (self._pausing is None or isinstance(self._builder, FrameBuilder)):
            self._wait_for_quiet()

    def _wait_for_quiet(self) -> None:
        assert self._loop is not None
        if self._pausing is not None:
            self._pausing.cancel()
        self._idle.clear()
        self._pausing = self._loop.call_later(self._quiet, self._quieted)

    def _take(self) -> bool:
        if self._lines is None or self._builder is None:
            return False
        happened = self._lines.drain()
        for one in happened:
            self._tell(self._builder.take(one))
        if happened:
            self._answered.set()
        return bool(happened)

    def _quieted(self) -> None:
        """The pause that ends a frame; unless the loop was late and its edges wait to
        be read."""
        assert self._builder is not None
        self._pausing = None
        with contextlib.suppress(OSError):  # told by the next wake
            if self._take() and isinstance(self._builder, FrameBuilder):
                self._wait_for_quiet()
                return
        self._idle.set()
        self._tell(self._builder.pause())

    def _tell(self, ended: tuple[str, int] | None) -> None:
        if ended is not None:
            self._on_block(ended[0].encode() + b"\n", ended[1])

    async def _say_where(self, builder: StateBuilder) -> None:
        """While no edges come: where it stands."""
        while self._builder is builder and self._lines is not None:
            await asyncio.sleep(STANDING)
            if (
                self._pausing is None
                and self._lines is not None
                and not self._lines.waiting()
            ):
                self._tell(builder.stand(time.monotonic_ns()))

    # ---- asking ----------------------------------------------------------------------

    async def _ask_on(self) -> None:
        """Pull the request low until the first clock, let go before the last: in good
        time or at its end."""
        while True:
            due = time.monotonic() + 1.0 / self.options.rate
            lines = self._lines
            assert lines is not None
            self._answered.clear()
            lines.pull(True)
            try:
                await asyncio.wait_for(self._answered.wait(), self.options.timeout)
            except TimeoutError:
                self.unanswered += 1
            finally:
                # gone meanwhile: the next pull says so
                with contextlib.suppress(OSError):
                    lines.pull(False)
            self._ask_now.clear()
            with contextlib.suppress(TimeoutError):
                await asyncio.wait_for(
                    self._ask_now.wait(), max(0.0, due - time.monotonic())
                )
            await self._idle.wait()  # never in the middle of an answer

    def _say(self, state: PortState, words: str) -> None:
        if (state, words) != self._said:
            self._said = (state, words)
            self._on_state(state, words)


def _why_not(where: str, error: Exception) -> tuple[PortState, str]:
    number = getattr(error, "errno", None)
    if number == errno.ENOENT:
        return "absent", f"{where}: this machine has no such pins."
    if number in {errno.EACCES, errno.EPERM}:
        return (
            "denied",
            (
                f"{where} may not be opened: add this user to the group gpio and log in"
                " again."
            ),
        )
    if number == errno.EBUSY:
        return (
            "busy",
            f"{where}: another program or a device-tree overlay has one of them.",
        )
    if number == errno.EINVAL:
        return (
            "absent",
            (
                f"{where}: this kernel does not take such a request; Linux 5.10 or"
                " later does."
            ),
        )
    return "absent", f"{where} cannot be opened: {type(error).__name__}: {error}."

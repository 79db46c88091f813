"""One instrument as the daemon sees it: port, decoder, stamps, numbering, health.

Emits what the instrument said, when it said it. May import: hw, bench.settings. No numpy.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Literal

from bench.settings import PortSettings
from bench.wire import InstrumentState
from hw.formats import make_decoder
from hw.reading import PortState, Record
from hw.serial_port import PortOptions, SerialPort

if TYPE_CHECKING:
    from hw.clocked_pins import ClockedPins

Role = Literal["indicator", "travel", "caliper"]

CLOCKED = frozenset({"sync24", "sync48", "sync52", "bcd28"})  # read from pins

QUIET = 2.0  # s without a reading from an instrument that used to send: silent
FLOOD = 30_000  # readings a second that no instrument sends
GARBLED = 5  # rejects in a second, and more of them than readings

SMOOTHING = 12
ASKINGS = 10.0  # requests a second, where an instrument speaks only when asked

NS = 1_000_000_000


class Batch:
    """The readings of one block: stamps in monotonic s, values in mm as the instrument shows them."""

    __slots__ = ("data", "first", "flags", "rejected", "stamps", "unit", "values", "when")

    def __init__(self, data: bytes, when: int, first: int) -> None:
        self.data = data
        self.when = when
        self.first = first
        self.stamps: list[float] = []
        self.values: list[float] = []
        self.rejected: list[tuple[float, Record]] = []
        self.unit: str = "mm"
        self.flags: set[str] = set()


OnBatch = Callable[["Instrument", Batch], None]
OnState = Callable[["Instrument"], None]


class Instrument:
    """Callbacks come on the event loop, one per block of bytes. Never raises because of what it hears."""

    def __init__(
        self, name: str, role: Role, settings: PortSettings, on_batch: OnBatch, on_state: OnState
    ) -> None:
        self.name = name
        self.role = role
        self.settings = settings
        self.readings = 0
        self.rejects = 0
        self.value: float | None = None
        self.unit = "mm"
        self.rate: float | None = None
        self.last: float | None = None  # monotonic s of the last good reading
        self.state: str = "absent"
        self.words = f"{settings.port or 'pins'}: not opened yet."
        self.progress = 0  # counts every turn of the reader, for the watchdog
        self._on_batch = on_batch
        self._on_state = on_state
        self._previous_block = 0
        self._interval = 0.0  # s between readings, smoothed over some ten of them
        self._intervals = 0  # how many went into it
        self._since, self._goods, self._bads = 0.0, 0, 0  # of the present second
        self._char = 1.0 / max(1.0, settings.baud / 10.0)  # s a character takes on the line
        self._make_decoder()
        self._port = self._make_port()
        self._asker: asyncio.Task[None] | None = None

    def _make_port(self) -> SerialPort | ClockedPins | None:
        """What the format is read through; None, with words, where the daemon cannot read it live yet."""
        settings = self.settings
        if settings.format == "line" and settings.port:
            serial = PortOptions(
                port=settings.port,
                baud=settings.baud,
                bits=settings.bits,
                parity=settings.parity,
                stop=settings.stop,
                dtr=settings.dtr,
                rts=settings.rts,
                settle=settings.settle,
            )
            return SerialPort(serial, self._block, self._port_state)
        if settings.format in CLOCKED and settings.pins:
            from hw.clocked_pins import ClockedPins, pin_options

            pins = pin_options(settings.format, settings.options, settings.pins, settings.rate)
            return ClockedPins(pins, self._block, self._port_state)
        self.words = (
            f"{self.name}: the daemon does not read {settings.format} yet; captures of it, `decode` does."
        )
        return None

    def _make_decoder(self) -> None:
        options: dict[str, object] = {**self.settings.options}
        if self.settings.profile is not None:
            options["profile"] = self.settings.profile
        if self.settings.format == "line":
            options.setdefault("at_open", True)
        self._decoder = make_decoder(self.settings.format, options)

    def start(self) -> None:
        if self._port is None:
            return
        self._port.start()
        if self.settings.asking == "request" and self.settings.format == "line":
            self._asker = asyncio.get_running_loop().create_task(self._ask_again())

    async def stop(self) -> None:
        if self._asker is not None:
            self._asker.cancel()
        if self._port is not None:
            await self._port.stop()

    async def _ask_again(self) -> None:
        """Some instruments speak only when spoken to."""
        request = (self.settings.request or "R\r").encode("ascii")
        while self._port is not None:
            self._port.write(request)
            await asyncio.sleep(1.0 / (self.settings.rate or ASKINGS))

    # ---- what is heard ----------------------------------------------------------------------------

    def _block(self, data: bytes, when: int) -> None:
        self.progress += 1
        batch = Batch(data, when, self.readings)
        records = self._decoder.feed(data)
        before = self._previous_block or when
        self._previous_block = when
        span = min(when - before, NS)
        stamps, values = batch.stamps, batch.values
        for record in records:
            at = self._stamp(when, span, len(data), record.behind)
            if record.value is not None:
                stamps.append(at)
                values.append(record.value)
                if record.flags:
                    batch.flags.update(record.flags)
                batch.unit = record.unit
            elif record.fault is not None or record.status is not None:
                batch.rejected.append((at, record))
        self.rejects = self._decoder.rejects
        if values:
            self._heard(stamps, values, batch.unit)
        self._health(when / NS, len(values), len(batch.rejected))
        self._on_batch(self, batch)

    def _stamp(self, when: int, span: int, size: int, behind: int) -> float:
        """Bytes that came after a reading in the same block took their time on the line.

        A block may also have waited in the kernel; then they are spread since the block before.
        """
        if not behind:
            return when / NS
        back = min(behind * self._char * NS, span * behind / size)
        return (when - back) / NS

    def _heard(self, stamps: Sequence[float], values: Sequence[float], unit: str) -> None:
        self.readings += len(values)
        if self.last is not None and stamps[0] > self.last:
            new = (stamps[-1] - self.last) / len(values)
            self._intervals += 1
            self._interval += (new - self._interval) / min(self._intervals, SMOOTHING)
            self.rate = 1.0 / max(1e-6, self._interval)
        self.last = stamps[-1]
        self.value = values[-1]
        self.unit = unit

    def _health(self, now: float, good: int, bad: int) -> None:
        if now - self._since >= 1.0:
            self._since, self._goods, self._bads = now, 0, 0
        self._goods += good
        self._bads += bad
        goods, bads = self._goods, self._bads
        if not bad and self.state == "open" and goods <= FLOOD:
            return
        if goods + bads > FLOOD:
            self._become(
                "flooding", f"{self.name}: over {FLOOD} frames in a second; that is not an instrument."
            )
        elif bads >= GARBLED and bads > goods:
            self._become(
                "garbled",
                f"{self.name}: what comes from {self.settings.port} is not {self.settings.format}: "
                f"check baud rate, parity and format.",
            )
        elif goods:
            self._become("open", f"{self.name} reads.")

    def _port_state(self, state: PortState, words: str) -> None:
        self._previous_block = 0
        self._intervals = 0
        self._since = 0.0
        self.last = None
        self.rate = None
        if state == "open":
            self._make_decoder()
        else:
            self.value = None
        self._become(state, words)

    def tick(self, now: float) -> None:
        """Silence is an event too; called a few times a second."""
        if self.state in {"open", "garbled"} and self.last is not None and self._intervals >= 4:
            usual = self._interval
            if usual < 1.0 and now - self.last > max(QUIET, 5 * usual):
                self._become("silent", f"{self.name} has sent nothing for {now - self.last:.0f} s.")
                self.rate = None

    def _become(self, state: str, words: str) -> None:
        if state == self.state and words == self.words:
            return
        self.state, self.words = state, words
        self._on_state(self)

    def said(self) -> InstrumentState:
        age = None if self.last is None else max(0.0, time.monotonic() - self.last)
        return InstrumentState(
            name=self.name,
            role=self.role,
            state=self.state,
            words=self.words,
            port=self.settings.port or "",
            rate=self.rate,
            age=age,
            value=self.value,
            unit=self.unit,
            readings=self.readings,
            rejects=self.rejects,
        )

"""One instrument as the daemon sees it: source, decoder, stamps, gate, numbering,
health.

Emits what the instrument said, when it said it. No numpy.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from typing import Literal

import msgspec

from bench.daemon.sources import Sources, make_reader, may_err
from bench.doctor.direct_port import echo_of, request_of, request_rate
from bench.protocol import InstrumentState
from bench.settings.settings_file import PortSettings
from bench.stream.device_clock import DeviceClock
from bench.stream.outlier_filter import OutlierFilter
from hw.formats import FORMATS, meaning_of
from hw.formats.shared.declaration import SERIAL
from hw.reading import PortState, Record

Role = Literal["indicator", "travel", "caliper"]

QUIET = 2.0  # s without a reading from an instrument that used to send: silent
FLOOD = 30_000  # readings a second that no instrument sends
EBB = 2.0  # s without a second like that, and the flood is over
GARBLED = 5  # rejects in a second, and more of them than readings
# bytes since the last reading, for QUIET seconds and still coming: nothing in it ends a
# line
NONSENSE = 200
UNREAD = ("garbled", "no-reading")
STALLED = 1.0  # s in which something waits to be read and nobody reads it

SMOOTHING = 12
STEADY = 4  # intervals from which the usual one is known
DRAWN = 0.25  # of an interval at most is added between two readings
LOST = 2.0  # intervals too early, and it was silent meanwhile

NS = 1_000_000_000


class Batch(msgspec.Struct):
    """The readings of one block: stamps in monotonic s, values in mm as the instrument
    shows them.

    held: the (stamp, value) that the gate refused; they may have come in a block
    before. came: the stamps of all that is in `data` and is a reading, whatever the
    gate makes of it.
    """

    data: bytes
    when: int
    first: int
    came: list[float] = []
    stamps: list[float] = []
    values: list[float] = []
    rejected: list[tuple[float, Record]] = []
    held: list[tuple[float, float]] = []
    unit: str = "mm"
    flags: set[str] = set()


OnBatch = Callable[["Instrument", Batch], None]
OnState = Callable[["Instrument"], None]


class Instrument:
    """Callbacks come on the event loop, one per block of bytes. Never raises because of
    what it hears."""

    def __init__(
        self,
        name: str,
        role: Role,
        settings: PortSettings,
        on_batch: OnBatch,
        on_state: OnState,
        *,
        sources: Sources | None = None,
        count: float = 0.0,
    ) -> None:
        """sources: the ports of this daemon, where two instruments may share one.
        count: what it resolves, mm."""
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
        self._flood_at = 0.0
        self._bad_at = 0.0  # s; a line that is half bad must not come and go
        # s a character takes on the line
        self._char = 1.0 / max(1.0, settings.baud / 10.0)
        self._late = settings.late
        self._decoder = make_reader(settings)
        self._request = self._asked = b""
        if settings.asking == "request" and FORMATS[settings.format].port is SERIAL:
            self._request = request_of(settings) or b"R\r"
            self._asked = echo_of(self._request)
        self._echoes = 0  # of it, from this decoder
        self._gate = OutlierFilter(count) if may_err(settings) else None
        self._clock = (
            DeviceClock()
            if FORMATS[settings.format].traits_of(settings.profile).device_clock
            else None
        )
        self._newest = 0.0  # stamp by that clock
        self._opened = False  # and nothing has come since
        self._unread = 0  # bytes since the last reading
        self._unread_since = 0.0
        # its own word for it, where what it said last was that it has no reading
        self._no: str | None = None
        self._lost = False  # it sends, and no reading has come for long
        self._stuck_since: float | None = None
        self._stuck_at = 0
        self.source = (sources or Sources()).open(
            settings, self._block, self._port_state
        )
        self._asker: asyncio.Task[None] | None = None

    def start(self) -> None:
        self.source.start()
        if self._request:
            self._asker = asyncio.get_running_loop().create_task(self._ask_again())

    async def stop(self) -> None:
        if self._asker is not None:
            self._asker.cancel()
        await self.source.stop()

    async def _ask_again(self) -> None:
        """Some instruments speak only when spoken to."""
        while True:
            self.source.write(self._request)
            await asyncio.sleep(1.0 / request_rate(self.settings))

    # ---- what is heard ---------------------------------------------------------------

    def _block(self, data: bytes, when: int) -> None:
        self.progress += 1
        if self._opened:
            self._opened = False
            # nobody was in mid-line: the first press of a button counts
            if self.source.heard_silence:
                self._decoder, self._echoes = (
                    make_reader(self.settings, at_start=True),
                    0,
                )
        batch = Batch(data, when, self.readings)
        records = self._decoder.feed(data)
        before = self._previous_block or when
        self._previous_block = when
        span = min(when - before, NS)
        stamps: list[float] = []
        values: list[float] = []
        heard: list[Record] = []
        later = len(records)
        waited, reckoned = self.source.waited, self.last
        if not waited or self._intervals < STEADY:
            reckoned = None
        for record in records:
            later -= 1
            at = self._stamp(when, span, len(data), record.behind, later)
            if reckoned is not None:
                # when in its round it came is not known; that it comes evenly is
                reckoned = at = min(
                    at, self._evenly(reckoned, when / NS - self._late - waited)
                )
            if (
                self._clock is not None
                and (device_us := getattr(record, "device_us", None)) is not None
            ):
                # never early is the block's arrival, not what is reckoned of its lines
                at = self._clock.place(device_us, when / NS) - self._late
                if record.value is not None and at <= self._newest:
                    # where the scale was when the gauge was read: newer was told before
                    continue
                if record.value is not None:
                    self._newest = at
            if record.value is not None:
                stamps.append(at)
                values.append(record.value)
                heard.append(record)
            elif (
                record.fault is not None
                and self._asked
                and record.raw.strip() == self._asked
            ):
                self._echoes += 1  # it repeats what it is asked: no harm in that
            elif record.fault is not None or record.status is not None:
                batch.rejected.append((at, record))
        self.rejects = self._decoder.rejects - self._echoes
        if values:
            self._unread = 0
            batch.came = stamps
            self._heard(stamps)
            self._let_through(batch, stamps, values, heard)
        else:
            if not self._unread:
                self._unread_since = when / NS
            self._unread += len(data)
        if batch.rejected:
            self._no = batch.rejected[-1][1].status
            if self._no is not None:
                self._unread = 0
        self._health(when / NS, len(values), len(batch.rejected))
        self._on_batch(self, batch)

    def _let_through(
        self,
        batch: Batch,
        stamps: list[float],
        values: list[float],
        records: list[Record],
    ) -> None:
        """What the gate lets pass is the batch; a unit or a flag goes or waits with its
        own reading."""
        if self._gate is not None:
            passed = self._gate.pass_on(stamps, values, records)
            stamps, values, batch.held = passed.stamps, passed.values, passed.held
            records = passed.tags  # type: ignore[assignment]
            if not values:
                return
        self._take(batch, stamps, values, records)

    def _settle(self, now: float) -> None:
        """What the gate held when the instrument fell silent: nothing more comes to
        speak for it."""
        if self._gate is None or not self._gate.waiting:
            return
        passed = self._gate.settle(now)
        if not passed.values and not passed.held:
            return
        batch = Batch(b"", int(now * NS), self.readings, held=passed.held)
        if passed.values:
            self._take(batch, passed.stamps, passed.values, passed.tags)  # type: ignore[arg-type]
        self._on_batch(self, batch)

    def _take(
        self,
        batch: Batch,
        stamps: list[float],
        values: list[float],
        records: list[Record],
    ) -> None:
        batch.stamps, batch.values = stamps, values
        for record in records:
            if record.flags:
                batch.flags.update(record.flags)
        batch.unit = records[-1].unit
        self.readings += len(values)
        self.value, self.unit = values[-1], batch.unit

    def _stamp(
        self, when: int, span: int, size: int, behind: int, later: int = 0
    ) -> float:
        """Bytes that came after a reading in the same block took their time on the
        line.

        A block may also have waited in the kernel while this program was late: then its
        readings are as far apart as they usually are, as far as the time since the
        block before goes.
        """
        if not behind:
            return when / NS - self._late
        back = min(
            max(behind * self._char, later * self._interval) * NS, span * behind / size
        )
        return (when - back) / NS - self._late

    def _evenly(self, last: float, earliest: float) -> float:
        """The next stamp of a stream, s, drawn by degrees to where it can be: a leap
        would look like a loss."""
        at, interval = last + self._interval, self._interval
        behind = earliest - at
        return (
            earliest
            if behind > LOST * interval
            else at + min(max(0.0, behind), DRAWN * interval)
        )

    def _heard(self, stamps: Sequence[float]) -> None:
        if self.last is not None and stamps[0] > self.last:
            new = (stamps[-1] - self.last) / len(stamps)
            self._intervals += 1
            self._interval += (new - self._interval) / min(self._intervals, SMOOTHING)
            self.rate = 1.0 / max(1e-6, self._interval)
        self.last = stamps[-1]

    def _health(self, now: float, good: int, bad: int) -> None:
        if now - self._since >= 1.0:
            self._since, self._goods, self._bads = now, 0, 0
        self._goods += good
        self._bads += bad
        if bad:
            self._bad_at = now
        goods, bads = self._goods, self._bads
        if not bad and self.state == "open" and goods <= FLOOD:
            return  # nearly always
        if goods + bads > FLOOD:
            self._flood_at = now
            self._become(
                "flooding",
                f"The {self.name} sends over {FLOOD} frames in a second, which no"
                " instrument does: is it the right port? `sweepgauge doctor` listens."
                f" ({self.settings.port or 'pins'})",
            )
        elif self.state == "flooding" and now - self._flood_at < EBB:
            return
        elif bads >= GARBLED and bads > goods:
            self._become_unread()
        elif self.state in UNREAD and now - self._bad_at < 1.0:
            return
        elif goods and goods >= bads and self.state != "open":
            self._become("open", f"The {self.name} reads.")

    def _become_unread(self) -> None:
        """It sends, and there is no reading in it: because it says so itself, or
        because nothing can be made of it."""
        if self._no is not None:
            means, do = meaning_of(self._no)
            self._become(
                "no-reading",
                f"The {self.name} says it has no reading: {means}."
                f" {do[0].upper()}{do[1:]}.",
            )
        else:
            self._become_garbled()

    def _become_garbled(self) -> None:
        kind = f"{self.settings.format} {self.settings.options.get('profile', '')}".rstrip()
        check = (
            "its wires, level shifter, invert and edge"
            if self.settings.pins
            else "baud rate, parity and format"
        )
        self._become(
            "garbled",
            f"The {self.name} sends what cannot be read as {kind}: check {check}; "
            f"`sweepgauge doctor` listens. ({self.settings.port or 'pins'})",
        )

    def _port_state(self, state: PortState, words: str) -> None:
        self._previous_block = 0
        self._intervals = 0
        self._since = 0.0
        self.last = None
        self.rate = None
        self._unread = 0
        self._no, self._lost = None, False
        if self._gate is not None:
            self._gate.restart()
        if self._clock is not None:
            self._clock.restart()
            self._newest = 0.0
        if state == "open":
            self._decoder, self._echoes = make_reader(self.settings), 0
            self._opened = True
        else:
            self.value = None
        self._become(state, words)

    def tick(self, now: float) -> bool:
        """Silence is an event too; called a few times a second. True once when it sends
        and reads no longer."""
        self._settle(now)
        heard = now - self._previous_block / NS  # s ago
        usual = (
            self._interval
            if self.last is not None and self._intervals >= STEADY
            else QUIET
        )
        long = max(QUIET, 5 * usual)
        if self.last is not None and usual < 1.0:
            if now - self.last <= long:
                self._lost = False
            elif heard > long:
                if self.state in {"open", "garbled", "no-reading"}:
                    self._become(
                        "silent",
                        f"The {self.name} has sent nothing for {heard:.0f} s: is"
                        " it on?",
                    )
                    self.rate = None
            elif not self._lost:
                self._lost, self.rate = True, None
                self._become_unread()
                return True
        if (
            self._no is not None
            and self.state in {"open", "silent"}
            and heard < 1.0
            and self._no_value(now)
        ):
            self._become_unread()
        long_nothing = self._unread > NONSENSE and now - self._unread_since > QUIET
        if long_nothing and self.state in {"open", "silent"} and heard < 1.0:
            self._become_garbled()
        return False

    def _no_value(self, now: float) -> bool:
        return self.last is None or now - self.last > QUIET

    def stalled(self, now: float) -> bool:
        """Something has waited to be read for STALLED seconds, and the reader did not
        move. Asked in turns."""
        if not self.source.stuck() or (
            self._stuck_since is not None and self.progress != self._stuck_at
        ):
            self._stuck_since = None
        elif self._stuck_since is None:
            self._stuck_since, self._stuck_at = now, self.progress
        return self._stuck_since is not None and now - self._stuck_since > STALLED

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
            held=self._gate.refused if self._gate is not None else 0,
        )

"""The acquisition from one instrument: decode, stamp, filter, number, watch its health.

Every block of bytes becomes one batch of readings.
"""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from typing import Literal

import msgspec

from bench.daemon.sources import SharedPort, Sources, make_reader, may_err
from bench.doctor.direct_port import echo_of, request_of, request_rate
from bench.procedure.status_message import StatusMessage
from bench.protocol import InstrumentState
from bench.settings.settings_file import PortSettings
from bench.stream.device_clock import DeviceClock
from bench.stream.outlier_filter import OutlierFilter
from hw.formats import FORMATS, meaning_of
from hw.formats.shared.declaration import SERIAL
from hw.patience import SILENT_S, UNREAD_STALL_S
from hw.reading import PortState, Record

Role = Literal["indicator", "travel", "caliper"]

FLOOD = 30_000  # frames a second; no instrument sends more
EBB = 2.0  # s without such a second, after which the flood is over
GARBLED = 5  # rejected frames in a second, and more of them than readings
# bytes without a reading, coming for SILENT_S seconds and still coming: the stream has
# no line ends
NONSENSE = 200
UNREAD = ("garbled", "no-reading")

SMOOTHING = 12  # intervals that the moving average of the interval goes back
STEADY = 4  # intervals after which that average is used
MOST_DRAWN = 0.25  # share of an interval by which a stamp is drawn, at most
TOO_EARLY = 2.0  # intervals; a stamp so much too early follows a silence

NS = 1_000_000_000


class Batch(msgspec.Struct):
    """The readings of one block: stamps in monotonic s, values in mm as the instrument
    shows them.

    data, when: the bytes, and their arrival in monotonic ns. first: the number of the
    first reading. came: stamps of all readings in `data`, before the outlier filter.
    rejected: frames that the decoder refused. held: the (stamp, value) that the outlier
    filter rejected, also from blocks before.
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
    """One instrument; its callbacks come on the event loop, one per block of bytes. It
    never raises because of the bytes."""

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
        count: the instrument's count, mm; 0 where unknown."""
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
        self.remark = StatusMessage("instrument-not-open", {"name": name})
        self.progress = 0  # blocks read so far, for the watchdog
        self._on_batch = on_batch
        self._on_state = on_state
        self._previous_block = 0
        self._interval = 0.0  # s between readings, moving average
        self._intervals = 0  # how many are in the average
        self._since, self._good_frames, self._bad_frames = (
            0.0,
            0,
            0,
        )  # of the present second
        self._flood_at = 0.0
        self._bad_at = 0.0  # s; the latest second with a rejected frame
        # s that a character takes on the line
        self._char = 1.0 / max(1.0, settings.baud / 10.0)
        self._late = settings.late
        self._decoder = make_reader(settings)
        self._request = self._echo = b""
        if settings.asking == "request" and FORMATS[settings.format].port is SERIAL:
            self._request = request_of(settings) or b"R\r"
            self._echo = echo_of(self._request)
        self._echoes = 0  # echoes of the request among this decoder's rejects
        self._filter = OutlierFilter(count) if may_err(settings) else None
        self._clock = (
            DeviceClock()
            if FORMATS[settings.format].traits_of(settings.profile).device_clock
            else None
        )
        self._newest = 0.0  # the latest stamp by that clock
        self._opened = False  # the port was opened and nothing has come since
        self._unread = 0  # bytes since the last reading
        self._unread_since = 0.0
        # the instrument's status where its latest frame said that it has no reading
        self._no_reading: str | None = None
        self._stopped_reading = (
            False  # it sends, and no reading has come for long; told
        )
        self._stuck_since: float | None = None
        self._stuck_at = 0
        self.source = (sources or Sources()).open(
            settings, self._block, self._port_state
        )
        self._rounds = (
            self.source.rounds if isinstance(self.source, SharedPort) else None
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
        """Send the request again and again, to instruments that only answer."""
        while True:
            self.source.write(self._request)
            await asyncio.sleep(1.0 / request_rate(self.settings))

    # ---- readings --------------------------------------------------------------------

    def _block(self, data: bytes, when: int) -> None:
        self.progress += 1
        if self._opened:
            self._opened = False
            # Bytes after a silence begin a line: the first press of a button counts.
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
        read: list[Record] = []
        later = len(records)
        waited = self._rounds.waited if self._rounds is not None else 0.0
        even_stamp = self.last
        if not waited or self._intervals < STEADY:
            even_stamp = None
        for record in records:
            later -= 1
            at = self._stamp(when, span, len(data), record.behind, later)
            if even_stamp is not None:
                # When in the round it came is not known, but readings come evenly.
                even_stamp = at = min(
                    at, self._stamp_evenly(even_stamp, when / NS - self._late - waited)
                )
            if (
                self._clock is not None
                and (device_us := getattr(record, "device_us", None)) is not None
            ):
                # The block's arrival is never early; the stamp of a line in it may be.
                at = self._clock.place(device_us, when / NS) - self._late
                if record.value is not None and at <= self._newest:
                    # An older place of the scale, sent with the gauge's reading.
                    continue
                if record.value is not None:
                    self._newest = at
            if record.value is not None:
                stamps.append(at)
                values.append(record.value)
                read.append(record)
            elif (
                record.fault is not None
                and self._echo
                and record.raw.strip() == self._echo
            ):
                self._echoes += (
                    1  # the instrument echoes the request, which is no fault
                )
            elif record.fault is not None or record.status is not None:
                batch.rejected.append((at, record))
        self.rejects = self._decoder.rejects - self._echoes
        if values:
            self._unread = 0
            batch.came = stamps
            self._note_interval(stamps)
            self._filter_outliers(batch, stamps, values, read)
        else:
            if not self._unread:
                self._unread_since = when / NS
            self._unread += len(data)
        if batch.rejected:
            self._no_reading = batch.rejected[-1][1].status
            if self._no_reading is not None:
                self._unread = 0
        self._health(when / NS, len(values), len(batch.rejected))
        self._on_batch(self, batch)

    def _filter_outliers(
        self,
        batch: Batch,
        stamps: list[float],
        values: list[float],
        records: list[Record],
    ) -> None:
        """Fill the batch with what the outlier filter passes on; each unit and flag
        goes with its own reading."""
        if self._filter is not None:
            passed = self._filter.pass_on(stamps, values, records)
            stamps, values, batch.held = passed.stamps, passed.values, passed.rejected
            records = passed.tags  # type: ignore[assignment]
            if not values:
                return
        self._fill(batch, stamps, values, records)

    def _settle_pending(self, now: float) -> None:
        """Let the filter decide on pending readings when the instrument fell silent."""
        if self._filter is None or not self._filter.waiting:
            return
        passed = self._filter.settle(now)
        if not passed.values and not passed.rejected:
            return
        batch = Batch(b"", int(now * NS), self.readings, held=passed.rejected)
        if passed.values:
            self._fill(batch, passed.stamps, passed.values, passed.tags)  # type: ignore[arg-type]
        self._on_batch(self, batch)

    def _fill(
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
        """The stamp of a reading, s: the block's arrival less the time that the bytes
        behind it took on the line.

        A block may have waited in the kernel while this program was late. Its readings
        then lie the usual interval apart, within the time since the block before.
        """
        if not behind:
            return when / NS - self._late
        back = min(
            max(behind * self._char, later * self._interval) * NS, span * behind / size
        )
        return (when - back) / NS - self._late

    def _stamp_evenly(self, last: float, earliest: float) -> float:
        """The next stamp of an even stream, s, drawn by degrees to the earliest
        possible one: a jump would look like a lost reading."""
        at, interval = last + self._interval, self._interval
        behind = earliest - at
        return (
            earliest
            if behind > TOO_EARLY * interval
            else at + min(max(0.0, behind), MOST_DRAWN * interval)
        )

    def _note_interval(self, stamps: Sequence[float]) -> None:
        if self.last is not None and stamps[0] > self.last:
            new = (stamps[-1] - self.last) / len(stamps)
            self._intervals += 1
            self._interval += (new - self._interval) / min(self._intervals, SMOOTHING)
            self.rate = 1.0 / max(1e-6, self._interval)
        self.last = stamps[-1]

    def _health(self, now: float, good: int, bad: int) -> None:
        if now - self._since >= 1.0:
            self._since, self._good_frames, self._bad_frames = now, 0, 0
        self._good_frames += good
        self._bad_frames += bad
        if bad:
            self._bad_at = now
        good_frames, bad_frames = self._good_frames, self._bad_frames
        if not bad and self.state == "open" and good_frames <= FLOOD:
            return  # the usual case
        if good_frames + bad_frames > FLOOD:
            self._flood_at = now
            values = {"name": self.name, "frames": FLOOD}
            self._set_state("flooding", StatusMessage("instrument-floods", values))
        elif self.state == "flooding" and now - self._flood_at < EBB:
            return
        elif bad_frames >= GARBLED and bad_frames > good_frames:
            self._set_unread()
        elif self.state in UNREAD and now - self._bad_at < 1.0:
            return
        elif good_frames and good_frames >= bad_frames and self.state != "open":
            reads = StatusMessage("instrument-reads", {"name": self.name})
            self._set_state("open", reads)

    def _set_unread(self) -> None:
        """The instrument sends no readings: it says so itself, or its bytes cannot be
        decoded."""
        if self._no_reading is not None:
            means, do = meaning_of(self._no_reading)
            advice = f"{do[0].upper()}{do[1:]}"
            says = {"name": self.name, "means": means, "advice": advice}
            self._set_state("no-reading", StatusMessage("instrument-no-reading", says))
        else:
            self._set_garbled()

    def _set_garbled(self) -> None:
        profile = self.settings.options.get("profile", "")
        kind = f"{self.settings.format} {profile}".rstrip()
        code = "instrument-garbled-pins" if self.settings.pins else "instrument-garbled"
        values = {"name": self.name, "format": kind}
        self._set_state("garbled", StatusMessage(code, values))

    def _port_state(self, state: PortState, words: str) -> None:
        self._previous_block = 0
        self._intervals = 0
        self._since = 0.0
        self.last = None
        self.rate = None
        self._unread = 0
        self._no_reading, self._stopped_reading = None, False
        if self._filter is not None:
            self._filter.restart()
        if self._clock is not None:
            self._clock.restart()
            self._newest = 0.0
        if state == "open":
            self._decoder, self._echoes = make_reader(self.settings), 0
            self._opened = True
        else:
            self.value = None
        port = self.settings.port or ""
        values = {"name": self.name, "port": port, "why": words}
        self._set_state(state, StatusMessage("instrument-port", values))

    def tick(self, now: float) -> bool:
        """Watch for silence, a few times a second. True once when the instrument still
        sends but no reading comes any more."""
        self._settle_pending(now)
        silence = now - self._previous_block / NS  # s since the latest block
        usual = (
            self._interval
            if self.last is not None and self._intervals >= STEADY
            else SILENT_S
        )
        long = max(SILENT_S, 5 * usual)
        if self.last is not None and usual < 1.0:
            if now - self.last <= long:
                self._stopped_reading = False
            elif silence > long:
                if self.state in {"open", "garbled", "no-reading"}:
                    values = {"name": self.name, "seconds": round(silence)}
                    told = StatusMessage("instrument-silent", values)
                    self._set_state("silent", told)
                    self.rate = None
            elif not self._stopped_reading:
                self._stopped_reading, self.rate = True, None
                self._set_unread()
                return True
        if (
            self._no_reading is not None
            and self.state in {"open", "silent"}
            and silence < 1.0
            and self._no_value(now)
        ):
            self._set_unread()
        long_nothing = self._unread > NONSENSE and now - self._unread_since > SILENT_S
        if long_nothing and self.state in {"open", "silent"} and silence < 1.0:
            self._set_garbled()
        return False

    def _no_value(self, now: float) -> bool:
        return self.last is None or now - self.last > SILENT_S

    def stalled(self, now: float) -> bool:
        """Whether bytes have waited unread for UNREAD_STALL_S seconds; to be called
        regularly."""
        if not self.source.stuck() or (
            self._stuck_since is not None and self.progress != self._stuck_at
        ):
            self._stuck_since = None
        elif self._stuck_since is None:
            self._stuck_since, self._stuck_at = now, self.progress
        return (
            self._stuck_since is not None and now - self._stuck_since > UNREAD_STALL_S
        )

    def _set_state(self, state: str, remark: StatusMessage) -> None:
        if state == self.state and remark == self.remark:
            return
        self.state, self.remark = state, remark
        self._on_state(self)

    def said(self) -> InstrumentState:
        age = None if self.last is None else max(0.0, time.monotonic() - self.last)
        return InstrumentState(
            name=self.name,
            role=self.role,
            state=self.state,
            remarks=[self.remark],
            port=self.settings.port or "",
            rate=self.rate,
            age=age,
            value=self.value,
            unit=self.unit,
            readings=self.readings,
            rejects=self.rejects,
            held=self._filter.rejections if self._filter is not None else 0,
        )

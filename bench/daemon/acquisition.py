"""The acquisition from one instrument: decode, stamp, filter, number, watch its health.

Every block of bytes becomes one batch of readings.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import msgspec

from bench.daemon.reading_stamps import NS, ReadingStamps
from bench.daemon.repeated_request import RepeatedRequest
from bench.daemon.sources import SharedPort, Sources, make_reader, may_err
from bench.procedure.status_message import StatusMessage
from bench.protocol import InstrumentState
from bench.settings.settings_file import PortSettings, Role
from bench.stream.outlier_filter import OutlierFilter
from hw.formats import meaning_of
from hw.patience import SILENT_S, UNREAD_STALL_S
from hw.reading import PortState, Record

FLOOD = 30_000  # frames a second; no instrument sends more
EBB = 2.0  # s without such a second, after which the flood is over
GARBLED = 5  # rejected frames in a second, and more of them than readings
# bytes without a reading, coming for SILENT_S seconds and still coming: the stream has
# no line ends
NONSENSE = 200
UNREAD = ("garbled", "no-reading")


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
        self.stamps = ReadingStamps(settings)
        self.state: str = "absent"
        self.remark = StatusMessage("instrument-not-open", {"name": name})
        self.progress = 0  # blocks read so far, for the watchdog
        self._on_batch = on_batch
        self._on_state = on_state
        # of the present second: when it began, and its frames
        self._since, self._good_frames, self._bad_frames = 0.0, 0, 0
        self._flood_at = 0.0
        self._bad_at = 0.0  # s; the latest second with a rejected frame
        self._decoder = make_reader(settings)
        self._request = RepeatedRequest(settings)
        self._echoes = 0  # echoes of the request among this decoder's rejects
        self._filter = OutlierFilter(count) if may_err(settings) else None
        self._opened = False  # the port was opened and nothing has come since
        self._unread = 0  # bytes since the last reading
        self._unread_since = 0.0
        # the instrument's status where its latest frame said that it has no reading
        self._no_reading: str | None = None
        # it sends, and no reading has come for long; told
        self._stopped_reading = False
        self._stuck_since: float | None = None
        self._stuck_at = 0
        heard = settings, self._block, self._port_state
        source = self.source = (sources or Sources()).open(*heard)
        self._rounds = source.rounds if isinstance(source, SharedPort) else None

    @property
    def last(self) -> float | None:
        """Monotonic s of the last good reading."""
        return self.stamps.last

    @property
    def rate(self) -> float | None:
        """Readings a second."""
        return self.stamps.rate

    def start(self) -> None:
        self.source.start()
        self._request.start(self.source.write)

    async def stop(self) -> None:
        self._request.stop()
        await self.source.stop()

    # ---- readings --------------------------------------------------------------------

    def _block(self, data: bytes, when: int) -> None:
        self.progress += 1
        if self._opened:
            self._opened = False
            # Bytes after a silence begin a line: the first press of a button counts.
            if self.source.heard_silence:
                self._restart_decoder(at_start=True)
        batch = Batch(data, when, self.readings)
        read = self._decode(batch, data, when)
        self.rejects = self._decoder.rejects - self._echoes
        if read:
            self._unread = 0
            self.stamps.note(batch.came)
            self._filter_outliers(batch, read)
        else:
            if not self._unread:
                self._unread_since = when / NS
            self._unread += len(data)
        if batch.rejected:
            self._no_reading = batch.rejected[-1][1].status
            if self._no_reading is not None:
                self._unread = 0
        self._health(when / NS, len(read), len(batch.rejected))
        self._on_batch(self, batch)

    def _restart_decoder(self, *, at_start: bool = False) -> None:
        self._decoder = make_reader(self.settings, at_start=at_start)
        self._echoes = 0

    def _decode(self, batch: Batch, data: bytes, when: int) -> list[Record]:
        """The readings in the block, stamped in `batch.came`; rejected frames go into
        the batch."""
        records = self._decoder.feed(data)
        waited = self._rounds.waited if self._rounds is not None else 0.0
        self.stamps.begin(when, len(data), waited)
        read: list[Record] = []
        later = len(records)
        for record in records:
            later -= 1
            if (at := self.stamps.stamp(record, later)) is None:
                continue
            if record.value is not None:
                batch.came.append(at)
                read.append(record)
            elif record.fault is not None and self._request.is_echo(record):
                self._echoes += 1
            elif record.fault is not None or record.status is not None:
                batch.rejected.append((at, record))
        return read

    def _filter_outliers(self, batch: Batch, read: list[Record]) -> None:
        """Fill the batch with what the outlier filter passes on; each unit and flag
        goes with its own reading."""
        values = [record.value for record in read if record.value is not None]
        if self._filter is None:
            self._fill(batch, batch.came, values, read)
            return
        passed = self._filter.pass_on(batch.came, values, read)
        batch.held = passed.rejected
        if passed.values:
            self._fill(batch, passed.stamps, passed.values, passed.tags)  # type: ignore[arg-type]

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

    def _count(self, now: float, good: int, bad: int) -> tuple[int, int]:
        """The good and the bad frames of the present second."""
        if now - self._since >= 1.0:
            self._since, self._good_frames, self._bad_frames = now, 0, 0
        self._good_frames += good
        self._bad_frames += bad
        if bad:
            self._bad_at = now
        return self._good_frames, self._bad_frames

    def _health(self, now: float, good: int, bad: int) -> None:
        good_frames, bad_frames = self._count(now, good, bad)
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
        self.stamps.restart()
        self._since = 0.0
        self._unread = 0
        self._no_reading, self._stopped_reading = None, False
        if self._filter is not None:
            self._filter.restart()
        if state == "open":
            self._restart_decoder()
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
        silence, last = self.stamps.silence(now), self.last
        usual = self.stamps.interval
        long = max(SILENT_S, 5 * (usual or 0.0))
        if last is not None and usual is not None and usual < 1.0:
            if now - last <= long:
                self._stopped_reading = False
            elif silence > long:
                if self.state in {"open", "garbled", "no-reading"}:
                    values = {"name": self.name, "seconds": round(silence)}
                    told = StatusMessage("instrument-silent", values)
                    self._set_state("silent", told)
                    self.stamps.rate = None
            elif not self._stopped_reading:
                self._stopped_reading, self.stamps.rate = True, None
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

"""The acquisition from one instrument: decode, stamp, filter and number its readings.

Every block of bytes becomes one batch of readings.
"""

from __future__ import annotations

import time
from collections.abc import Callable

import msgspec

from bench.daemon.instrument_health import FLOOD_FRAMES, InstrumentHealth
from bench.daemon.reading_stamps import NS, ReadingStamps
from bench.daemon.sources import (
    RepeatedRequest,
    SharedPort,
    Sources,
    make_reader,
    may_err,
)
from bench.procedure.status_message import StatusMessage
from bench.protocol import InstrumentState
from bench.settings.settings_file import PortSettings, Role
from bench.stream.outlier_filter import FilterOutput, OutlierFilter
from hw.reading import PortState, Record


class Batch(msgspec.Struct):
    """The readings of one block: stamps in monotonic s, values in mm as the instrument
    shows them.

    data, when: the bytes, and their arrival in monotonic ns. first: the number of the
    first reading. came: stamps of all readings in `data`, before the outlier filter.
    rejected_frames: those that the decoder refused. outliers: the (stamp, value) that
    the outlier filter rejected, also from blocks before.
    """

    data: bytes
    when: int
    first: int
    came: list[float] = []
    stamps: list[float] = []
    values: list[float] = []
    rejected_frames: list[tuple[float, Record]] = []
    outliers: list[tuple[float, float]] = []
    unit: str = "mm"
    flags: set[str] = set()


OnBatch = Callable[["Instrument", Batch], None]
OnState = Callable[["Instrument"], None]


class Instrument:
    """One instrument; its callbacks come on the event loop, one per block of bytes. It
    never raises because of the bytes."""

    def __init__(
        self,
        name: Role,
        settings: PortSettings,
        on_batch: OnBatch,
        on_state: OnState,
        *,
        sources: Sources | None = None,
        count: float = 0.0,
    ) -> None:
        """name: its role. sources: the ports of this daemon, where two instruments may
        share one. count: the instrument's count, mm; 0 where unknown."""
        self.name, self.settings = name, settings
        self.readings = self.rejects = 0
        self.value: float | None = None
        self.unit = "mm"
        self.stamps = ReadingStamps(settings)
        self.health = InstrumentHealth(name, settings, lambda: on_state(self))
        self._on_batch = on_batch
        # of the present second: when it began, and its frames
        self._since, self._good_frames, self._bad_frames = 0.0, 0, 0
        self._decoder = make_reader(settings)
        self._request = RepeatedRequest(settings)
        self._echoes = 0  # echoes of the request among this decoder's rejects
        self._filter = OutlierFilter(count) if may_err(settings) else None
        self._opened = False  # the port was opened and nothing has come since
        callbacks = self._block, self._port_state
        source = self.source = (sources or Sources()).open(settings, *callbacks)
        self._rounds = source.line.rounds if isinstance(source, SharedPort) else None

    @property
    def state(self) -> str:
        return self.health.state

    @property
    def remark(self) -> StatusMessage:
        return self.health.remark

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
        self.health.blocks += 1
        if self._opened:
            self._opened = False
            # Bytes after a silence begin a line: the first press of a button counts.
            if self.source.heard_silence:
                self._restart_decoder(at_start=True)
        batch = Batch(data, when, self.readings)
        read = self._decode(batch, data, when)
        self.rejects = self._decoder.rejects - self._echoes
        if read:
            self.health.unread = 0
            self.stamps.note(batch.came)
            self._filter_outliers(batch, read)
        else:
            self.health.nothing_read(len(data), when / NS)
        self._count_frames(batch, len(read))
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
                batch.rejected_frames.append((at, record))
        return read

    def _filter_outliers(self, batch: Batch, read: list[Record]) -> None:
        """Fill the batch with what the outlier filter passes on; each unit and flag
        goes with its own reading."""
        values = [record.value for record in read if record.value is not None]
        if self._filter is None:
            self._fill(batch, FilterOutput(batch.came, values, [], [*read]))
        else:
            self._fill(batch, self._filter.pass_on(batch.came, values, read))

    def _settle_pending(self, now: float) -> None:
        """Let the filter decide on pending readings when the instrument fell silent."""
        if self._filter is not None and self._filter.waiting:
            batch = Batch(b"", int(now * NS), self.readings)
            self._fill(batch, self._filter.settle(now))
            if batch.values or batch.outliers:
                self._on_batch(self, batch)

    def _fill(self, batch: Batch, passed: FilterOutput) -> None:
        """Fill the batch; the tags of the filter are the records."""
        batch.stamps, batch.values, batch.outliers, records = passed
        if not batch.values:
            return
        for record in records:
            if record.flags:  # type: ignore[attr-defined]
                batch.flags.update(record.flags)  # type: ignore[attr-defined]
        self.unit = batch.unit = records[-1].unit  # type: ignore[attr-defined]
        self.readings += len(batch.values)
        self.value = batch.values[-1]

    def _count_frames(self, batch: Batch, good: int) -> None:
        """Count the frames of the present second, and report them to the health where
        they are not as usual."""
        now, rejected = batch.when / NS, batch.rejected_frames
        if now - self._since >= 1.0:
            self._since, self._good_frames, self._bad_frames = now, 0, 0
        self._good_frames += good
        self._bad_frames += len(rejected)
        health = self.health
        if rejected or health.state != "open" or self._good_frames > FLOOD_FRAMES:
            latest = rejected[-1][1] if rejected else None
            health.frames(now, self._good_frames, self._bad_frames, latest)

    def _port_state(self, state: PortState, words: str) -> None:
        self.stamps.restart()
        self._since = 0.0
        if self._filter is not None:
            self._filter.restart()
        if state == "open":
            self._restart_decoder()
            self._opened = True
        else:
            self.value = None
        self.health.port_state(state, words)

    def tick(self, now: float) -> bool:
        """Watch for silence, a few times a second. True once when the instrument still
        sends but no reading comes any more."""
        self._settle_pending(now)
        return self.health.tick(now, self.stamps)

    def stalled(self, now: float) -> bool:
        """Whether bytes have waited unread for too long; to be called regularly."""
        return self.health.stalled(self.source.stuck(), now)

    def state_message(self) -> InstrumentState:
        age = None if self.last is None else max(0.0, time.monotonic() - self.last)
        return InstrumentState(
            name=self.name,
            role=self.name,
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

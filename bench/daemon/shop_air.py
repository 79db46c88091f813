"""The shop's air: read every quarter of an hour and when a check begins, kept in the
log, at hand for each result."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Callable, Sequence

from bench.finding import Climate
from bench.log.writer import LogWriter
from bench.upkeep.history import sound_climate
from hw.climate import SensorReading

EVERY_S = 900.0
STALE_S = EVERY_S + 120.0  # a reading as old as this says nothing of a result

log = logging.getLogger("sweepgauge")


class ShopAir:
    """read: every sensor that answers; it may take a second, and is called off the
    event loop."""

    def __init__(
        self, log_writer: LogWriter, read: Callable[[], Sequence[SensorReading]]
    ) -> None:
        self._log = log_writer
        self._read = read
        self._latest: tuple[float, Climate] | None = None
        self._lied = False
        self._wanted = asyncio.Event()

    def now(self) -> Climate | None:
        """Of the last reading; None where there is none, or it is too old."""
        if self._latest is None or time.monotonic() - self._latest[0] > STALE_S:
            return None
        return self._latest[1]

    def want(self) -> None:
        """Read soon: a check begins."""
        self._wanted.set()

    async def go_on(self) -> None:
        """Until it is cancelled."""
        while True:
            self._wanted.clear()
            self._take(await asyncio.to_thread(self._read))
            try:
                async with asyncio.timeout(EVERY_S):
                    await self._wanted.wait()
            except TimeoutError:
                pass

    def _take(self, sensors: Sequence[SensorReading]) -> None:
        """Of the first sensor of humidity, else of the first at all."""
        one = min(sensors, key=lambda one: one.humidity is None, default=None)
        if one is None:
            return
        humidity = None if one.humidity is None else one.humidity / 100.0
        read = Climate(one.temperature, humidity)
        climate = sound_climate(read)
        if climate is None:
            if not self._lied:
                log.warning(
                    "the sensor %s shows what no air can be: %s", one.sensor, read
                )
            self._lied = True
            return
        self._lied = False
        self._latest = (time.monotonic(), climate)
        self._log.climate(one.sensor, climate.temperature, climate.humidity)

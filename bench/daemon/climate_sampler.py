"""Samples the shop's climate every quarter of an hour and when a check begins, for the
log and for each result."""

from __future__ import annotations

import asyncio
import logging
import time
from collections.abc import Sequence
from contextlib import suppress

from bench.finding import Climate
from bench.log.writer import LogWriter
from bench.upkeep.history import sound_climate
from hw.climate import SensorReading, read_climate

EVERY_S = 900.0  # s between two readings: at rest the log commits no oftener
STALE_S = EVERY_S + 120.0  # a reading as old as this says nothing of a result

log = logging.getLogger("sweepgauge")


class ClimateSampler:
    """Holds the latest reading, and gives each to the log."""

    def __init__(self, log_writer: LogWriter) -> None:
        self._log = log_writer
        self._latest: tuple[float, Climate] | None = None
        self._impossible = False
        self._wanted = asyncio.Event()

    def now(self) -> Climate | None:
        """The climate of the last reading; None where there is none, or it is too
        old."""
        if self._latest is None or time.monotonic() - self._latest[0] > STALE_S:
            return None
        return self._latest[1]

    def want(self) -> None:
        """Have the sensors read soon, since a check begins."""
        self._wanted.set()

    async def run(self) -> None:
        """Read the sensors at intervals, until it is cancelled."""
        while True:
            self._wanted.clear()
            self._take(await asyncio.to_thread(read_climate))
            with suppress(TimeoutError):
                await asyncio.wait_for(self._wanted.wait(), EVERY_S)

    def _take(self, sensors: Sequence[SensorReading]) -> None:
        """Take the reading of the first sensor of humidity, else of the first
        sensor."""
        one = min(sensors, key=lambda one: one.humidity is None, default=None)
        if one is None:
            return
        humidity = None if one.humidity is None else one.humidity / 100.0
        read = Climate(one.temperature, humidity)
        climate = sound_climate(read)
        if climate is None:
            if not self._impossible:
                log.warning(
                    "the sensor %s shows what no air can be: %s", one.sensor, read
                )
            self._impossible = True
            return
        self._impossible = False
        self._latest = (time.monotonic(), climate)
        self._log.climate(one.sensor, climate.temperature, climate.humidity)

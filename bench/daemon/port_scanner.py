"""Listens to every serial port that nobody holds.

Ports are let go when nobody looks for cables any more.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable

from bench.daemon.port_listener import Places, PortListener

SCAN_INTERVAL_S = 1.0  # s between looks at what is plugged in
RETRY_OPEN_S = 1.0  # s until a port that could not be opened is tried again


class PortScanner:
    """Holds all ports that are listened to. `held`: devices that the daemon itself
    reads already."""

    def __init__(
        self,
        where: Places,
        held: Callable[[], set[str]],
        heard: Callable[[PortListener, list[float], list[float]], None],
    ) -> None:
        self._where, self._held, self._heard = where, held, heard
        self.tapped: dict[str, PortListener] = {}  # by device
        self.on = False
        self.looked = False  # once at the least since it was put on
        self._due = 0.0
        self._looking: asyncio.Task[None] | None = None
        self._again: dict[str, float] = {}

    def start(self) -> None:
        if not self.on:
            self.on, self.looked, self._due = True, False, 0.0

    async def stop(self) -> None:
        self.on = False
        if self._looking is not None:
            self._looking.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._looking
            self._looking = None
        tapped, self.tapped = [*self.tapped.values()], {}
        await asyncio.gather(*(one.stop() for one in tapped))

    async def release(self, port: str) -> None:
        """Let go of one port, that the daemon may open it as an instrument."""
        for device, one in [*self.tapped.items()]:
            if one.place.name == port:
                del self.tapped[device]
                await one.stop()

    def tick(self, now: float) -> None:
        if not self.on:
            return
        for one in self.tapped.values():
            one.tick(now)
        if now >= self._due and (self._looking is None or self._looking.done()):
            self._due = now + SCAN_INTERVAL_S
            self._looking = asyncio.get_running_loop().create_task(self._look())

    async def _look(self) -> None:
        found = {place.device: place for place in await asyncio.to_thread(self._where)}
        now = time.monotonic()
        held = self._held()
        for device, one in [*self.tapped.items()]:
            if device not in found or device in held or one.lost:
                del self.tapped[device]
                if one.lost and device in found:
                    self._again[device] = now + RETRY_OPEN_S
                await one.stop()
        for device, place in found.items():
            if (
                device not in self.tapped
                and device not in held
                and now >= self._again.get(device, 0.0)
            ):
                self.tapped[device] = PortListener(place, self._heard)
        self.looked = True

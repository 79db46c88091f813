"""Listens to every serial port that nobody holds.

Ports are let go when nobody looks for cables any more.
"""

from __future__ import annotations

import asyncio
import contextlib
import time
from collections.abc import Callable

from bench.daemon.port_listener import ListPorts, PortListener

SCAN_INTERVAL_S = 1.0  # s between looks at what is plugged in
RETRY_OPEN_S = 1.0  # s until a port that could not be opened is tried again


class PortScanner:
    """Holds all ports that are listened to. `held`: devices that the daemon itself
    reads already."""

    def __init__(
        self,
        list_ports: ListPorts,
        held: Callable[[], set[str]],
        on_readings: Callable[[PortListener, list[float], list[float]], None],
    ) -> None:
        self._list_ports, self._held = list_ports, held
        self._on_readings = on_readings
        self.listeners: dict[str, PortListener] = {}  # by device
        self.on = False
        self.looked = False  # once at the least since it was put on
        self._due = 0.0
        self._scanning: asyncio.Task[None] | None = None
        self._again: dict[str, float] = {}

    def start(self) -> None:
        if not self.on:
            self.on, self.looked, self._due = True, False, 0.0

    async def stop(self) -> None:
        self.on = False
        if self._scanning is not None:
            self._scanning.cancel()
            with contextlib.suppress(asyncio.CancelledError):
                await self._scanning
            self._scanning = None
        listeners, self.listeners = [*self.listeners.values()], {}
        await asyncio.gather(*(one.stop() for one in listeners))

    async def release(self, port: str) -> None:
        """Let go of one port, that the daemon may open it as an instrument."""
        for device, one in [*self.listeners.items()]:
            if one.port.name == port:
                del self.listeners[device]
                await one.stop()

    def tick(self, now: float) -> None:
        if not self.on:
            return
        for one in self.listeners.values():
            one.tick(now)
        if now >= self._due and (self._scanning is None or self._scanning.done()):
            self._due = now + SCAN_INTERVAL_S
            self._scanning = asyncio.get_running_loop().create_task(self._scan())

    async def _scan(self) -> None:
        ports = await asyncio.to_thread(self._list_ports)
        found = {port.device: port for port in ports}
        now = time.monotonic()
        held = self._held()
        for device, one in [*self.listeners.items()]:
            if device not in found or device in held or one.lost:
                del self.listeners[device]
                if one.lost and device in found:
                    self._again[device] = now + RETRY_OPEN_S
                await one.stop()
        for device, port in found.items():
            if (
                device not in self.listeners
                and device not in held
                and now >= self._again.get(device, 0.0)
            ):
                self.listeners[device] = PortListener(port, self._on_readings)
        self.looked = True

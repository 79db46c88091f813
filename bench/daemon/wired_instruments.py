"""The instruments that the daemon reads: opened by the settings, and opened anew when
those change."""

from __future__ import annotations

import os
from collections.abc import Callable
from typing import Literal

from bench.daemon.acquisition import Instrument, OnBatch, OnState
from bench.daemon.sources import Sources
from bench.protocol import Readings
from bench.settings.settings_file import PortSettings, Role, Settings


class WiredInstruments:
    """Holds the instruments that are read now: `all`, in the order indicator, travel,
    caliper.

    on_batch, on_state: see `Instrument`. on_readings: called with each message of their
    readings, while a cable is looked for.
    """

    def __init__(
        self, settings: Settings, on_batch: OnBatch, on_state: OnState
    ) -> None:
        self.all: list[Instrument] = []
        self.sources = Sources()
        self.on_readings: Callable[[Readings], None] | None = None
        self._callbacks = on_batch, on_state
        for role, port in settings.wired.items():
            self._add(role, port, settings)

    def _add(self, role: Role, port: PortSettings, settings: Settings) -> Instrument:
        gear = settings.gear
        counts = {
            "indicator": gear.indicator.resolution,
            "travel": port.per_count,
            "caliper": gear.caliper.resolution,
        }
        count = counts[role] or 0.0
        one = Instrument(
            role, port, *self._callbacks, sources=self.sources, count=count
        )
        self.all.append(one)
        return one

    def start(self) -> None:
        for one in self.all:
            one.start()

    async def stop(self) -> None:
        for one in self.all:
            await one.stop()

    async def rewire(self, settings: Settings) -> None:
        """Close what is wired differently now, and open it anew."""
        wanted = settings.wired
        for one in list(self.all):
            if wanted.get(one.name) != one.settings:
                self.all.remove(one)
                await one.stop()
        kept = {one.name for one in self.all}
        for role, port in wanted.items():
            if role not in kept:
                self._add(role, port, settings).start()
        self.all.sort(key=lambda one: list(wanted).index(one.name))

    def with_ports(self) -> list[Instrument]:
        return [one for one in self.all if one.settings.port]

    def devices(self) -> set[str]:
        """The devices behind their ports, and URLs."""
        ports = [one.settings.port or "" for one in self.with_ports()]
        return {port if "://" in port else os.path.realpath(port) for port in ports}

    def named(self, name: str) -> Instrument | None:
        return next((one for one in self.all if one.name == name), None)

    def other_role(self, role: str, port: str) -> Literal["indicator", "travel"] | None:
        """The role that the port has until now, where that is not `role`."""
        for one in self.with_ports():
            if one.settings.port == port and one.name not in (role, "caliper"):
                return "travel" if one.name == "travel" else "indicator"
        return None

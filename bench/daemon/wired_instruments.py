"""The instruments that the daemon reads, and their life."""

from __future__ import annotations

import os
from collections.abc import Iterable

from bench.daemon.acquisition import Instrument, OnBatch, OnState
from bench.daemon.cable_settings import Role
from bench.daemon.port_listener import PortListener
from bench.daemon.sources import Sources
from bench.settings.settings_file import PortSettings, Settings
from bench.settings.settings_file import Role as Wired


class WiredInstruments:
    """all: those that are read now, in the order indicator, travel, caliper.

    on_batch, on_state: see `Instrument`.
    """

    def __init__(
        self, settings: Settings, on_batch: OnBatch, on_state: OnState
    ) -> None:
        self.all: list[Instrument] = []
        self.sources = Sources()
        self._heard = on_batch, on_state
        for role, port in settings.wired.items():
            self._add(role, port, settings)

    def _add(self, role: Wired, port: PortSettings, settings: Settings) -> Instrument:
        gear = settings.gear
        counts = {
            "indicator": gear.indicator.resolution,
            "travel": port.per_count,
            "caliper": gear.caliper.resolution,
        }
        sources, count = self.sources, counts[role] or 0.0
        one = Instrument(role, role, port, *self._heard, sources=sources, count=count)
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
            if wanted.get(one.role) != one.settings:
                self.all.remove(one)
                await one.stop()
        kept = {one.role for one in self.all}
        for role, port in wanted.items():
            if role not in kept:
                self._add(role, port, settings).start()
        self.all.sort(key=lambda one: list(wanted).index(one.role))

    def with_ports(self) -> list[Instrument]:
        return [one for one in self.all if one.settings.port]

    def devices(self) -> set[str]:
        """The devices behind their ports, and URLs."""
        ports = [one.settings.port or "" for one in self.with_ports()]
        return {port if "://" in port else os.path.realpath(port) for port in ports}

    def named(self, name: str) -> Instrument | None:
        return next((one for one in self.all if one.name == name), None)

    def indicator(self) -> Instrument | None:
        return next((one for one in self.all if one.role == "indicator"), None)

    def other_role(self, role: str, port: str) -> Role | None:
        """What the port is until now, where that is not `role`."""
        others = (one.role for one in self.with_ports() if one.settings.port == port)
        roles = (one for one in others if one in ("indicator", "travel"))
        return next((one for one in roles if one != role), None)

    def readable(
        self, heard: Iterable[PortListener]
    ) -> dict[str, PortListener | Instrument]:
        """By port what can be read at this moment, with what is heard besides."""
        out: dict[str, PortListener | Instrument] = {
            one.place.name: one
            for one in heard
            if one.proposal is not None and not one.lost
        }
        wired = [one for one in self.with_ports() if one.state != "absent"]
        return out | {one.settings.port or "": one for one in wired}

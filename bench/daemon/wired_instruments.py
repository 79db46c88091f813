"""The instruments that the daemon reads, as the set-up asks for them."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable

from bench.daemon.acquisition import Instrument
from bench.daemon.cable_settings import Role
from bench.daemon.port_listener import PortListener


class WiredInstruments:
    """`wired`: those that are read now."""

    def __init__(self, wired: Callable[[], list[Instrument]]) -> None:
        self._wired = wired

    def with_ports(self) -> list[Instrument]:
        return [one for one in self._wired() if one.settings.port]

    def none(self) -> bool:
        return not self._wired()

    def devices(self) -> set[str]:
        """The devices behind their ports, and URLs."""
        ports = [one.settings.port or "" for one in self.with_ports()]
        return {port if "://" in port else os.path.realpath(port) for port in ports}

    def named(self, name: str) -> Instrument | None:
        return next((one for one in self._wired() if one.name == name), None)

    def indicator(self) -> Instrument | None:
        return next((one for one in self._wired() if one.role == "indicator"), None)

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

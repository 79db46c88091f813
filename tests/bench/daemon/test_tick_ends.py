"""The tick of the daemon is what tells and watches; without it the daemon does not stand there in silence."""

from __future__ import annotations

import pytest

from bench.daemon.service import Service
from bench.settings.settings_file import Paths, Settings


async def test_a_fault_of_the_tick_ends_the_daemon_with_its_fault(tmp_path, monkeypatch) -> None:
    paths = Paths(
        tmp_path / "settings.toml",
        gear=tmp_path / "gear.toml",
        log=tmp_path / "log.db",
        socket=tmp_path / "socket",
    )
    service = Service(Settings(), paths)

    def fails(now: float) -> None:
        raise ZeroDivisionError("a fault of its own")

    monkeypatch.setattr(service.station, "tick", fails)
    with pytest.raises(ZeroDivisionError, match="of its own"):
        await service.serve()
    assert not paths.socket.exists()

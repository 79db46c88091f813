"""The sign of life to the service manager stops when a reader hangs, not only when the loop does."""

from __future__ import annotations

import asyncio
import os
import socket
import time
import tty
from pathlib import Path

from bench.daemon import instrument_health
from bench.daemon.service import Service
from bench.settings.settings_file import Paths, load

INTERVAL = 0.2  # s between signs of life: half of what the manager allows


async def test_signs_of_life_stop_when_a_reader_hangs(tmp_path: Path, monkeypatch) -> None:
    manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    manager.bind(str(tmp_path / "notify"))
    manager.setblocking(False)
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    monkeypatch.setenv("WATCHDOG_USEC", str(round(2e6 * INTERVAL)))
    monkeypatch.setattr(instrument_health, "UNREAD_STALL_S", 0.3)
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    master, slave = os.openpty()
    tty.setraw(slave)
    (tmp_path / "settings.toml").write_text(f'[indicator]\nport = "{os.ttyname(slave)}"\n')
    names = ("settings.toml", "log.db", "gear.toml", "socket")
    service = Service(load(tmp_path / "settings.toml"), Paths(*(tmp_path / name for name in names)))
    loop = asyncio.get_running_loop()
    life = loop.create_task(service.serve())
    (indicator,) = service.station.wired.all

    async def beats(seconds: float) -> int:
        """Signs of life in so long, with a line from the instrument every 20 ms."""
        count, until = 0, time.monotonic() + seconds
        while time.monotonic() < until:
            os.write(master, b"+1.000 mm\r\n")
            await asyncio.sleep(0.02)
            while True:
                try:
                    count += b"WATCHDOG=1" in manager.recv(200)
                except BlockingIOError:
                    break
        return count

    async def come() -> None:
        end = time.monotonic() + 60
        while await beats(0.1) == 0:
            assert time.monotonic() < end

    end = time.monotonic() + 60
    while indicator.value is None:
        assert time.monotonic() < end
        await beats(0.05)
    assert await beats(0.6) >= 1
    port, rounds = indicator.source.line.port, service.station.wired.sources.rounds  # type: ignore[attr-defined]
    rounds.leave(port._fd)  # the loop goes on, but nobody reads any more
    end = time.monotonic() + 60  # a while of what lies unread, and it is noticed
    while await beats(0.6) > 0:
        assert time.monotonic() < end
    rounds.join(port._fd, port._readable)
    await come()
    service._stop.set()
    await life
    manager.close()
    os.close(master)
    os.close(slave)

"""The machine of the rig as a bench: the virtual saw at its cables, and hands that do what its daemon asks."""

from __future__ import annotations

import asyncio
import contextlib
import json
import tempfile
from collections.abc import AsyncIterator, Callable
from pathlib import Path
from typing import Any, TypeVar

from machine import Machine

from bench.demo.operator import Operator
from bench.demo.truth import JOB
from bench.finding import Finding
from bench.protocol import Begin, PassNotice, Watch
from bench.protocol.async_client import AsyncClient
from bench.settings.editor import file_text
from hw.virtual.hands import Hands
from hw.virtual.ptys import VirtualPorts
from hw.virtual.saw import VirtualSaw

GAUGE, TRAVEL, CALIPER = "GAUGE01", "TRAVEL01", "CALIPER01"
NAMES = {"indicator": GAUGE, "travel": TRAVEL, "caliper": CALIPER}
BY_ID = "/dev/serial/by-id/usb-QEMU_QEMU_USB_SERIAL_{}-if00-port0"
SOCKET = "/run/sweepgauge/socket"
T = TypeVar("T")
RATE = 100.0  # readings a second of each instrument


def tell(test: str, figure: object, limit: object = None, good: bool | None = None) -> bool:
    print(json.dumps({"test": test, "figure": figure, "limit": limit, "pass": good}), flush=True)
    return good is not False


def tell_all(*rows: tuple[Any, ...]) -> bool:
    """Each row as to `tell`; whether none failed."""
    return all([tell(*row) for row in rows])


class Rig:
    def __init__(self, machine: Machine, saw: VirtualSaw, hands: Hands, ports: VirtualPorts) -> None:
        self.machine, self.saw, self.hands, self.ports = machine, saw, hands, ports
        self.said: list[str] = []

    async def shell(self, command: str, **options: Any) -> str:
        return (await asyncio.to_thread(self.machine.call, command, **options)).stdout

    async def start(self) -> float:
        return await asyncio.to_thread(self.machine.start)

    async def answers(self) -> None:
        """Until the daemon in the guest takes requests."""
        status = "sweepgauge status --json"
        while (await asyncio.to_thread(self.machine.call, status, check=False)).returncode not in (0, 1):
            await asyncio.sleep(0.5)

    async def status(self) -> dict[str, Any]:
        """The daemon's answer to `sweepgauge status --json`, once it answers."""
        await self.answers()
        answer: dict[str, Any] = json.loads(await self.shell("sweepgauge status --json"))
        return answer

    async def wire(self, values: dict[str, Any] | None = None) -> None:
        """Settings as a person writes them by hand, as root: the three cables, or these values."""
        wired = {
            "indicator": {"port": BY_ID.format(GAUGE), "resolution": "0.001 mm"},
            "travel": {"port": BY_ID.format(TRAVEL)},
            "caliper": {"port": BY_ID.format(CALIPER), "resolution": "0.01 mm"},
        }
        text = file_text({**self.saw.gear(), **(values or wired)})
        await self.shell("sudo tee /etc/sweepgauge/settings.toml >/dev/null", given=text.encode())
        await self.shell("sudo systemctl restart sweepgauge")
        await self.answers()

    @contextlib.asynccontextmanager
    async def client(self) -> AsyncIterator[Path]:
        """The path of the daemon's socket, on this side."""
        door = self.machine.forwarded(SOCKET)
        path = await asyncio.to_thread(door.__enter__)
        try:
            yield path
        finally:
            await asyncio.to_thread(door.__exit__, None, None, None)

    async def check(self, path: Path, *, kind: str = JOB) -> Finding:
        """A whole check, by the hands; a check that was in progress is gone on with."""
        client = await AsyncClient.connect(path)
        try:
            return await Operator(client, self.hands, self.said.append).take(Begin(kind))
        finally:
            client.close()

    def outside_uncertainty(self, finding: Finding) -> float:
        """How far the fence's value is from the truth, as a part of its give or take."""
        fence = finding.quantities[0]
        return abs(fence.value - self.saw.truth()["rotation"]) / fence.uncertainty


@contextlib.asynccontextmanager
async def rig(machine_of: Callable[[dict[str, str]], Machine], seed: int) -> AsyncIterator[Rig]:
    saw = VirtualSaw.draw(seed)
    hands = Hands(saw)
    with tempfile.TemporaryDirectory(prefix="sweepgauge-rig-") as folder:
        ports = VirtualPorts(saw, hands, Path(folder), RATE, caliper=True)
        await ports.start()
        devices = {NAMES[name]: str(device) for name, device in ports.devices.items()}
        machine = machine_of(devices)
        try:
            yield Rig(machine, saw, hands, ports)
        finally:
            await asyncio.to_thread(machine.close)
            await ports.stop()


async def pass_running(path: Path) -> AsyncClient:
    observer = await AsyncClient.connect(path)
    await until_pass(observer, "running")
    return observer


async def until_pass(observer: AsyncClient, state: str) -> str:
    while (message := await observer.inbox.get()) is not None:
        if isinstance(message, PassNotice) and message.state == state:
            return message.sweep
    raise RuntimeError("the daemon went away")


@contextlib.asynccontextmanager
async def watching(path: Path) -> AsyncIterator[AsyncClient]:
    client = await AsyncClient.connect(path)
    client.send(Watch())
    try:
        yield client
    finally:
        client.close()


async def hear(client: AsyncClient, kind: type[T], wanted: Callable[[T], bool], seconds: float = 120) -> T:
    """The next message of that kind that is wanted; TimeoutError after so long."""
    async with asyncio.timeout(seconds):
        while (message := await client.inbox.get()) is not None:
            if isinstance(message, kind) and wanted(message):
                return message
    raise RuntimeError("the daemon went away")

"""Gauges on pins through the whole daemon: edges on mock pins in, readings on the wire and passes out.

The daemon runs in this process, so that its pins can be gpiozero's mock ones; a client hears it over its socket. The
frames are those of published traces and manuals where there are any (see tests/hw/formats), else of our encoders.
"""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import AsyncIterator, Awaitable, Callable
from pathlib import Path

import msgspec
import numpy as np  # noqa: F401  - the daemon loads it in a thread; pytest.approx must not meet it half loaded
import pytest
from encoders import make_encoder
from gpiozero.pins.mock import MockFactory, MockPin
from gpiozero.pins.pi import PiPin
from mock_lines import mock_lines
from peers import Wheel
from turns import until

from bench.daemon.service import Service
from bench.protocol import GetStatus, Readings, StatusReply, Watch
from bench.protocol.client import WireClient
from bench.settings.settings_file import Paths, load

DATA, CLOCK, REQ = 5, 6, 13

# 24 bits, sign and magnitude, 12.34 mm; 52 bits of BCD, -12.345 mm, of a projector's manual;
# 48 bits, 8063 counts of 20480 to the inch; 28 bits, 12.34 mm
FRAMES = {
    "sync24": ("010010110010000000000000", 12.34),
    "sync52": ("1111111111111111000100001000010011000010101011000000", -12.345),
    "sync48": ("111111101111100000000000100000010000011111111111", 8063 * 25.4 / 20480),
    "bcd28": ("0010110001001000000000000010", 12.34),
}
EDGE = {"sync24": "rising", "sync52": "falling", "sync48": "falling", "bcd28": "falling"}


class StampedPin(MockPin):
    """A mock pin whose edges carry the gauge's own time; tells when the host pulls it."""

    now = 0
    on_drive: Callable[[], None] | None = None

    def _call_when_changed(self) -> None:
        PiPin._call_when_changed(self, StampedPin.now / 1e9, self._state)

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        if self.on_drive is not None:
            self.on_drive()

    def _set_state(self, value: float) -> None:
        super()._set_state(value)
        if self.on_drive is not None:
            self.on_drive()


class Gauge:
    """Clocks frames out; with a request line only when that is pulled."""

    def __init__(self, factory: MockFactory, name: str) -> None:
        self.idle = EDGE[name] == "rising" or name == "sync52"
        self.clock, self.data = factory.pin(CLOCK), factory.pin(DATA)
        self._level(self.clock, self.idle)
        self.bits = FRAMES[name][0]
        self._asked = False
        if name == "sync52":
            self._loop = asyncio.get_running_loop()
            self.req = factory.pin(REQ)
            self.req.on_drive = self._pulled

    def _pulled(self) -> None:
        if self.req.function == "output" and not self.req.state and not self._asked:
            self._asked = True
            self._loop.call_later(0.01, self._answer)

    def _answer(self) -> None:
        self.word()
        self._asked = False

    @staticmethod
    def _level(pin: MockPin, level: bool) -> None:
        (pin.drive_high if level else pin.drive_low)()

    def word(self) -> None:
        StampedPin.now = max(StampedPin.now, time.monotonic_ns() - 20_000_000)
        for bit in self.bits:
            self._level(self.data, bit == "1")
            StampedPin.now += 155_000
            self._level(self.clock, not self.idle)
            StampedPin.now += 60_000
            self._level(self.clock, self.idle)
            StampedPin.now += 155_000


class House:
    """A daemon in this process and a client of it in a thread."""

    def __init__(self, folder: Path, text: str, factory: MockFactory) -> None:
        (folder / "settings.toml").write_text(text)
        settings = load(folder / "settings.toml")
        paths = Paths(folder / "settings.toml", folder / "log.db", folder / "gear.toml", folder / "socket")
        self.service = Service(settings, paths)
        for instrument in self.service.station.wired.all:
            instrument.source._make_lines = mock_lines(factory)  # type: ignore[attr-defined]
        self.heard: list[msgspec.Struct] = []
        self._stop = threading.Event()
        self._paths = paths

    async def __aenter__(self) -> House:
        self._loop = asyncio.get_running_loop()
        self._task = self._loop.create_task(self.service.serve())
        await until(self._paths.socket.exists)
        self.client = await asyncio.to_thread(WireClient, self._paths.socket)
        self.client.send(Watch())
        self._thread = threading.Thread(target=self._listen)
        self._thread.start()
        return self

    async def __aexit__(self, *_: object) -> None:
        self._stop.set()
        await asyncio.to_thread(self._thread.join)
        self.client.close()
        self.service._stop.set()
        await self._task

    def _listen(self) -> None:
        while not self._stop.is_set():
            message = self.client.next(0.05)
            if message is not None:
                self._loop.call_soon_threadsafe(self.heard.append, message)

    def readings(self, name: str = "indicator") -> list[float]:
        return [v for m in self.heard if isinstance(m, Readings) and m.instrument == name for v in m.values]

    async def until(
        self, true: Callable[[], object], doing: Callable[[], Awaitable[None]] | None = None
    ) -> None:
        going = asyncio.ensure_future(_again_and_again(doing)) if doing is not None else None
        await until(true, told=lambda: self.heard[-4:])
        if going is not None:
            going.cancel()


async def _again_and_again(doing: Callable[[], Awaitable[None]]) -> None:
    while True:
        await doing()
        await asyncio.sleep(0.02)  # the pace of the instrument


@pytest.fixture
async def house(tmp_path: Path) -> AsyncIterator[Callable[[str, MockFactory], House]]:
    StampedPin.now = time.monotonic_ns()
    yield lambda text, factory: House(tmp_path, text, factory)


@pytest.mark.parametrize("name", list(FRAMES))
async def test_a_gauge_on_pins_is_heard_on_the_wire(name: str, house) -> None:
    factory = MockFactory(pin_class=StampedPin)
    gauge = Gauge(factory, name)
    req = f"req = {REQ}\nrate = 20\n" if name == "sync52" else ""
    text = f'[indicator]\nformat = "{name}"\ndata = {DATA}\nclock = {CLOCK}\nedge = "{EDGE[name]}"\n{req}'
    async with house(text, factory) as home:
        (instrument,) = home.service.station.wired.all
        await home.until(lambda: instrument.state == "open")

        async def clock() -> None:
            if name != "sync52" and instrument.source.idle:
                gauge.word()

        await home.until(lambda: len(home.readings()) >= 3, clock)
        assert home.readings() == pytest.approx([FRAMES[name][1]] * len(home.readings()))
        # a bit too few: refused and counted, never read
        gauge.bits = gauge.bits[:-1]
        await home.until(lambda: instrument.rejects >= 1, clock)
        assert home.readings() == pytest.approx([FRAMES[name][1]] * len(home.readings()))


async def test_an_encoder_and_a_gauge_on_pins_side_by_side(house) -> None:
    factory = MockFactory(pin_class=StampedPin)
    gauge, wheel = Gauge(factory, "sync24"), Wheel(factory, 23, 24)
    encode = make_encoder("sync24")
    text = (
        f'[indicator]\nformat = "sync24"\ndata = {DATA}\nclock = {CLOCK}\n'
        '[travel]\nformat = "quad_x4"\na = 23\nb = 24\nper_count = "0.05 mm"\n'
    )
    async with house(text, factory) as home:
        indicator, travel = home.service.station.wired.all
        await home.until(lambda: indicator.state == "open" and travel.state == "open")

        async def move() -> None:
            StampedPin.now = time.monotonic_ns()
            wheel.to(wheel.counts + 100)
            if indicator.source.idle:
                gauge.bits = encode(wheel.counts * 0.0005).decode().strip()
                gauge.word()

        await home.until(lambda: len(home.readings()) >= 5 and wheel.counts >= 1000, move)
        await home.until(lambda: home.readings("travel")[-1] == pytest.approx(wheel.counts * 0.05))
        shown = home.readings()
        assert shown == sorted(shown) and shown[-1] <= wheel.counts * 0.0005 + 0.005
        status = await asyncio.to_thread(ask_status, home._paths.socket)
        assert {i.name: i.rejects for i in status.instruments} == {"indicator": 0, "travel": 0}


def ask_status(socket: Path) -> StatusReply:
    client = WireClient(socket)
    try:
        return client.ask(GetStatus(), StatusReply)
    finally:
        client.close()

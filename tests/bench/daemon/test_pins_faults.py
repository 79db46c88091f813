"""Pins that go away, come back, or that nobody reads any more: the daemon in this process, a chip in software."""

from __future__ import annotations

import asyncio
import contextlib
import socket
import time
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import pytest
from encoders import make_encoder
from gpio_chip import GpioChip

from bench.daemon import instrument_health
from bench.daemon.service import Service
from bench.render import notices
from bench.settings.settings_file import Paths, load
from hw.ports import clocked_pins

DATA, CLOCK, REQ = 5, 6, 13
MS = 1_000_000
INTERVAL = 0.2  # s between signs of life
GAUGE = f'format = "sync24"\ndata = {DATA}\nclock = {CLOCK}\n'
ASKED = f'format = "sync52"\ndata = {DATA}\nclock = {CLOCK}\nreq = {REQ}\nrate = 20\n'
SCALE = f'format = "quad_x4"\na = {CLOCK}\nb = {DATA}\nper_count = "0.05 mm"\n'


class Kernel(GpioChip):
    """The chip of a gauge that sends words, in the kernel's time."""

    now = 0

    def pulses(self, *changes: tuple[int, bool, int]) -> None:
        """Pin, its level from then on, ns until the next."""
        self.now = max(self.now, time.monotonic_ns() - 20 * MS)
        events = []
        for pin, level, after in changes:
            events.append((self.now, pin, level))
            self.now += after
        self.edges(*events)

    def word(self, bits: str) -> None:
        """Clock idles high; a bit is valid around its low pulse."""
        out: list[tuple[int, bool, int]] = []
        for bit in bits:
            out += [(DATA, bit == "1", 100_000), (CLOCK, False, 60_000), (CLOCK, True, 155_000)]
        self.pulses(*out)
        self.now += 10 * MS

    @property
    def pulls(self) -> list[float]:
        """When the request line was pulled low, s."""
        return [at for at, level in self.outputs if level == 0]


class House:
    """The daemon's service, and what its one instrument was."""

    def __init__(self, folder: Path, text: str, section: str = "indicator") -> None:
        (folder / "settings.toml").write_text(f"[{section}]\n{text}")
        names = ("settings.toml", "log.db", "gear.toml", "socket")
        self.service = Service(load(folder / names[0]), Paths(*(folder / name for name in names)))
        (self.instrument,) = self.service.station.wired.all
        self.states: list[tuple[str, str]] = []
        health = self.instrument.health
        told = health._changed

        def noted() -> None:
            self.states.append((health.state, notices.text([health.remark])))
            told()

        health._changed = noted

    def start(self) -> None:
        self.life = asyncio.get_running_loop().create_task(self.service.serve())

    async def stop(self) -> None:
        if not self.life.done():
            self.service._stop.set()
            await self.life

    async def until(self, true: Callable[[], object], doing: Callable[[], object] = lambda: None) -> None:
        end = time.monotonic() + 60
        while not true():
            assert time.monotonic() < end and not self.life.done(), self.states
            doing()
            await asyncio.sleep(0.02)  # the pace of the instrument


@pytest.fixture
async def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Callable[..., House]]:
    monkeypatch.setattr(clocked_pins, "PINS_RETRY_S", 0.05)
    unhandled: list[dict] = []
    asyncio.get_running_loop().set_exception_handler(lambda loop, context: unhandled.append(context))
    made: list[House] = []

    def make(text: str, section: str = "indicator") -> House:
        made.append(House(tmp_path, text, section))
        return made[-1]

    yield make
    for one in made:
        await one.stop()
    assert unhandled == []


@pytest.fixture
def kernel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Kernel]:
    one = Kernel(tmp_path / "dev", monkeypatch)
    yield one
    one.vanish()


def words(*lengths: float) -> list[str]:
    encode = make_encoder("sync24")
    return [encode(mm).decode().strip() for mm in lengths]


# ---- gone and back ----------------------------------------------------------------------------------


async def test_a_gauge_whose_pins_go_away_is_absent_and_comes_back_by_itself(house, kernel) -> None:
    home = house(GAUGE)
    home.start()
    one, other = words(12.34, 5.0)
    await home.until(lambda: home.instrument.value == 12.34, lambda: kernel.word(one))
    assert home.instrument.state == "open"
    kernel.vanish()
    await home.until(
        lambda: "no such pins" in notices.text([home.instrument.remark])
    )  # why it cannot be had again
    assert home.instrument.state == "absent"
    assert home.instrument.value is None  # a number of before is not shown as if it stood
    assert any(
        state == "absent" and "went away" in words and f"data {DATA}, clock {CLOCK}" in words
        for state, words in home.states
    )
    assert home.instrument.rejects == 0
    kernel.appear()
    await home.until(lambda: home.instrument.value == 5.0, lambda: kernel.word(other))
    assert home.instrument.state == "open" and kernel.opened == 2


@pytest.mark.parametrize(
    "text",
    [
        pytest.param(GAUGE, id="frames"),
        pytest.param(ASKED, id="request", marks=pytest.mark.ci),
        pytest.param(SCALE, id="waves", marks=pytest.mark.ci),
    ],
)
async def test_pulled_and_plugged_in_again_ten_times(house, kernel, text) -> None:
    """Also while a request waits for its answer, or a scale stands: no reader is left over from before."""
    home = house(text, "travel" if text is SCALE else "indicator")
    home.start()
    for turn in range(1, 11):
        await home.until(lambda: home.instrument.state == "open")
        assert kernel.opened == turn
        kernel.pulses((DATA, True, MS))
        await asyncio.sleep(0.01)
        kernel.vanish()
        await home.until(lambda: home.instrument.state == "absent")
        kernel.appear()
    await home.until(lambda: home.instrument.state == "open")
    if text is ASKED:
        kernel.outputs.clear()
        await asyncio.sleep(0.7)
        assert 1 <= len(kernel.pulls) <= 6  # one asks, with its patience of 0.3 s, not eleven
    assert len([task for task in asyncio.all_tasks() if "ClockedPins" in repr(task)]) <= 1


async def test_a_daemon_ends_well_whose_pins_went_unseen_while_it_asked(house, kernel) -> None:
    home = house(ASKED + "timeout = 2.0\n")
    home.start()
    await home.until(lambda: kernel.pulls)
    kernel.path.unlink()  # the request line fails from now on; of the edges nothing is told
    await home.stop()
    assert home.life.exception() is None
    kernel.appear()


# ---- nobody reads -----------------------------------------------------------------------------------


@pytest.fixture
def beats(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Counts signs of life in so many seconds, while something happens every 20 ms."""
    manager = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
    manager.bind(str(tmp_path / "notify"))
    manager.setblocking(False)
    monkeypatch.setenv("NOTIFY_SOCKET", str(tmp_path / "notify"))
    monkeypatch.setenv("WATCHDOG_USEC", str(round(2e6 * INTERVAL)))
    monkeypatch.delenv("WATCHDOG_PID", raising=False)
    monkeypatch.setattr(instrument_health, "UNREAD_STALL_S", 0.3)

    async def count(seconds: float, doing: Callable[[], object]) -> int:
        came, until = 0, time.monotonic() + seconds
        while time.monotonic() < until:
            doing()
            await asyncio.sleep(0.02)
            with contextlib.suppress(BlockingIOError):
                while True:
                    came += b"WATCHDOG=1" in manager.recv(200)
        return came

    yield count
    manager.close()


@pytest.mark.ci
async def test_signs_of_life_stop_when_nobody_reads_the_kernels_edges(house, kernel, beats) -> None:
    home = house(GAUGE)
    home.start()
    (word,) = words(12.34)
    await home.until(lambda: home.instrument.value == 12.34, lambda: kernel.word(word))
    assert await beats(0.6, lambda: kernel.word(word)) >= 1
    source = home.instrument.source
    await home.until(lambda: source.idle)
    fd = source._lines._inputs.fd
    asyncio.get_running_loop().remove_reader(fd)  # the loop goes on, but nobody reads any more
    await beats(0.6, lambda: kernel.word(word))  # a while of what lies unread, and it is noticed
    assert await beats(0.6, lambda: kernel.word(word)) == 0
    asyncio.get_running_loop().add_reader(fd, source._woken)
    await beats(0.3, lambda: kernel.word(word))
    assert await beats(0.6, lambda: kernel.word(word)) >= 1


@pytest.mark.ci
async def test_a_gauge_that_rests_is_no_reader_that_hangs(house, kernel, beats) -> None:
    """Nothing waits: signs of life go on, whether it never sent or sends no longer."""
    home = house(GAUGE)
    home.start()
    (word,) = words(12.34)
    await home.until(lambda: home.instrument.state == "open")
    assert await beats(0.8, lambda: None) >= 2
    await home.until(lambda: home.instrument.value == 12.34, lambda: kernel.word(word))
    assert await beats(0.8, lambda: None) >= 2

"""Pins that go away, come back, or that nobody reads any more: the daemon in this process, a kernel in software.

Only ioctl is not the kernel's own: the descriptor of the edges is a real one, a socket whose packets are whole events,
and it fails as a real one does, by an error of read(2), when the chip goes.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import fcntl
import os
import socket
import struct
import time
from collections.abc import AsyncIterator, Callable, Iterator
from pathlib import Path

import pytest
from encoders import make_encoder
from gpiozero.pins.mock import MockFactory

from bench.daemon import acquisition
from bench.daemon.service import Service
from bench.settings.settings_file import Paths, load
from hw.ports import clocked_pins, pin_lines

DATA, CLOCK, REQ = 5, 6, 13
MS = 1_000_000
INTERVAL = 0.2  # s between signs of life
GAUGE = f'format = "sync24"\ndata = {DATA}\nclock = {CLOCK}\n'
ASKED = f'format = "sync52"\ndata = {DATA}\nclock = {CLOCK}\nreq = {REQ}\nrate = 20\n'
SCALE = f'format = "quad_x4"\na = {CLOCK}\nb = {DATA}\nper_count = "0.05 mm"\n'


class Kernel:
    """Answers requests for lines while the chip is there. `edges` tells of levels; `vanish` and `appear` are a cable."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self.chip = folder / "gpiochip0"
        self.chip.touch()
        self.opened = 0
        self.pulls: list[float] = []  # when the request line was pulled low
        self._held: list[socket.socket] = []
        self._number = 0
        self._now = time.monotonic_ns()
        self._really = fcntl.ioctl
        real = pin_lines.find_chip
        monkeypatch.setattr(fcntl, "ioctl", self._ioctl)
        monkeypatch.setattr(pin_lines, "find_chip", lambda: real(folder, lambda fd: "pinctrl-bcm2835"))

    def _ioctl(self, fd: int, number: int, data: bytes) -> bytes:
        if number == pin_lines.GET_LINE:
            _, queue = struct.unpack_from("=II", data, 560)
            ours, theirs = socket.socketpair(socket.AF_UNIX, socket.SOCK_SEQPACKET)
            if queue:
                self.opened += 1
                self._number = 0
                theirs.send(b"never read")  # so that to close our end is an error at theirs, not an end
                self._held.append(ours)
            else:
                ours.close()
            return data[:588] + struct.pack("=i", theirs.detach())
        if number == pin_lines.GET_VALUES:
            return struct.pack("=QQ", 0b11, struct.unpack("=QQ", data)[1])  # lines idle high
        if number == pin_lines.SET_VALUES:
            if not self.chip.exists():
                raise OSError(errno.ENODEV, os.strerror(errno.ENODEV))
            if struct.unpack("=QQ", data)[0] == 0:
                self.pulls.append(time.monotonic())
            return data
        return self._really(fd, number, data)

    def edges(self, *changes: tuple[int, bool, int]) -> None:
        """Pin, its level from then on, ns until the next."""
        self._now = max(self._now, time.monotonic_ns() - 20 * MS)
        packed = b""
        for pin, level, after in changes:
            self._number += 1
            packed += struct.pack("=QIIII24x", self._now, 1 if level else 2, pin, self._number, 0)
            self._now += after
        if self._held:
            with contextlib.suppress(BlockingIOError):
                self._held[-1].send(packed, socket.MSG_DONTWAIT)

    def word(self, bits: str) -> None:
        """Clock idles high; a bit is valid around its low pulse."""
        out: list[tuple[int, bool, int]] = []
        for bit in bits:
            out += [(DATA, bit == "1", 100_000), (CLOCK, False, 60_000), (CLOCK, True, 155_000)]
        self.edges(*out)
        self._now += 10 * MS

    def vanish(self) -> None:
        self.chip.unlink(missing_ok=True)
        for one in self._held:
            one.close()
        self._held.clear()

    def appear(self) -> None:
        self.chip.touch()


class House:
    """The daemon's service, and what its one instrument was."""

    def __init__(self, folder: Path, text: str, section: str = "indicator") -> None:
        (folder / "settings.toml").write_text(f"[{section}]\n{text}")
        names = ("settings.toml", "log.db", "gear.toml", "socket")
        self.service = Service(load(folder / names[0]), Paths(*(folder / name for name in names)))
        (self.instrument,) = self.service.bench.instruments
        self.states: list[tuple[str, str]] = []
        told = self.instrument._on_state

        def noted(instrument: acquisition.Instrument) -> None:
            self.states.append((instrument.state, instrument.words))
            told(instrument)

        self.instrument._on_state = noted

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
            await asyncio.sleep(0.02)


@pytest.fixture
async def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> AsyncIterator[Callable[..., House]]:
    monkeypatch.setattr(clocked_pins, "RETRY", 0.05)
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
    (tmp_path / "dev").mkdir()
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
    await home.until(lambda: "no such pins" in home.instrument.words)  # why it cannot be had again
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


@pytest.mark.parametrize("text", [GAUGE, ASKED, SCALE], ids=["frames", "request", "waves"])
async def test_pulled_and_plugged_in_again_ten_times(house, kernel, text) -> None:
    """Also while a request waits for its answer, or a scale stands: no reader is left over from before."""
    home = house(text, "travel" if text is SCALE else "indicator")
    home.start()
    for turn in range(1, 11):
        await home.until(lambda: home.instrument.state == "open")
        assert kernel.opened == turn
        kernel.edges((DATA, True, MS))
        await asyncio.sleep(0.01)
        kernel.vanish()
        await home.until(lambda: home.instrument.state == "absent")
        kernel.appear()
    await home.until(lambda: home.instrument.state == "open")
    if text is ASKED:
        kernel.pulls.clear()
        await asyncio.sleep(0.7)
        assert 1 <= len(kernel.pulls) <= 6  # one asks, with its patience of 0.3 s, not eleven
    assert len([task for task in asyncio.all_tasks() if "ClockedPins" in repr(task)]) <= 1


async def test_a_daemon_ends_well_whose_pins_went_unseen_while_it_asked(house, kernel) -> None:
    home = house(ASKED + "timeout = 2.0\n")
    home.start()
    await home.until(lambda: kernel.pulls)
    kernel.chip.unlink()  # the request line fails from now on; of the edges nothing is told
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
    monkeypatch.setattr(acquisition, "STALLED", 0.3)

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
    fd = source._lines._fd
    asyncio.get_running_loop().remove_reader(fd)  # the loop goes on, but nobody reads any more
    await beats(0.6, lambda: kernel.word(word))  # a while of what lies unread, and it is noticed
    assert await beats(0.6, lambda: kernel.word(word)) == 0
    asyncio.get_running_loop().add_reader(fd, source._woken)
    await beats(0.3, lambda: kernel.word(word))
    assert await beats(0.6, lambda: kernel.word(word)) >= 1


@pytest.mark.ci
async def test_signs_of_life_stop_when_the_librarys_thread_wakes_nobody(house, beats) -> None:
    """Edges through gpiozero come in its own thread, which has to wake the loop: once it did and was not heard."""
    factory = MockFactory()
    home = house(GAUGE)
    home.instrument.source._make_factory = lambda: factory
    home.start()
    await home.until(lambda: home.instrument.source.idle and home.instrument.source.is_open)
    clock = factory.pin(CLOCK)

    def tick() -> None:
        clock.drive_low()
        clock.drive_high()

    assert await beats(0.6, tick) >= 1
    await home.until(lambda: home.instrument.source.idle)
    lines = home.instrument.source._lines
    lines._woken = True  # as if a wake were on its way
    await beats(0.6, tick)
    assert await beats(0.6, tick) == 0
    assert lines.waiting()
    lines._called()
    await beats(0.3, tick)
    assert await beats(0.6, tick) >= 1


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

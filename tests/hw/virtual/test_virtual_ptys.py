"""The pretend instruments on real pseudo-terminals, in real time: rate, faults, what hands do to readings."""

import asyncio
import contextlib
import os
import re
import time

import pytest
from plunger import press_plunger, slip_leaf
from turns import until

from hw.virtual.hands import Hands
from hw.virtual.ptys import VirtualPorts, plain_line
from hw.virtual.saw import VirtualSaw
from hw.virtual.traits import Traits

LINE = re.compile(rb"^([+-]\d+\.\d+) mm$")


class Reader:
    """A client of one port, on the event loop."""

    def __init__(self, path):
        self.fd = os.open(path, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        self.data = b""
        self.hung_up = asyncio.Event()
        asyncio.get_running_loop().add_reader(self.fd, self._read)

    def _read(self):
        try:
            block = os.read(self.fd, 4096)
        except OSError:
            block = b""
        self.data += block
        if not block:
            self.hung_up.set()
            self.leave()

    def leave(self):
        if self.fd >= 0:
            asyncio.get_running_loop().remove_reader(self.fd)
            os.close(self.fd)
            self.fd = -1

    def lines(self):
        return self.data.split(b"\r\n")[:-1]

    def values(self):
        return [float(found[1]) for line in self.lines() if (found := LINE.match(line))]


@contextlib.asynccontextmanager
async def bench(tmp_path, **options):
    saw = VirtualSaw.draw(3, options.pop("traits", None))
    hands = Hands(saw, pace=0.4)
    ports = VirtualPorts(saw, hands, tmp_path / "by-id", **options)
    await ports.start()
    readers = {name: Reader(path) for name, path in ports.paths.items()}
    try:
        yield saw, hands, ports, readers
    finally:
        for reader in readers.values():
            reader.leave()
        await ports.stop()


async def test_a_push_is_seen_by_both_instruments(tmp_path):
    async with bench(tmp_path, traits=Traits.quiet()) as (saw, hands, ports, readers):
        began = time.monotonic()
        saw.place("handle-left")
        await hands.push(120.0, 200.0, settle=0.05)
        took = time.monotonic() - began
        travel, indicator = readers["travel"].values(), readers["indicator"].values()
        assert travel[-1] == pytest.approx(120.0)
        assert indicator[-1] == pytest.approx(saw.depth(hands.pose(time.monotonic())), abs=0.0006)
        dr = indicator[-1] - indicator[5]
        expected = saw.truth()["rotation"] - saw.truth()["reference_error"]
        assert dr / 120.0 == pytest.approx(expected, abs=2e-5)  # 0.001 mm counts over 120 mm
        # what is late is made up for, so the count is the rate's (a wide margin: the machine may be busy)
        for reader in readers.values():
            assert len(reader.lines()) == pytest.approx(120.0 * took, rel=0.15)
        assert ports.counts["travel"][0] >= len(travel)


async def test_unplugged_hangs_up_and_comes_back_under_the_same_name(tmp_path):
    async with bench(tmp_path) as (_, _, ports, readers):
        path, device = ports.paths["travel"], ports.devices["travel"]
        await until(lambda: readers["travel"].data and readers["indicator"].data)
        ports.unplug("travel")
        await asyncio.wait_for(readers["travel"].hung_up.wait(), 60.0)
        assert not os.path.lexists(path)
        ports.replug("travel")
        assert ports.paths["travel"] == path
        assert ports.devices["travel"] != device
        again = Reader(path)
        await until(lambda: len(again.values()) > 5)
        again.leave()
        assert readers["indicator"].values()  # the other one never noticed


async def test_one_instrument_falls_silent(tmp_path):
    async with bench(tmp_path) as (_, _, ports, readers):
        await until(lambda: readers["indicator"].data)
        ports.silence("indicator")
        await more(readers["travel"], 5)  # what was on the way is there
        before = len(readers["indicator"].data)
        await more(readers["travel"], 10)
        assert len(readers["indicator"].data) == before


async def test_a_button_sends_one_reading(tmp_path):
    async with bench(tmp_path, modes={"indicator": "button"}) as (_, _, ports, readers):
        await more(readers["travel"], 5)
        assert readers["indicator"].data == b""
        ports.press_send("indicator")
        await until(readers["indicator"].lines)
        await more(readers["travel"], 5)
        assert len(readers["indicator"].lines()) == 1


async def more(reader: Reader, lines: int) -> None:
    """Wait until it has so many more lines than it has now."""
    before = len(reader.lines())
    await until(lambda: len(reader.lines()) > before + lines)


async def lost_more(ports, name: str, lines: int) -> None:
    """Wait until so many more lines were lost; a busy machine may take its time over it."""
    before = ports.counts[name][1]
    await until(lambda: ports.counts[name][1] > before + lines)


async def test_what_nobody_reads_is_lost_not_kept(tmp_path):
    async with bench(tmp_path, rate=2000.0) as (_, _, ports, readers):
        await more(readers["travel"], 5)
        readers["travel"].leave()
        await lost_more(ports, "travel", 100)
        fresh = Reader(ports.paths["travel"])
        await asyncio.sleep(0.0)
        fresh._read()
        # no backlog of what was said to nobody (what is said while we open is ours)
        assert fresh.data.count(b"\r\n") < 100
        fresh.leave()
        # a reader that is open but asleep loses lines and stalls nothing
        asyncio.get_running_loop().remove_reader(readers["indicator"].fd)
        await lost_more(ports, "indicator", 100)
        readers["indicator"]._read()
        assert all(LINE.match(line) for line in readers["indicator"].lines()[1:])


async def test_another_encoder_and_its_error(tmp_path):
    failed = []

    def encode(mm):
        if mm > 1.0:
            failed.append(mm)
            raise RuntimeError("no room for it")
        return b"%d\n" % round(mm * 1000)

    with pytest.raises(RuntimeError, match="no room"):
        async with bench(tmp_path, encode_indicator=encode) as (saw, _, _, readers):
            await until(lambda: readers["indicator"].data.startswith((b"0\n", b"1\n", b"-1\n")))
            saw.place("handle-left")
            await until(lambda: failed)


def test_the_plain_line():
    assert plain_line()(12.345) == b"+0012.345 mm\r\n"
    assert plain_line()(-0.05) == b"-0000.050 mm\r\n"
    assert plain_line()(-0.0) == b"+0000.000 mm\r\n"


async def test_plunger_leaf_and_knock_are_felt(tmp_path):
    saw = VirtualSaw.draw(3, Traits.quiet())
    hands = Hands(saw, pace=0.8)
    seen = []

    async def watch(act):
        done = asyncio.ensure_future(act)
        while not done.done():
            seen.append(hands.indicator_at(time.monotonic()))
            await asyncio.sleep(0.005)
        await done

    await watch(press_plunger(hands, times=1))
    assert max(seen) == pytest.approx(2.0, abs=0.01)
    assert hands.indicator_at(time.monotonic()) == 0.0
    saw.place("handle-left")
    level = hands.indicator_at(time.monotonic())
    seen.clear()
    await watch(slip_leaf(hands, 0.10, 0.5))
    assert max(seen) - level == pytest.approx(0.10, abs=0.0015)
    await hands.push(60.0, 400.0, settle=0.0)
    saw.bump(0.2)
    pushed = hands.indicator_at(time.monotonic())
    assert pushed - level == pytest.approx(0.2, abs=0.06)


async def test_marks_leaning_and_the_screw(tmp_path):
    saw = VirtualSaw.draw(4, Traits.quiet())
    hands = Hands(saw, pace=0.4)
    saw.place("handle-left")
    await hands.stop_at(25.0, 400.0)
    assert hands.travel_at(time.monotonic()) == pytest.approx(25.0, abs=0.011)
    level = hands.depth(time.monotonic())
    await hands.lean("left")
    assert hands.depth(time.monotonic()) - level == pytest.approx(-0.04, abs=1e-4)
    await hands.lean(None)
    was = saw.truth()["rotation"]
    sign = 1.0 if saw.free_end == "right" else -1.0
    await hands.turn_fence(saw.free_end, "away", 0.2)
    saw.shift_free_end(-0.03)
    assert (saw.truth()["rotation"] - was) * saw.pivot_to_stop == pytest.approx(sign * 0.17, abs=1e-5)
    await hands.pull_back()
    assert hands.travel_at(time.monotonic()) == pytest.approx(0.0, abs=0.011)

"""Instruments of every wiring through the daemon's own sources: in this process, on pseudo-terminals and mock pins."""

from __future__ import annotations

import asyncio
import os
import time
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest
from encoders import make_encoder
from gpiozero.pins.mock import MockFactory
from mock_lines import mock_lines
from peers import RegisterDevice, Wheel, key_events
from turns import until

from bench.daemon.acquisition import Batch, Instrument
from bench.daemon.sources import Sources
from bench.render.notices import text
from bench.settings.settings_file import PortSettings, Settings, SettingsError, load
from hw.ports.pin_lines import MissedEdges
from hw.reading import Record
from hw.virtual.ptys import VirtualPort

FLICKER = [0, 1] * 10  # counts that the outlier filter passes, however late they come


class Heard:
    """An instrument of the daemon, and all that it emits."""

    def __init__(self, settings: PortSettings, role: str = "indicator", **kept: object) -> None:
        self.values: list[float] = []
        self.stamps: list[float] = []
        self.rejected: list[str] = []
        self.held: list[float] = []
        self.flags: set[str] = set()
        self.states: list[str] = []
        self.raw = b""
        self.instrument = Instrument(role, settings, self._batch, self._state, **kept)  # type: ignore[arg-type]
        self.instrument.start()

    def _batch(self, instrument: Instrument, batch: Batch) -> None:
        self.raw += batch.data
        self.values += batch.values
        self.stamps += batch.stamps
        self.flags |= batch.flags
        self.held += [value for _, value in batch.outliers]
        self.rejected += [record.fault or record.status or "" for _, record in batch.rejected_frames]

    def _state(self, instrument: Instrument) -> None:
        self.states.append(instrument.state)

    async def until(self, true: Callable[[], object], seconds: float = 60.0) -> None:
        ticking = asyncio.ensure_future(self._tick())
        try:
            await until(true, seconds, self._told)
        finally:
            ticking.cancel()

    async def _tick(self) -> None:
        """As the daemon does."""
        while True:
            self.instrument.tick(time.monotonic())
            await asyncio.sleep(0.005)

    def _told(self) -> object:
        return self.states, self.values[-5:], self.rejected[-5:], text([self.instrument.remark])


@pytest.fixture
async def hear() -> AsyncIterator[Callable[..., Heard]]:
    made: list[Heard] = []

    def start(settings: PortSettings, role: str = "indicator", **kept: object) -> Heard:
        made.append(Heard(settings, role, **kept))
        return made[-1]

    yield start
    for one in made:
        await one.instrument.stop()


@pytest.fixture
def cable(tmp_path: Path):
    made: list[VirtualPort] = []

    def plug(name: str = "cable") -> VirtualPort:
        port = VirtualPort(name, tmp_path / name, float, lambda mm: b"", 0.0)
        port.plug()
        made.append(port)
        return port

    yield plug
    for port in made:
        port.unplug()


def loaded(folder: Path, text: str) -> Settings:
    (folder / "settings.toml").write_text(text)
    return load(folder / "settings.toml")


def port_of(folder: Path, text: str, section: str = "travel") -> PortSettings:
    port = getattr(loaded(folder, f"[{section}]\n{text}"), section)
    assert port is not None
    return port


# ---- counts -----------------------------------------------------------------------------------------


async def test_gauge_and_travel_out_of_one_port_at_one_time(hear, cable, tmp_path) -> None:
    wire = cable()
    both = f'port = "{wire.path}"\nprofile = "bridge"\n'
    settings = loaded(
        tmp_path, f'[indicator]\n{both}resolution = "0.001 mm"\n[travel]\n{both}per_count = "0.05 mm"\n'
    )
    sources = Sources()
    indicator = hear(settings.indicator, sources=sources)
    travel = hear(settings.travel, "travel", sources=sources)
    await indicator.until(lambda: "open" in indicator.states and "open" in travel.states)
    line = make_encoder("line", {"profile": "bridge"})
    await indicator.until(lambda: wire.send(b"\r\n"))  # lost where a busy machine does not keep up
    for n in FLICKER:
        data = line(2.5 + n / 1000, counts=-n)  # type: ignore[call-arg]
        await indicator.until(lambda data=data: wire.send(data))
        await asyncio.sleep(0.005)  # the pace of the wire
    await indicator.until(lambda: len(indicator.values) == 20 and len(travel.values) == 20)
    assert indicator.values == pytest.approx([2.5 + n / 1000 for n in FLICKER])
    assert travel.values == pytest.approx([-0.05 * n for n in FLICKER])
    assert indicator.stamps == travel.stamps  # one line, one moment
    wire.unplug()
    await indicator.until(lambda: indicator.states[-1] == "absent" and travel.states[-1] == "absent")
    wire.plug()
    await indicator.until(lambda: indicator.states[-1] == "open" and travel.states[-1] == "open")
    await travel.instrument.stop()  # one leaves, the other reads on
    await indicator.until(lambda: wire.send(b"\r\n" + line(3.0, counts=7)))  # type: ignore[call-arg]
    await indicator.until(lambda: indicator.values[-1] == 3.0)
    assert len(travel.values) == 20


async def test_two_axes_of_one_bridge(hear, cable, tmp_path) -> None:
    wire = cable()
    both = f'port = "{wire.path}"\nprofile = "bridge_counts"\n'
    settings = loaded(
        tmp_path,
        f'[indicator]\n{both}axis = "Y"\nper_count = "0.001 mm"\n[travel]\n{both}axis = "X"\nper_count = "0.05 mm"\n',
    )
    sources = Sources()
    indicator = hear(settings.indicator, sources=sources)
    travel = hear(settings.travel, "travel", sources=sources)
    await indicator.until(lambda: "open" in indicator.states and "open" in travel.states)
    await indicator.until(lambda: wire.send(b"9;"))
    for n in FLICKER:
        data = f"X{-n};Y{1000 + n};".encode()
        await indicator.until(lambda data=data: wire.send(data))
        await asyncio.sleep(0.005)  # the pace of the wire
    await indicator.until(lambda: len(indicator.values) == len(travel.values) == len(FLICKER))
    assert travel.values == pytest.approx([-0.05 * n for n in FLICKER])
    assert indicator.values == pytest.approx([1 + n / 1000 for n in FLICKER])


async def test_an_encoder_on_pins_as_travel_and_at_rest(hear, tmp_path) -> None:
    factory = MockFactory()
    wheel = Wheel(factory, 23, 24)
    wheel.to(-3)  # where it stands when it is opened is zero
    sources = Sources()
    sources.make_lines = mock_lines(factory)
    settings = port_of(tmp_path, 'format = "quad_x4"\na = 23\nb = 24\nper_count = "0.05 mm"\n')
    travel = hear(settings, "travel", sources=sources)
    await travel.until(lambda: len(travel.values) >= 3)
    assert set(travel.values) == {0.0}  # it says where it stands, so that rest can be seen
    wheel.to(97)
    await travel.until(lambda: travel.values[-1] == pytest.approx(5.0))
    wheel.to(-43)
    await travel.until(lambda: travel.values[-1] == pytest.approx(-2.0))
    assert not travel.flags
    travel.instrument.source._builder.add(MissedEdges(time.monotonic_ns()))  # the kernel's queue was full
    wheel.to(-40)
    await travel.until(lambda: "missed_edge" in travel.flags)
    assert all(b >= a for a, b in zip(travel.stamps, travel.stamps[1:], strict=False))


@pytest.mark.parametrize(
    ("text", "key", "would_do"),
    [
        ('port = "/dev/x"\nprofile = "bridge_counts"\naxis = "X"', "per_count", '"0.005 mm"'),
        ('port = "/dev/x"\nprofile = "bridge_counts"\nper_count = "0.005 mm"', "axis", '"X"'),
        ('port = "/dev/x"\nprofile = "bridge"', "per_count", '"0.005 mm"'),
        ('port = "/dev/x"\nformat = "sync24"', "port", "data and clock"),
        ('port = "/dev/x"\nlate = "2 s"', "late", "1 s"),
    ],
)
def test_settings_that_lack_something_say_what_would_do(tmp_path, text, key, would_do) -> None:
    with pytest.raises(SettingsError, match=f"travel.{key}: ") as caught:
        loaded(tmp_path, f"[travel]\n{text}\n")
    assert would_do in str(caught.value)


# ---- registers, keys --------------------------------------------------------------------------------


async def test_registers_are_asked_for_and_survive_a_pulled_cable(hear, cable, tmp_path) -> None:
    wire = cable()
    device = RegisterDevice(wire)
    device.mm = 10.0
    settings = port_of(tmp_path, f'port = "{wire.path}"\nformat = "modbus_rtu"\nrate = 50\ntimeout = 10\n')
    travel = hear(settings, "travel")
    await travel.until(lambda: len(travel.values) >= 3)
    assert set(travel.values) == {10.0}
    device.echoes = True  # an RS-485 cable that hears itself
    device.mm = -0.05
    await travel.until(lambda: travel.values[-1] == -0.05)
    assert not travel.rejected
    device.spoils = True
    await travel.until(lambda: travel.rejected)
    assert "CRC" in travel.rejected[0]
    device.spoils = False
    device.answers = False
    travel.instrument.source._timeout = 0.05  # until here a busy machine may take its time to answer
    await travel.until(lambda: travel.instrument.state == "silent")
    assert "does not answer" in text([travel.instrument.remark]) or "nothing for" in text(
        [travel.instrument.remark]
    )
    device.answers = True
    await travel.until(lambda: travel.instrument.state == "open")
    device.unplug()
    await travel.until(lambda: travel.instrument.state == "absent")
    device.plug()
    device.mm = 3.0
    await travel.until(lambda: travel.instrument.state == "open" and travel.values[-1] == 3.0)
    device.close()


async def test_a_cable_that_types(hear, cable, tmp_path, monkeypatch) -> None:
    monkeypatch.setattr("hw.ports.typed_keys.OPENING_S", 600.0)
    wire = cable()
    settings = port_of(tmp_path, f'port = "{wire.path}"\nformat = "wedge"\ntimeout = 10\n', "caliper")
    caliper = hear(settings, "caliper")
    await caliper.until(lambda: "open" in caliper.states)
    encode = make_encoder("wedge")
    source = caliper.instrument.source
    source._fresh = 0.0  # the time is over in which a number may have been half typed
    for mm in (12.34, -0.5, 900.0):
        data = key_events(encode(mm))
        wire.send(data[:100])
        await asyncio.sleep(0.01)
        wire.send(data[100:])
    await caliper.until(lambda: len(caliper.values) == 3)
    assert caliper.values == [12.34, -0.5, 900.0]  # one by one: no gate holds them
    source._timeout = 0.1  # until here a busy machine may type slowly
    wire.send(key_events(b"KEY_1 KEY_2\n"))
    await caliper.until(lambda: len(caliper.rejected) == 1)
    assert "no ENTER before the time-out" in caliper.rejected[0]
    wire.send(key_events(b"KEY_1 KEY_A KEY_ENTER\n"))
    await caliper.until(lambda: len(caliper.rejected) == 2)
    wire.unplug()
    await caliper.until(lambda: caliper.instrument.state == "absent")
    wire.plug()
    await caliper.until(lambda: caliper.instrument.state == "open")
    before = source._when
    wire.send(key_events(encode(1.5)))  # at once: it may have begun before we listened
    await caliper.until(lambda: source._when != before)
    source._fresh = 0.0
    wire.send(key_events(encode(2.5)))
    await caliper.until(lambda: caliper.values[-1] == 2.5)
    assert 1.5 not in caliper.values


# ---- the first line after the opening ---------------------------------------------------------------


async def test_a_first_press_after_a_silence_counts(hear, cable) -> None:
    wire = cable()
    one = hear(PortSettings(port=str(wire.path), baud=115200))
    await one.until(lambda: "open" in one.states and one.instrument.source.heard_silence)
    wire.send(b"+0001.234 mm\r\n")
    await one.until(lambda: one.values == [1.234])


async def test_a_stream_is_entered_at_its_next_line(hear, cable) -> None:
    wire = cable()
    one = hear(PortSettings(port=str(wire.path), baud=115200))
    await one.until(lambda: "open" in one.states)
    assert not one.instrument.source.heard_silence
    wire.send(b"1.234 mm\r\n")  # the end of +0011.234 mm, and a number by itself
    wire.send(b"+0011.235 mm\r\n")
    await one.until(lambda: one.values)
    assert one.values[0] == 11.235


async def test_what_waited_while_the_loop_was_late_is_no_beginning(hear, cable) -> None:
    wire = cable()
    one = hear(PortSettings(port=str(wire.path), baud=115200))
    await one.until(lambda: "open" in one.states)
    wire.send(b"1.234 mm\r\n")
    time.sleep(0.2)  # the loop is late: the bytes lay there all the while
    wire.send(b"+0011.235 mm\r\n")
    await one.until(lambda: one.values)
    assert one.values[0] == 11.235


# ---- what is wrong with a line ----------------------------------------------------------------------


@pytest.mark.ci
async def test_a_line_in_which_nothing_ever_ends_is_garbled(hear, cable) -> None:
    wire = cable()
    one = hear(PortSettings(port=str(wire.path)))
    await one.until(lambda: "open" in one.states)

    def feeding() -> bool:
        wire.send(b"\x8d+0012.345" * 2)  # a CR with even parity, read without: no line ever ends
        return one.instrument.state == "garbled"

    await one.until(feeding)
    assert "baud rate, parity" in text([one.instrument.remark])
    assert not one.values


async def test_late_is_taken_off_the_time_of_each_reading(hear, cable, tmp_path) -> None:
    wire = cable()
    text = f'port = "{wire.path}"\n'
    prompt = hear(port_of(tmp_path, text, "indicator"))
    await prompt.until(lambda: "open" in prompt.states)
    wire.send(b"\r\n+1.000 mm\r\n")
    await prompt.until(lambda: prompt.values)
    now = time.monotonic()
    assert now - prompt.stamps[-1] < 5.0
    settings = port_of(tmp_path, text + 'late = "300 ms"\n', "indicator")
    assert settings.late == 0.3
    late = Instrument("indicator", settings, lambda *_: None, lambda *_: None)
    late.stamps.begin(1_000_000_000, 10, 0.0)
    late.stamps.begin(2_000_000_000, 10, 0.0)
    assert late.stamps.stamp(Record(1.0, "mm", behind=0), 0) == pytest.approx(1.7)
    assert late.stamps.stamp(Record(1.0, "mm", behind=1), 1) < 1.7


async def test_readings_that_waited_while_the_program_was_late_keep_their_distances(hear, cable) -> None:
    wire = cable()
    one = hear(PortSettings(port=str(wire.path), baud=921600), count=0.001)
    await one.until(lambda: "open" in one.states)
    at, value, ms = 10_000_000_000, 1.0, 1_000_000
    one.instrument._block(b"\r\n", at)
    for block in [1] * 60 + [5, 1, 1, 4, 1, 1]:  # readings of every 10 ms, some in one block 50 ms late
        at += 10 * ms * block
        lines = []
        for _ in range(block):
            value += 1.5  # a push of 150 mm/s: half a reading's time is off its path
            lines.append(b"%+.3f mm\r\n" % value)
        one.instrument._block(b"".join(lines), at)
    gaps = [b - a for a, b in zip(one.stamps, one.stamps[1:], strict=False)]
    assert len(one.values) == 73 and not one.held  # none is taken for one that leapt
    assert min(gaps) == pytest.approx(0.01, rel=0.05) and max(gaps) == pytest.approx(0.01, rel=0.05)


async def test_raw_bytes_and_their_times_are_kept_whatever_the_gate_refuses(hear, cable) -> None:
    wire = cable()
    one = hear(PortSettings(port=str(wire.path)), count=0.001)
    await one.until(lambda: "open" in one.states)
    came: list[int] = []
    told = one.instrument._on_batch
    one.instrument._on_batch = lambda what, batch: (came.append(len(batch.came)), told(what, batch))
    at = 10_000_000_000
    sent = b"\r\n"
    one.instrument._block(sent, at)
    for n in range(60):
        at += 10_000_000
        line = b"%+.3f mm\r\n" % (8.0 if n == 50 else 1.0 + n % 2 / 1000)
        sent += line
        one.instrument._block(line, at)
    assert one.held == [8.0] and 8.0 not in one.values and len(one.values) == 59
    assert one.instrument.state_message().held == 1 and one.instrument.readings == 59
    assert one.raw == sent and sum(came) == 60
    assert one.stamps == sorted(one.stamps) and len(set(one.stamps)) == 59


# ---- a reader that hangs ----------------------------------------------------------------------------


async def test_a_reader_that_leaves_what_came_is_stalled(hear, cable) -> None:
    wire = cable()
    one = hear(PortSettings(port=str(wire.path)))
    await one.until(lambda: "open" in one.states)
    wire.send(b"\r\n+1.000 mm\r\n")
    await one.until(lambda: one.values)
    assert not one.instrument.stalled(100.0) and not one.instrument.stalled(109.0)  # silence is no stall
    fd = one.instrument.source.line.port._fd
    asyncio.get_running_loop().remove_reader(fd)  # it hangs
    wire.send(b"+1.001 mm\r\n")
    await one.until(one.instrument.source.stuck)
    assert not one.instrument.stalled(200.0)
    assert one.instrument.stalled(201.5)
    os.read(fd, 100)
    assert not one.instrument.stalled(202.0)


async def test_a_flood_is_told_and_ends(hear, cable) -> None:
    wire = cable()
    one = hear(PortSettings(port=str(wire.path)))
    await one.until(lambda: "open" in one.states)
    at = 10_000_000_000
    for _ in range(4):
        at += 100_000_000
        one.instrument._block(b"1.0\n" * 10_000, at)
    assert one.instrument.state == "flooding" and "No instrument does so" in text([one.instrument.remark])
    for _ in range(30):
        at += 100_000_000
        one.instrument._block(b"1.0\n", at)
    assert one.instrument.state == "open"

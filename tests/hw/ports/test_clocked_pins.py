"""Clock and data on gpiozero's mock pins, from peers that behave as published timings say; and the kernel's own way.

Timings: 24-bit indicators, a bit in about 0.37 ms with a longer gap after each nibble, a word every 0.12 s (public
reader notes with scope pictures); 52-bit gauges, first clock up to 200 ms after the request, phases of 20 to 136 us
(public timing notes on ten gauges).
"""

from __future__ import annotations

import asyncio
import errno
from collections.abc import Callable
from pathlib import Path

import pytest
from encoders import make_encoder
from gpio_chip import GpioChip
from gpiod import LineSettings
from gpiod.line import Bias, Clock, Direction, Drive, Value
from gpiod.line import Edge as Detection
from gpiozero.pins.mock import MockFactory, MockPin
from gpiozero.pins.pi import PiPin
from hypothesis import given
from hypothesis import strategies as st
from mock_lines import mock_lines
from turns import until

from hw.formats import make_decoder
from hw.formats.shared.travel import CountedTravel
from hw.ports import pin_lines
from hw.ports.clocked_pins import ClockedPins, PinOptions, pin_options
from hw.ports.pin_frames import FrameBuilder, StateBuilder
from hw.ports.pin_lines import Edge, GpioLines, MissedEdges, find_chip

DATA, CLOCK, REQ = 5, 6, 13
MS = 1_000_000


class BenchClock:
    """The peer's own time, ns: what the kernel would stamp, whatever this machine is busy with."""

    now = 1_000_000_000


class StampedPin(MockPin):
    """A mock pin whose edges carry the peer's time, and that tells the peer when the host drives it."""

    clock: type[BenchClock] | BenchClock = BenchClock
    on_drive: Callable[[], None] | None = None

    def _call_when_changed(self) -> None:
        PiPin._call_when_changed(self, self.clock.now / 1e9, self._state)

    def _set_function(self, value: str) -> None:
        super()._set_function(value)
        if self.on_drive is not None:
            self.on_drive()

    def _set_state(self, value: float) -> None:
        super()._set_state(value)
        if self.on_drive is not None:
            self.on_drive()


class Peer:
    """An instrument of clock and data; `inverted` as behind a shifter of one transistor a line."""

    def __init__(self, idle: bool = True, inverted: bool = False) -> None:
        self.factory = MockFactory(pin_class=StampedPin)
        self.time = BenchClock()
        self.inverted = inverted
        self.idle = idle
        self.clock, self.data = self.factory.pin(CLOCK), self.factory.pin(DATA)
        self.clock.clock = self.data.clock = self.time
        self.set(self.clock, idle)

    def set(self, pin: StampedPin, level: bool) -> None:
        (pin.drive_high if level != self.inverted else pin.drive_low)()

    def wait(self, us: float) -> None:
        self.time.now += round(us * 1000)

    def word(self, bits: str, *, low: float = 60.0, rest: float = 310.0, nibble: float = 385.0) -> None:
        """One frame: data, then a clock pulse of `low` us away from idle and back."""
        for place, bit in enumerate(bits):
            self.set(self.data, bit == "1")
            self.wait(rest / 2)
            self.set(self.clock, not self.idle)
            self.wait(low)
            self.set(self.clock, self.idle)
            self.wait(rest / 2 + (nibble if place % 4 == 3 else 0))


class RequestPeer(Peer):
    """Answers when REQ is pulled low; notes whether the host ever drove it high, and for how long it was low."""

    def __init__(self, bits: str) -> None:
        super().__init__()
        self.bits = bits
        self.answers = True
        self.bits_before_release = -1
        self.driven_high = False
        self.req = self.factory.pin(REQ)
        self.req.on_drive = self._driven
        self._loop = asyncio.get_running_loop()
        self._sent, self._busy = 0, False

    def _driven(self) -> None:
        output = self.req.function == "output"
        if output and self.req.state:
            self.driven_high = True
        elif output and self.answers and not self._busy:
            self._busy = True
            self._loop.call_later(0.01, self._answer)
        elif self._sent and self.bits_before_release < 0:
            self.bits_before_release = self._sent

    def _answer(self) -> None:
        self.wait(10_000)
        self._sent = 1
        self.word(self.bits[:1], low=100, rest=250)
        self._loop.call_later(0.004, self._rest)

    def _rest(self) -> None:
        self.word(self.bits[1:], low=100, rest=250, nibble=900)
        self._sent, self._busy = 52, False


class Heard:
    def __init__(self, name: str, options: PinOptions, peer: Peer, **kept: object) -> None:
        self.blocks: list[tuple[bytes, int]] = []
        self.states: list[tuple[str, str]] = []
        self.on_open: Callable[[], object] = lambda: None
        self.decoder = make_decoder(name, kept)
        self.pins = ClockedPins(
            options,
            lambda data, when: self.blocks.append((data, when)),
            self._state,
            make_lines=mock_lines(peer.factory),
        )

    def _state(self, state: str, words: str) -> None:
        self.states.append((state, words))
        if state == "open":
            self.on_open()

    async def until(self, true: Callable[[], object]) -> None:
        await until(true, told=lambda: (self.blocks, self.states))

    def values(self) -> list[float | None]:
        return [record.value for data, _ in self.blocks for record in self.decoder.feed(data)]


@pytest.mark.parametrize("inverted", [False, True])
async def test_a_24_bit_indicator_is_read_from_its_second_word_on(inverted: bool) -> None:
    encode = make_encoder("sync24")
    words = [encode(mm).decode().strip() for mm in (12.34, -0.99, 0.0, 5.0)]
    peer = Peer(inverted=inverted)
    # at the gauge the bit is valid at the rising edge; behind an inverting shifter that is the falling one
    heard = Heard(
        "sync24",
        PinOptions({"data": DATA, "clock": CLOCK}, edge="falling" if inverted else "rising"),
        peer,
        invert=inverted,
    )
    heard.on_open = lambda: peer.word(words[0][13:])  # opened in mid-word, however busy this machine is
    heard.pins.start()
    await heard.until(lambda: heard.pins.is_open)
    for word in words[1:]:
        peer.wait(110_000)
        peer.word(word)
    ended = peer.time.now
    await heard.until(lambda: len(heard.blocks) == 3)
    await heard.pins.stop()
    assert heard.values() == [-0.99, 0.0, 5.0]
    assert heard.decoder.rejects == 0
    when = [stamp for _, stamp in heard.blocks]
    assert when[1] - when[0] == pytest.approx(110 * MS + (24 * 370 + 6 * 385) * 1000, abs=MS)
    assert when[-1] < ended < when[-1] + MS
    assert heard.states[0][0] == "open"


@pytest.mark.parametrize("bits", [23, 25])
async def test_a_bit_too_few_or_too_many_is_a_reject_and_the_next_is_good(bits: int) -> None:
    word = make_encoder("sync24")(12.34).decode().strip()
    peer = Peer()
    heard = Heard("sync24", PinOptions({"data": DATA, "clock": CLOCK}), peer)
    heard.pins.start()
    await heard.until(lambda: heard.pins.idle)  # a pause is seen
    for frame in ((word + "0")[:bits], word):
        peer.word(frame)
        peer.wait(110_000)
    await heard.until(lambda: len(heard.blocks) == 2)
    await heard.pins.stop()
    assert heard.values() == [None, 12.34]
    assert heard.decoder.rejects == 1


@pytest.mark.parametrize(("name", "mm"), [("sync48", 10.0), ("bcd28", -0.5)])
async def test_fast_words_of_both_other_kinds(name: str, mm: float) -> None:
    """Clock idles low, bits valid at its falling edge, 13 us a bit."""
    word = make_encoder(name)(mm).decode().strip()
    peer = Peer(idle=False)
    heard = Heard(name, PinOptions({"data": DATA, "clock": CLOCK}, edge="falling"), peer)
    heard.pins.start()
    await heard.until(lambda: heard.pins.idle)
    peer.word(word, low=7, rest=6, nibble=47)
    await heard.until(lambda: len(heard.blocks) == 1)
    await heard.pins.stop()
    assert heard.values()[0] == pytest.approx(mm, abs=0.0007)


async def test_a_52_bit_gauge_answers_its_request() -> None:
    word = make_encoder("sync52", {"resolution": "0.001 mm"})(-12.345).decode().strip()
    peer = RequestPeer(word)
    heard = Heard(
        "sync52", PinOptions({"data": DATA, "clock": CLOCK, "req": REQ}, edge="falling", rate=10.0), peer
    )
    assert not heard.pins.write(b"")  # not open yet
    heard.pins.start()
    await heard.until(lambda: len(heard.blocks) >= 2)
    await heard.pins.stop()
    assert set(heard.values()) == {-12.345}
    assert not peer.driven_high  # a gauge's request line is held by an open collector only
    assert 1 <= peer.bits_before_release < 52  # held until the first clock, let go before the last
    assert peer.req.function == "input"  # and let go at the end


async def test_a_gauge_that_does_not_answer_is_asked_again() -> None:
    peer = RequestPeer("1" * 52)
    peer.answers = False
    heard = Heard(
        "sync52", PinOptions({"data": DATA, "clock": CLOCK, "req": REQ}, timeout=0.03, rate=50.0), peer
    )
    heard.pins.start()
    await heard.until(lambda: heard.pins.unanswered >= 2)
    assert heard.pins.write(b"")
    await heard.pins.stop()
    assert heard.blocks == [] and heard.pins.unanswered >= 2


async def test_it_stops_though_an_answer_begins_at_that_moment() -> None:
    """The end of the task that requests is not lost where its wait ends at the same turn of the loop."""
    peer = RequestPeer("1" * 52)
    peer.answers = False
    options = PinOptions({"data": DATA, "clock": CLOCK, "req": REQ}, timeout=30.0, rate=50.0)
    heard = Heard("sync52", options, peer)
    heard.pins.start()
    await heard.until(lambda: peer.req.function == "output")
    heard.pins._answered.set()
    stopped, _ = await asyncio.wait([asyncio.create_task(heard.pins.stop())], timeout=10.0)
    assert stopped and peer.req.function == "input"


async def test_a_scale_counts_both_ways_without_a_gap_between_runs() -> None:
    peer = Peer()
    a, b = peer.factory.pin(CLOCK), peer.factory.pin(DATA)
    a.drive_low(), b.drive_low()
    heard = Heard("quad_x4", PinOptions({"a": CLOCK, "b": DATA}), peer)
    heard.pins.start()
    await heard.until(lambda: heard.pins.is_open)
    for turn in range(3):
        for pin, level in ((a, True), (b, True), (a, False), (b, False)) * 10:  # A leads: up
            (pin.drive_high if level else pin.drive_low)()
            peer.wait(100)
        await heard.until(lambda turn=turn: len(heard.blocks) > turn)
    for pin, level in ((b, True), (a, True)):  # B leads: down
        (pin.drive_high if level else pin.drive_low)()
        peer.wait(100)
    await heard.until(lambda: heard.blocks[-1][0].strip().endswith(b"3"))  # both edges are told
    await heard.pins.stop()
    records = [record for data, _ in heard.blocks for record in heard.decoder.feed(data)]
    assert sum(record.counts or 0 for record in records) == 120 - 2
    assert sum(record.illegal or 0 for record in records) == 0


def test_each_format_brings_its_own_edge_and_pause() -> None:
    pins = {"clock": CLOCK, "data": DATA}
    assert pin_options("sync24", {}, pins) == PinOptions(pins, "rising", 5000)
    assert pin_options("sync24", {"edge": "falling", "gap_us": 900}, pins) == PinOptions(pins, "falling", 900)
    asked = pin_options("sync52", {"timeout": 2.5}, {**pins, "req": REQ}, rate=2.0)
    assert (asked.edge, asked.timeout, asked.rate) == ("falling", 2.5, 2.0)
    assert pin_options("quad_x4", {}, {"a": 1, "b": 2}).pins == {"a": 1, "b": 2}
    with pytest.raises(ValueError, match="clock and data"):
        pin_options("sync24", {}, {"a": 1, "b": 2})


async def test_no_pins_are_told_and_tried_again(monkeypatch: pytest.MonkeyPatch) -> None:
    """This machine, which most likely has none."""
    states: list[tuple[str, str]] = []
    pins = ClockedPins(
        PinOptions({"data": DATA, "clock": CLOCK}), lambda *_: None, lambda *s: states.append(s)
    )
    monkeypatch.setattr(pin_lines, "find_chip", lambda: find_chip(Path("/nonexistent")))
    pins.start()
    await until(lambda: states)
    await pins.stop()
    assert states == [("absent", "pins data 5, clock 6: this machine has no such pins.")]


# ---- frames, purely ---------------------------------------------------------------------------------


def edges_of(bits: str, start: int) -> list[Edge]:
    """Clock idles high, bit valid at the rising edge."""
    out, at, level = [], start, None
    for bit in bits:
        if bit != level:
            out.append(Edge(at, "data", bit == "1"))
            level = bit
        out += [Edge(at + 50_000, "clock", False), Edge(at + 200_000, "clock", True)]
        at += 400_000
    return out


@given(st.lists(st.text("01", min_size=1, max_size=60), min_size=1, max_size=5))
def test_any_bits_come_out_as_they_went_in(frames: list[str]) -> None:
    builder = FrameBuilder("rising", 5000, {"clock": True, "data": False})
    builder.pause()
    at, out = 0, []
    for frame in frames:
        for edge in [Edge(at, "data", False), *edges_of(frame, at)]:
            out.append(builder.add(edge))
        at += 400_000 * len(frame) + 20 * MS
    out.append(builder.pause())
    assert [ended[0] for ended in out if ended is not None] == frames


@given(st.data())
def test_a_missed_edge_never_makes_another_reading(data: st.DataObject) -> None:
    """Any edge of the clock, or the kernel's word that some are lost: the frame is rejected."""
    word = make_encoder("sync24")(data.draw(st.integers(-99999, 99999)) / 100).decode().strip()
    edges: list[Edge | MissedEdges] = list(edges_of(word, 0))
    clocks = [k for k, edge in enumerate(edges) if edge.line == "clock"]  # type: ignore[union-attr]
    missed = data.draw(st.sampled_from(clocks[:-1]))
    if data.draw(st.booleans()):
        edges[missed] = MissedEdges(edges[missed].at)
    else:
        del edges[missed]
    builder = FrameBuilder("rising", 5000, {"clock": True, "data": False}, whole=True)
    for edge in edges:
        builder.add(edge)
    ended = builder.pause()
    assert ended is not None
    decoder = make_decoder("sync24")
    (record,) = decoder.feed(ended[0].encode() + b"\n")
    assert record.fault is not None and decoder.rejects == 1


def test_the_first_half_frame_is_dropped_and_states_begin_where_they_ended() -> None:
    builder = FrameBuilder("rising", 5000, {"clock": True})
    for edge in edges_of("1010", 0):
        assert builder.add(edge) is None
    assert builder.pause() is None
    states = StateBuilder({"a": False, "b": False})
    states.add(Edge(1, "a", True))
    assert states.pause() == ("02", 1)
    states.add(Edge(2, "b", True))
    assert states.pause() == ("23", 2)
    assert states.pause() is None


# ---- the kernel's own way ---------------------------------------------------------------------------


async def test_both_pins_are_one_request_of_the_kernel_and_feed_a_decoder(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    chip = GpioChip(tmp_path / "dev", monkeypatch)
    blocks: list[tuple[bytes, int]] = []
    states: list[tuple[str, str]] = []
    pins = ClockedPins(
        PinOptions({"clock": CLOCK, "data": DATA}), lambda *b: blocks.append(b), lambda *s: states.append(s)
    )
    pins.start()
    await until(lambda: pins.idle)
    (request,) = chip.requests
    assert request.pins == [
        CLOCK,
        DATA,
    ]  # both in one request, with the longest queue, and no pull of the chip's
    assert request.queue == 1024
    wanted = LineSettings(direction=Direction.INPUT, edge_detection=Detection.BOTH, bias=Bias.DISABLED)
    assert request.settings == wanted and wanted.event_clock is Clock.MONOTONIC
    numbers = {"clock": CLOCK, "data": DATA}
    edges = edges_of(make_encoder("sync24")(12.34).decode().strip(), 1_000_000)
    chip.edges(*((edge.at, numbers[edge.line], edge.level) for edge in edges))
    await until(lambda: blocks)
    await pins.stop()
    assert request.released
    assert [state for state, _ in states] == ["open"]
    ((data, when),) = blocks
    assert make_decoder("sync24").feed(data)[0].value == 12.34
    assert when == edges[-1].at  # the kernel's own time of the last bit


def test_a_gap_in_the_kernels_numbering_is_a_loss(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    chip = GpioChip(tmp_path / "dev", monkeypatch)
    chip.levels = {CLOCK: 0}
    lines = GpioLines({"clock": CLOCK, "data": DATA})
    assert lines.levels == {"clock": False, "data": True}
    assert not lines.waiting() and lines.drain() == []
    chip.edges((1, CLOCK, False), (2, CLOCK, True))
    assert lines.waiting()
    chip.drop(2)
    chip.edges((9, CLOCK, True))
    wanted = [Edge(1, "clock", False), Edge(2, "clock", True), MissedEdges(9), Edge(9, "clock", True)]
    assert lines.drain() == wanted
    chip._number = 0xFFFFFFFE  # the kernel counts in 32 bits
    chip.edges((10, CLOCK, False))
    chip._number = -1
    chip.edges((11, CLOCK, True))
    assert lines.drain() == [MissedEdges(10), Edge(10, "clock", False), Edge(11, "clock", True)]
    lines.close()


def test_a_request_line_is_released_and_pulled_low(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    chip = GpioChip(tmp_path / "dev", monkeypatch)
    lines = GpioLines({"clock": CLOCK, "data": DATA}, REQ)
    lines.pull(True)
    lines.pull(False)
    lines.close()
    lines.close()
    inputs, output = chip.requests
    assert (inputs.pins, output.pins) == ([CLOCK, DATA], [REQ])
    assert output.settings == LineSettings(
        direction=Direction.OUTPUT, drive=Drive.OPEN_DRAIN, bias=Bias.DISABLED, output_value=Value.ACTIVE
    )  # never driven high, and released from the first moment on
    assert [level for _, level in chip.outputs] == [0, 1]
    assert inputs.released and output.released


def test_what_the_library_says_of_a_machine_without_pins_is_understood(tmp_path: Path) -> None:
    """gpiod itself, on files that are no chips."""
    with pytest.raises(FileNotFoundError):
        GpioLines({"clock": CLOCK}, chip=tmp_path / "gpiochip0")
    (tmp_path / "gpiochip0").touch()
    with pytest.raises(OSError) as caught:
        GpioLines({"clock": CLOCK}, chip=tmp_path / "gpiochip0")
    assert caught.value.errno == errno.ENOTTY


def test_the_chip_is_found_by_its_label(tmp_path: Path) -> None:
    labels = {"0": "raspberrypi-exp-gpio", "10": "gpio-brcmstb@1", "4": "pinctrl-rp1"}
    for number in labels:
        (tmp_path / f"gpiochip{number}").touch()
    assert find_chip(tmp_path, lambda path: labels[path.name.removeprefix("gpiochip")]).name == "gpiochip4"
    with pytest.raises(FileNotFoundError):
        find_chip(tmp_path, lambda path: "something else")

    def denied(path: Path) -> str:
        raise PermissionError(errno.EACCES, "Permission denied", str(path))

    with pytest.raises(PermissionError):
        find_chip(tmp_path, denied)


def test_an_edge_that_was_missed_spoils_its_run_and_is_told_with_the_next_position() -> None:
    states = StateBuilder({"a": False, "b": False})
    reader = CountedTravel(make_decoder("quad_x4"), 0.05, relative=True)

    def told(*happened: Edge | MissedEdges) -> list[tuple[float | None, tuple[str, ...]]]:
        for one in happened:
            states.add(one)
        run = states.pause()
        assert run is not None
        return [(record.value, record.flags) for record in reader.feed(run[0].encode() + b"\n")]

    up = [Edge(1, "a", True), Edge(2, "b", True), Edge(3, "a", False), Edge(4, "b", False)]
    assert told(*up) == [(pytest.approx(0.2), ())]
    assert told(Edge(5, "a", True), Edge(6, "a", True)) == [
        (None, ())
    ]  # it rose twice: it fell between, unseen
    assert told(Edge(7, "b", True)) == [(pytest.approx(0.25), ("missed_edge",))]
    assert told(Edge(8, "a", False), MissedEdges(9)) == [(None, ())]
    assert told(Edge(10, "b", False), Edge(11, "z", True)) == [(pytest.approx(0.3), ("missed_edge",))]
    assert told(Edge(12, "a", True)) == [(pytest.approx(0.35), ())]
    assert states.stand(7) == ("2", 7)
    assert reader.rejects == 2

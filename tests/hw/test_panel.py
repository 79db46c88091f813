"""The panel on gpiozero's own mock pins, with a loop whose clock is moved by hand."""

from __future__ import annotations

import asyncio
import heapq
import sys
import threading
from collections.abc import Callable, Iterator
from importlib.util import find_spec
from itertools import count, pairwise
from pathlib import Path
from unittest.mock import MagicMock

import pytest
from gpiozero.pins.mock import MockFactory, MockPin, MockPWMPin
from hypothesis import given, settings
from hypothesis import strategies as st

from hw.panel import HIGH_HZ, LOW_HZ, PATTERNS, Panel
from hw.pedal import LONG_S, STABLE_S, Pedal

PEDAL, LAMP, BUZZER = 17, 27, 22


class HandLoop:
    """Time passes when `run` says so; call_soon_threadsafe runs at the next turn."""

    def __init__(self) -> None:
        self.now = 0.0
        self._queue: list[tuple[float, int, Handle]] = []
        self._count = count()

    def call_later(self, delay: float, callback: Callable[[], object]) -> Handle:
        handle = Handle(callback)
        heapq.heappush(self._queue, (self.now + delay, next(self._count), handle))
        return handle

    def call_soon_threadsafe(self, callback: Callable[[], object]) -> Handle:
        return self.call_later(0.0, callback)

    def run(self, seconds: float) -> None:
        end = self.now + seconds
        while self._queue and self._queue[0][0] <= end:
            self.now, _, handle = heapq.heappop(self._queue)
            if handle.callback is not None:
                handle.callback()
        self.now = end


class Handle:
    def __init__(self, callback: Callable[[], object]) -> None:
        self.callback: Callable[[], object] | None = callback

    def cancel(self) -> None:
        self.callback = None


class Bench:
    """A panel on mock pins and what the user's foot does to it."""

    def __init__(self, pin_class: type[MockPin] = MockPWMPin, **pins: int) -> None:
        self.factory = MockFactory(pin_class=pin_class)
        self.loop = HandLoop()
        self.actions: list[str] = []
        self.panel = Panel(
            **(pins or {"pedal": PEDAL, "lamp": LAMP, "buzzer": BUZZER}),
            on_press=lambda: self.actions.append("press"),
            on_long=lambda: self.actions.append("long"),
            make_factory=lambda: self.factory,
        )
        self.panel.start(self.loop)
        self.contact = self.factory.pin(PEDAL)
        self.lamp = self.factory.pin(LAMP)
        self.buzzer = self.factory.pin(BUZZER)

    def bounce(self, down: bool, times: int = 5) -> None:
        """A real contact: open and closed several times within some milliseconds, then at rest."""
        for _ in range(times):
            self.set(down)
            self.loop.run(0.001)
            self.set(not down)
            self.loop.run(0.001)
        self.set(down)

    def set(self, down: bool) -> None:
        (self.contact.drive_low if down else self.contact.drive_high)()


@pytest.fixture
def bench() -> Iterator[Bench]:
    made = Bench()
    yield made
    made.panel.stop()


def test_everything_works_on_mock_pins(bench) -> None:
    assert bench.panel.state == "on"
    assert bench.panel.words == "panel on: pedal, lamp, buzzer working"


def test_a_bouncing_press_is_one_action(bench) -> None:
    bench.bounce(True)
    bench.loop.run(0.3)
    assert bench.actions == []  # not yet known whether it is a long one
    bench.bounce(False)
    bench.loop.run(2.0)
    assert bench.actions == ["press"]


def test_a_long_press_is_another_action_and_only_that(bench) -> None:
    bench.bounce(True)
    bench.loop.run(LONG_S - STABLE_S - 0.002)
    assert bench.actions == []
    bench.loop.run(STABLE_S + 0.004)
    assert bench.actions == ["long"]  # while it is held
    bench.loop.run(5.0)
    bench.bounce(False)
    bench.loop.run(2.0)
    assert bench.actions == ["long"]


def test_a_spark_is_no_press(bench) -> None:
    bench.set(True)
    bench.loop.run(STABLE_S * 0.9)
    bench.set(False)
    bench.loop.run(2.0)
    assert bench.actions == []


def test_a_contact_that_opens_for_a_moment_while_held_is_still_one_press(bench) -> None:
    bench.set(True)
    bench.loop.run(0.3)
    bench.set(False)
    bench.loop.run(0.005)
    bench.set(True)
    bench.loop.run(0.3)
    bench.set(False)
    bench.loop.run(1.0)
    assert bench.actions == ["press"]


def test_presses_one_after_another_each_count(bench) -> None:
    for _ in range(4):
        bench.bounce(True)
        bench.loop.run(0.1)
        bench.bounce(False)
        bench.loop.run(0.1)
    assert bench.actions == ["press"] * 4


def test_a_pedal_held_when_the_program_starts_is_no_press() -> None:
    level = [True]
    actions: list[str] = []
    loop = HandLoop()
    pedal = Pedal(lambda: level[0], loop, lambda: actions.append("press"), lambda: actions.append("long"))
    loop.run(3.0)
    level[0] = False
    pedal.changed()
    loop.run(1.0)
    assert actions == []
    level[0] = True
    pedal.changed()
    loop.run(0.1)
    level[0] = False
    pedal.changed()
    loop.run(1.0)
    assert actions == ["press"]


def test_a_release_whose_edge_was_lost_is_no_long_press() -> None:
    """The contact itself is asked before anything is done."""
    level = [False]
    actions: list[str] = []
    loop = HandLoop()
    pedal = Pedal(lambda: level[0], loop, lambda: actions.append("press"), lambda: actions.append("long"))
    level[0] = True
    pedal.changed()
    loop.run(0.5)
    level[0] = False  # and nobody says so
    loop.run(2.0)
    assert actions == ["press"]


@settings(max_examples=3 * settings().max_examples)
@given(st.lists(st.one_of(st.floats(0.0001, 0.015), st.floats(0.025, 1.6)), max_size=30))
def test_any_bouncing_gives_one_action_for_each_stretch_of_contact(lengths: list[float]) -> None:
    """Against a plain reckoning over the whole record: levels that lasted beyond the bounce, merged."""
    loop, actions, level = HandLoop(), [], [False]
    pedal = Pedal(lambda: level[0], loop, lambda: actions.append("press"), lambda: actions.append("long"))
    accepted = [(0.0, False)]
    for length in [*lengths, 2.0] if len(lengths) % 2 else [*lengths, 0.03, 2.0]:
        level[0] = not level[0]
        pedal.changed()
        if length > STABLE_S and level[0] != accepted[-1][1]:
            accepted.append((loop.now + STABLE_S, level[0]))
        loop.run(length)
    wanted = []
    for (since, down), (until, _) in pairwise(accepted):
        if down:
            held = until - since + STABLE_S
            wanted.append(
                {"press"} if held < LONG_S else {"long"} if held > LONG_S + 0.5 else {"press", "long"}
            )
    assert len(actions) == len(wanted)
    assert all(action in allowed for action, allowed in zip(actions, wanted, strict=True))


async def test_the_library_calls_from_its_own_thread_and_the_action_comes_on_the_loop() -> None:
    factory = MockFactory()
    where: list[int] = []
    done = asyncio.Event()

    def pressed() -> None:
        where.append(threading.get_ident())
        done.set()

    panel = Panel(pedal=PEDAL, on_press=pressed, on_long=print, make_factory=lambda: factory)
    panel.start(asyncio.get_running_loop())
    pin = factory.pin(PEDAL)
    await asyncio.to_thread(pin.drive_low)
    await asyncio.sleep(2 * STABLE_S)
    await asyncio.to_thread(pin.drive_high)
    await asyncio.wait_for(done.wait(), 60.0)
    assert where == [threading.get_ident()]
    panel.stop()


def test_lamp_blinks_while_it_wants_you_and_stands_when_ready(bench) -> None:
    bench.panel.show("wants-you")
    seen = []
    for _ in range(4):
        seen.append(bench.lamp.state)
        bench.loop.run(0.5)
    assert seen == [1, 0, 1, 0]
    bench.panel.show("ready")
    bench.loop.run(10.0)
    assert bench.lamp.state == 1
    bench.panel.show("idle")
    assert bench.lamp.state == 0


def test_kept_beeps_high_twice_and_then_the_lasting_pattern_goes_on(bench) -> None:
    bench.panel.show("ready")
    bench.panel.show("accepted")
    sounds = []
    for _ in range(40):
        if not sounds or sounds[-1] != bench.buzzer.state:
            sounds.append(bench.buzzer.state)
        bench.loop.run(0.01)
    assert sounds == [0.5, 0.0, 0.5, 0.0]
    assert bench.lamp.state == 1


def test_low_and_high_have_their_pitch_and_their_rhythm(bench) -> None:
    bench.panel.show("low")
    assert (bench.buzzer.state, bench.buzzer.frequency) == (0.5, LOW_HZ)
    bench.loop.run(1.0)
    bench.panel.show("high")
    assert (bench.buzzer.state, bench.buzzer.frequency) == (0.5, HIGH_HZ)
    bench.loop.run(1.0)
    assert bench.buzzer.state == 0.0
    low, high = (sum(pulse.pitch is not None for pulse in PATTERNS[name].pulses) for name in ("low", "high"))
    assert low != high


def test_a_lasting_pattern_waits_for_the_beep_to_end(bench) -> None:
    bench.panel.show("refused")
    bench.panel.show("wants-you")
    assert bench.buzzer.state == 0.5
    bench.loop.run(0.85)
    assert bench.buzzer.state == 0.0
    assert bench.lamp.state == 1


def test_a_buzzer_on_a_pin_without_pulses_is_switched() -> None:
    bench = Bench(MockPin)
    bench.panel.show("low")
    assert bench.buzzer.state == 1
    bench.loop.run(1.0)
    assert bench.buzzer.state == 0
    bench.panel.stop()


def test_stop_leaves_it_dark_silent_and_free(bench) -> None:
    bench.panel.show("ready")
    bench.panel.show("low")
    bench.panel.stop()
    bench.panel.stop()
    assert (bench.lamp.state, bench.buzzer.state) == (0, 0)
    bench.bounce(True)
    bench.loop.run(5.0)
    assert bench.actions == []


def test_without_pins_it_is_off_and_says_why() -> None:
    def missing() -> MockFactory:
        raise FileNotFoundError("/dev/gpiochip0")

    panel = Panel(pedal=PEDAL, lamp=LAMP, on_press=print, on_long=print, make_factory=missing)
    panel.start(HandLoop())
    assert panel.state == "off"
    assert "pedal on pin 17 does not: " in panel.words
    panel.show("accepted")
    panel.show("ready")
    panel.stop()


def test_this_machine_has_no_pins_and_that_is_not_fatal() -> None:
    """The real factory, without the library beneath."""
    panel = Panel(lamp=LAMP, on_press=print, on_long=print)
    if find_spec("lgpio") is not None:
        pytest.skip("lgpio is installed here: opening real pins is not for this test")
    panel.start(HandLoop())
    assert panel.state == "off"
    assert "the lgpio library is not installed" in panel.words


def test_the_chip_of_the_header_is_told_by_its_label_and_not_by_its_number(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """An expander or a cable with pins of its own may have the first number (seen with the kernel's own chips in the
    rig); the library itself takes number 0, or 4 on a Pi 5 that has one."""
    library = MagicMock()
    monkeypatch.setitem(sys.modules, "lgpio", library)
    monkeypatch.setattr("hw.panel.find_chip", lambda: Path("/dev/gpiochip1"))
    try:
        panel = Panel(lamp=LAMP, on_press=print, on_long=print)
        panel.start(HandLoop())
        library.gpiochip_open.assert_called_once_with(1)
        panel.stop()
    finally:
        sys.modules.pop("gpiozero.pins.lgpio", None)  # it holds the library above


def test_may_not_use_the_pins() -> None:
    def refused() -> MockFactory:
        raise PermissionError("/dev/gpiochip0")

    panel = Panel(lamp=LAMP, on_press=print, on_long=print, make_factory=refused)
    panel.start(HandLoop())
    assert "group gpio" in panel.words


def test_two_parts_on_one_pin_leave_one_working() -> None:
    bench = Bench(pedal=PEDAL, lamp=LAMP, buzzer=LAMP)
    assert bench.panel.state == "partly"
    assert list(bench.panel.faults) == ["buzzer"]
    assert f"buzzer on pin {LAMP} does not" in bench.panel.words
    bench.bounce(True)
    bench.loop.run(0.1)
    bench.bounce(False)
    bench.loop.run(0.1)
    assert bench.actions == ["press"]
    bench.panel.stop()


def test_nothing_wired_is_off_without_a_fault() -> None:
    panel = Panel(on_press=print, on_long=print, make_factory=lambda: pytest.fail("no pin was asked for"))
    panel.start(HandLoop())
    assert (panel.state, panel.faults) == ("off", {})
    assert panel.words == "panel off: no pedal, lamp or buzzer is set up"


def test_a_lamp_that_fails_later_turns_off_alone(bench) -> None:
    def broken(value: int) -> None:
        raise OSError("the line is gone")

    bench.panel._devices["lamp"] = type(
        "Lamp", (), {"value": property(None, lambda self, value: broken(value))}
    )()
    bench.panel.show("ready")
    assert list(bench.panel.faults) == ["lamp"]
    bench.panel.show("low")
    assert bench.buzzer.state == 0.5


def test_an_unknown_pattern_is_a_mistake_of_the_caller(bench) -> None:
    with pytest.raises(KeyError):
        bench.panel.show("fireworks")

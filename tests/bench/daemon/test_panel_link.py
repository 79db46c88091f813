"""A foot on the pedal takes a whole marked push, on the pin library's own mock pins."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator

import pytest
from gpiozero.pins.mock import MockFactory, MockPWMPin
from msgspec.structs import replace
from turns import until

from bench.daemon.panel import PanelLink
from bench.finding import Finding
from bench.procedure.prompt import Prompt
from bench.protocol import (
    FindingNotice,
    InstrumentState,
    LiveMoveNotice,
    MarkNotice,
    NoFinding,
    Notice,
    PassNotice,
    PromptChanged,
)
from bench.settings.settings_file import PanelSettings
from hw.pedal import LONG_S

READY = PromptChanged(run="1", check="fence-square", ask=Prompt("sweep", "push", ready=True))
WANTS = PromptChanged(run="1", check="fence-square", ask=Prompt("place", "put it", enter=True))
WORKING = PromptChanged(run="1", check="fence-square", ask=Prompt("working-out", "a moment"))


class Foot:
    def __init__(self) -> None:
        self.factory = MockFactory(pin_class=MockPWMPin)
        self.presses: list[str] = []
        self.threads: set[int] = set()
        self.link = PanelLink(
            PanelSettings(pedal=17, lamp=27, buzzer=22),
            lambda: self._pressed("press"),
            lambda: self._pressed("long"),
            lambda: self._pressed("too soon"),
            make_factory=lambda: self.factory,
        )
        self.link.start(asyncio.get_running_loop())
        self.pedal, self.lamp, self.buzzer = (self.factory.pin(pin) for pin in (17, 27, 22))

    def _pressed(self, what: str) -> None:
        self.presses.append(what)
        self.threads.add(threading.get_ident())

    async def press(self) -> None:
        """Down and up again, and until the contact has settled."""
        self.pedal.drive_low()  # closes to ground
        await self.until(lambda: self.link.panel._pedal._down)
        self.pedal.drive_high()
        await self.until(lambda: not self.link.panel._pedal._down)

    async def until(self, true) -> None:
        await until(true, told=lambda: self.presses)


@pytest.fixture
async def foot() -> Iterator[Foot]:
    made = Foot()
    yield made
    made.link.panel.stop()


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> list[float]:
    """The time that questions and presses are stamped with, s."""
    now = [100.0]
    monkeypatch.setattr("bench.daemon.panel.monotonic", lambda: now[0])
    return now


async def test_a_foot_that_presses_twice_does_not_answer_the_next_question(foot: Foot, clock) -> None:
    foot.link.show(replace(WANTS, ask=replace(WANTS.ask, phase="lean", lean="left")))
    clock[0] += 1.0
    await foot.press()
    assert foot.presses == ["press"]
    right = replace(WANTS, ask=replace(WANTS.ask, phase="lean", lean="right"))
    foot.link.show(right)
    clock[0] += 0.5
    await foot.press()
    assert foot.presses == ["press", "too soon"]
    await foot.until(lambda: foot.link.panel._playing == "trouble")  # heard by who looks at the sled
    foot.link.show(replace(right, ask=replace(right.ask, words="Other words, the same question.")))
    clock[0] += 0.4
    await foot.press()
    assert foot.presses == ["press", "too soon", "press"]


async def test_an_early_press_waits_but_not_the_second_of_two(foot: Foot, clock) -> None:
    foot.link.show(WANTS)
    clock[0] += 1.0
    await foot.press()
    foot.link.show(READY)  # asks for no press: the second of two came for what was answered
    clock[0] += 0.3
    await foot.press()
    assert foot.presses == ["press", "too soon"]
    clock[0] += 1.0
    await foot.press()
    assert foot.presses == ["press", "too soon", "press"]


async def test_the_pedal_answers_a_live_move_only_where_it_asks(foot: Foot, clock) -> None:
    foot.link.show(LiveMoveNotice(True, "go", "0.05 mm to go."))
    clock[0] += 5.0
    await foot.press()
    assert not foot.presses
    foot.link.show(LiveMoveNotice(True, "go", "It holds.", enter=True))  # the screw was turned before
    await foot.press()
    foot.link.show(LiveMoveNotice(True, "tighten", "Tighten.", enter=True))
    await foot.press()
    assert foot.presses == ["press", "too soon"]


async def test_pedal_lamp_and_buzzer(foot: Foot, clock) -> None:
    assert foot.link.panel.words == "panel on: pedal, lamp, buzzer working"
    foot.link.show(READY)
    assert foot.lamp.state
    foot.link.show(WANTS)
    clock[0] += 1.0
    await foot.press()
    assert foot.presses == ["press"]
    foot.link.tone("accepted")
    assert foot.buzzer.state  # heard where the eyes are on the fence
    foot.link.tone("low")
    foot.link.show(FindingNotice("1", Finding(check="fence-square", quantities=[])))
    await foot.until(lambda: not foot.lamp.state and not foot.buzzer.state)


async def test_a_long_press_is_told_while_it_is_held_and_once(
    foot: Foot, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("hw.pedal.LONG_S", 0.1)
    assert LONG_S > 0.5
    threading.Thread(target=foot.pedal.drive_low).start()  # as the library calls: from another thread
    await foot.until(lambda: bool(foot.presses))
    foot.pedal.drive_high()
    await asyncio.sleep(0.06)
    assert foot.presses == ["long"]
    assert foot.threads == {threading.get_ident()}  # on the loop


def lit(foot: Foot) -> str:
    return foot.link.panel._lasting


async def test_what_is_wanted_is_what_is_lit(foot: Foot) -> None:
    for message, pattern in (
        (WANTS, "wants-you"),
        (READY, "ready"),
        (
            PromptChanged(run="1", ask=Prompt("sweep", "leave it at rest")),
            "ready",
        ),  # nothing new to do: as it was
        (Notice("log", "words only"), "ready"),
        (MarkNotice("handle-left", 25.0, 1, 9, 2.5), "ready"),
        (WORKING, "idle"),
        (NoFinding("1", "too few"), "trouble"),
        (WANTS, "wants-you"),
        (PromptChanged(run=None), "idle"),
    ):
        foot.link.show(message)
        assert lit(foot) == pattern, message


async def test_a_pulled_cable_is_trouble_while_a_check_runs(foot: Foot) -> None:
    pulled = InstrumentState("indicator", "indicator", "absent", "went away")
    back = InstrumentState("indicator", "indicator", "open", "reads")
    foot.link.show(pulled)
    assert lit(foot) == "idle"  # nobody is pushing
    foot.link.show(back)
    foot.link.show(READY)
    foot.link.show(pulled)
    assert lit(foot) == "trouble"
    foot.link.show(back)
    assert lit(foot) == "ready"


async def test_pins_that_cannot_be_had_are_said_and_nothing_else(caplog: pytest.LogCaptureFixture) -> None:
    def none() -> object:
        raise FileNotFoundError("no chip")

    link = PanelLink(PanelSettings(pedal=17), lambda: None, lambda: None, make_factory=none)
    link.start(asyncio.get_running_loop())
    assert "panel off" in link.panel.words and "pedal on pin 17 does not" in link.panel.words
    link.show(READY)
    link.tone("high")
    link.panel.stop()


def test_no_panel_is_silence() -> None:
    link = PanelLink(None, lambda: None, lambda: None)
    link.tone("low")
    link.show(PassNotice("s", "handle-left", "kept"))
    link.show(READY)
    assert link.panel.state == "off"
    link.panel.stop()


async def test_the_lamp_blinks_slowly_while_something_is_due_and_nothing_else_is_wanted(foot: Foot) -> None:
    foot.link.due(True)
    await foot.until(lambda: foot.lamp.state)
    assert foot.link.panel._playing == "due"
    foot.link.show(WANTS)
    assert foot.link.panel._playing == "wants-you"
    foot.link.show(FindingNotice("1", Finding(check="fence-square", quantities=[])))
    await foot.until(lambda: foot.link.panel._playing == "idle" and not foot.lamp.state)
    foot.link.due(True)
    foot.link.due(False)
    await foot.until(lambda: foot.link.panel._playing == "idle")

"""A foot on the pedal takes a whole marked push, on the pin library's own mock pins."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import Iterator

import pytest
from gpiozero.pins.mock import MockFactory, MockPWMPin
from turns import until

from bench.daemon.panel import PanelLink
from bench.finding import Finding
from bench.procedure.prompt import Prompt
from bench.protocol import (
    FindingNotice,
    InstrumentState,
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
            make_factory=lambda: self.factory,
        )
        self.link.start(asyncio.get_running_loop())
        self.pedal, self.lamp, self.buzzer = (self.factory.pin(pin) for pin in (17, 27, 22))

    def _pressed(self, what: str) -> None:
        self.presses.append(what)
        self.threads.add(threading.get_ident())

    async def until(self, true) -> None:
        await until(true, told=lambda: self.presses)


@pytest.fixture
async def foot() -> Iterator[Foot]:
    made = Foot()
    yield made
    made.link.panel.stop()


async def test_pedal_lamp_and_buzzer(foot: Foot) -> None:
    assert foot.link.panel.words == "panel on: pedal, lamp, buzzer working"
    foot.link.show(READY)
    assert foot.lamp.state
    foot.pedal.drive_low()  # closes to ground
    await asyncio.sleep(0.05)
    foot.pedal.drive_high()
    await foot.until(lambda: bool(foot.presses))
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

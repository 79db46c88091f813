"""A foot on the pedal takes a whole marked push, on the pin library's own mock pins."""

from __future__ import annotations

import asyncio

from gpiozero.pins.mock import MockFactory, MockPWMPin

from bench.asking import Ask
from bench.daemon.panel import PanelLink
from bench.finding import Finding
from bench.settings import Panel
from bench.wire import Asking, Concluded, SweepSaid


async def test_pedal_lamp_and_buzzer() -> None:
    factory = MockFactory(pin_class=MockPWMPin)
    presses: list[str] = []
    link = PanelLink(
        Panel(pedal=17, lamp=27, buzzer=22),
        lambda: presses.append("press"),
        lambda: presses.append("long"),
        make_factory=lambda: factory,
    )
    link.start(asyncio.get_running_loop())
    pedal, lamp = factory.pin(17), factory.pin(27)
    try:
        link.show(Asking(run="1", check="fence-square", ask=Ask("sweep", "push", ready=True)))
        assert lamp.state
        pedal.drive_low()  # closes to ground
        await asyncio.sleep(0.05)
        pedal.drive_high()
        await asyncio.sleep(0.05)
        assert presses == ["press"]
        link.show(SweepSaid("s", "handle-left", "kept"))
        link.tone("low")
        link.show(Concluded("1", Finding(check="fence-square", quantities=[])))
        await asyncio.sleep(0.6)
        assert not lamp.state
    finally:
        link.stop()


def test_no_panel_is_silence() -> None:
    link = PanelLink(None, lambda: None, lambda: None)
    link.tone("low")
    link.show(SweepSaid("s", "handle-left", "kept"))
    assert link.words is None
    link.stop()

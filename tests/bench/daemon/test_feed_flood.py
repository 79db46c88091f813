"""A flood is told once, by its instrument's name, with what to do; and it is over when it is over."""

from __future__ import annotations

import pytest

from bench.daemon.acquisition import Instrument
from bench.daemon.instrument_health import FLOOD_FRAMES, FLOOD_OVER_S
from bench.render.notices import text
from bench.settings.settings_file import PortSettings

NS = 1_000_000_000
TURNS = 20  # blocks a second


class Fed:
    def __init__(self) -> None:
        self.states: list[tuple[str, str]] = []
        settings = PortSettings(port="/dev/null", options={"at_open": False})
        told = self.states.append
        self.one = Instrument(
            "indicator", settings, lambda *_: None, lambda i: told((i.state, text([i.remark])))
        )
        self.one._port_state("open", "/dev/null is open.")
        self.states.clear()
        self.turn = 100 * TURNS

    def sends(self, seconds: float, per_second: int) -> None:
        for _ in range(round(seconds * TURNS)):
            self.turn += 1
            when = self.turn * NS // TURNS
            self.one._block(b"+2.500 mm\r\n" * (per_second // TURNS), when)
            self.one.tick(when / NS)


@pytest.mark.parametrize(
    "per_second", [FLOOD_FRAMES + 5_000, pytest.param(2 * FLOOD_FRAMES, marks=pytest.mark.ci)]
)
def test_a_flood_is_told_once_and_its_end_once(per_second: int) -> None:
    fed = Fed()
    fed.sends(3.0, per_second)
    assert [state for state, _ in fed.states] == ["flooding"]
    words = fed.states[0][1]
    assert words.startswith("The indicator ") and "doctor" in words
    fed.sends(FLOOD_OVER_S + 1.5, 100)
    assert [state for state, _ in fed.states] == ["flooding", "open"]


def test_what_is_much_and_no_flood_is_left_alone() -> None:
    fed = Fed()
    fed.sends(2.5, FLOOD_FRAMES - 5_000)
    assert [state for state, _ in fed.states] == []

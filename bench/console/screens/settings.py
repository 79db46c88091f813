"""Settings: find and prove the cables, the units, the look, the leaf of the proof."""

from __future__ import annotations

from functools import partial

from bench.console import first_start
from bench.console.contents.details import instrument_words
from bench.console.screens.list_page import ListPage, Row
from bench.console.view_model import ViewModel
from bench.console.widgets.detail_pane import Detail
from bench.protocol import Learn, PutSound, PutUnits
from bench.render.screen import screen_text
from bench.units import length_words
from bench.units.parsing import parse_length

THEME_WORDS = {
    "shop": "colour",
    "pencil": "without colour",
    "tube": "the Pi's own screen",
}


class SettingsScreen(ListPage):
    page = "cables"
    title_words = "Settings"

    def detail(self) -> Detail:
        return Detail(instrument_words)

    def rows(self) -> list[Row]:
        view, guide = self.view, self.host.guide
        thick = first_start.proof_leaf(view, guide)
        leaf = length_words(thick, view.units)
        units = "millimetres" if view.units == "mm" else "inches"
        return [
            Row(
                "Find the indicator: press its plunger",
                partial(self._learn, Learn("indicator")),
                doing(view, "indicator"),
                leads=True,
            ),
            Row(
                "Find the travel: push the sled",
                partial(self._learn, Learn("travel")),
                doing(view, "travel"),
            ),
            Row(
                screen_text("prove-with", leaf=leaf),
                partial(self._learn, Learn("leaf", leaf=thick)),
            ),
            Row("Another leaf for the proof", self._type_leaf, value=leaf),
            Row("Shown in", self._turn_units, value=units),
            Row("Tones", self._turn_sound, value="on" if self._sounds() else "off"),
            Row("Look", self._turn_theme, value=THEME_WORDS.get(self.app.theme, "")),
        ]

    def _learn(self, learn: Learn) -> None:
        if self.requests.send(learn):
            self.host.go_home()

    def _turn_units(self) -> None:
        self.requests.send(PutUnits("inch" if self.view.units == "mm" else "mm"))

    def _sounds(self) -> bool:
        return self.view.gear is None or self.view.gear.sound

    def _turn_sound(self) -> None:
        self.requests.send(PutSound(not self._sounds()))

    def _turn_theme(self) -> None:
        self.host.action_next_theme()
        self.fill()

    def _type_leaf(self) -> None:
        guide, view = self.host.guide, self.view
        leaf = length_words(first_start.proof_leaf(view, guide), view.units)

        def accept(text: str) -> None:
            guide.leaf = parse_length(text)

        self.ask_value("How thick is the leaf?", leaf, accept, "thin")


def doing(view: ViewModel, role: str) -> str:
    """The state of the instrument of that role: its words, its rate, its rejected
    readings."""
    instrument = next((i for i in view.instruments.values() if i.role == role), None)
    if instrument is None or instrument.state == "marks":
        return "None is set up."
    if instrument.state != "open":
        return instrument.named_words
    code = "instrument-rate" if instrument.rate else "instrument-button"
    return screen_text(code, rate=instrument.rate, rejects=instrument.rejects)

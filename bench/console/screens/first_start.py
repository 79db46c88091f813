"""The first start: one thing asked at a time, the cables with their numbers below."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widget import Widget

from bench.console import first_start
from bench.console.contents.figure import live_figure
from bench.console.contents.first_start import cable_rows, request_words
from bench.console.contents.strip import state_line
from bench.console.screens.base import WorkScreen
from bench.console.widgets.act_bar import Act
from bench.console.widgets.drawing import Drawing
from bench.console.widgets.viewer import TextPanel
from bench.protocol import PutUnits

# signs of a request beside which a low screen has no room for large digits
LONG_REQUEST = 100
ENTER_WORDS: dict[first_start.Stage, str] = {
    "indicator": "find it",
    "travel": "find it",
    "leaf": "prove it",
    "sled": "describe it",
}


class FirstStartScreen(WorkScreen):
    page = "first_start"
    BINDINGS: ClassVar[list[BindingType]] = [
        # first, as it is the one way out where there is room for two keys only
        Binding("9,x", "leave_guide", "leave it", key_display="9"),
        Binding("0,u", "skip", "skip", key_display="0"),
        Binding("2,a", "again", "again", key_display="2"),
        Binding("3", "units", "mm or inch", key_display="3"),
        Binding("7,s", "open('sleds')", "sleds", key_display="7"),
        Binding("8", "open('settings')", "settings", key_display="8"),
    ]

    def body(self) -> Iterable[Widget]:
        yield Drawing(live_figure, "number", id="figure")
        yield Drawing(state_line, classes="-row")
        yield Vertical(
            TextPanel(request_words, "number"),
            Drawing(cable_rows, "number", id="cables"),
            id="work",
        )

    def choose_parts(self) -> None:
        learn, shown = self.view.setup, self.view.shown
        much = learn is not None and len(learn.words) > LONG_REQUEST
        self.set_class(much or len(self.view.ports) > 1, "-reads")
        self.set_class(shown is None or not shown.live or not self.view.online, "-dead")

    def acts(self) -> list[Act]:
        view, guide = self.view, self.host.guide
        out = []
        word = self._word()
        if word:
            out.append(Act("Enter", word, "press", leads=True))
        if first_start.can_repeat(view):
            out.append(Act("2", "again", "again"))
        if first_start.can_skip(view, guide):
            out.append(Act("0", "skip", "skip"))
        out.append(Act("3", "use inches" if view.units == "mm" else "use mm", "units"))
        return out

    def _word(self) -> str:
        """The act of Enter in a word or two; empty where it is not asked for."""
        learn = self.view.setup
        if learn is not None:
            if not self.requests.press_answers:
                return ""
            if learn.phase == "seen":
                return "keep it"
            return "it rests" if learn.step == 1 else "it is in"
        stage = first_start.next_stage(self.view, self.host.guide)
        return ENTER_WORDS[stage] if stage is not None else ""

    def can(self, action: str) -> bool:
        if action == "again":
            return first_start.can_repeat(self.view)
        if action == "skip":
            return first_start.can_skip(self.view, self.host.guide)
        return True

    def action_press(self) -> None:
        if self.view.setup is not None:
            super().action_press()
            return
        self.host.guide.active = True
        if not self.requests.learn_next():
            self.host.open("sled_form")

    def action_again(self) -> None:
        self.requests.learn_again()

    def action_skip(self) -> None:
        if not self.requests.skip():
            self.host.open("sled_form")

    def action_units(self) -> None:
        self.requests.send(PutUnits("inch" if self.view.units == "mm" else "mm"))

    def action_leave_guide(self) -> None:
        self.requests.leave_guide()

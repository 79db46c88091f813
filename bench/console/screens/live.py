"""The live move: the distance left, which way, and the band that is good enough."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.widget import Widget

from bench.console.contents import live
from bench.console.contents.figure import distance_figure
from bench.console.contents.strip import state_line
from bench.console.screens.base import WorkScreen
from bench.console.screens.confirm import ConfirmScreen
from bench.console.widgets.act_bar import Act
from bench.console.widgets.drawing import PICTURE_COLUMNS, Drawing
from bench.console.widgets.viewer import TextPanel
from bench.protocol import LiveMoveRequest

ENTER_WORDS = {
    "stand": "it stands",
    "lean": "it is leaned",
    "go": "it is there",
    "tighten": "it is tight",
    "end": "done",
}


class LiveScreen(WorkScreen):
    page = "live"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("0,u", "undo", "slack off", key_display="0"),
        Binding("5,v", "end_live", "end live", key_display="5"),
    ]

    def body(self) -> Iterable[Widget]:
        yield Drawing(distance_figure, "number", id="figure")
        yield Drawing(state_line, classes="-row")
        yield Vertical(
            TextPanel(live.live_words),
            Drawing(live.live_gauge, id="gauge"),
            TextPanel(live.live_facts, id="facts"),
            Drawing(live.indicator_picture, id="indicator"),
            Drawing(live.move_picture, widest=PICTURE_COLUMNS, id="sled"),
            id="work",
        )

    def choose_parts(self) -> None:
        now = self.view.live
        phase = now.phase if now is not None else ""
        self.set_class(phase in ("stand", "lean"), "-sets-up")
        self.set_class(phase == "stand", "-stands")

    def acts(self) -> list[Act]:
        """Before it is there, Enter is possible and not asked for."""
        now = self.view.live
        if now is None:
            return []
        out = []
        early = now.phase == "go" and not now.there
        if self.requests.press_answers:
            word = "tighten as it is" if early else ENTER_WORDS.get(now.phase, "go on")
            out.append(Act("Enter", word, "press", leads=not early))
        if self.can("undo"):
            out.append(Act("0", "slack off", "undo"))
        return [*out, Act("5", "end live", "end_live")]

    def can(self, action: str) -> bool:
        now = self.view.live
        return action != "undo" or (now is not None and now.phase == "tighten")

    def action_end_live(self) -> None:
        words = "End the live move? What was moved so far is not noted."
        self.app.push_screen(ConfirmScreen(words, self.host.last_key), self._ended)

    def _ended(self, sure: bool | None) -> None:
        if sure and self.view.live is not None:
            self.requests.send(LiveMoveRequest(on=False))

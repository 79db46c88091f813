"""The check in progress: the number, what is asked, the set-up drawn, the line."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.widget import Widget

from bench.console.contents.figure import check_figure
from bench.console.contents.prompt import (
    caution_words,
    pass_plot,
    prompt_words,
    set_up_picture,
)
from bench.console.contents.strip import state_line
from bench.console.host import NARROW
from bench.console.screens.base import WorkScreen
from bench.console.screens.confirm import ConfirmScreen
from bench.console.widgets.act_bar import Act
from bench.console.widgets.drawing import PICTURE_COLUMNS, Drawing
from bench.console.widgets.viewer import ReadOn, TextPanel
from bench.protocol import Abandon

ENTER_WORDS = {
    "cautions": "I have read it",
    "place": "it stands",
    "lean": "it is leaned",
    "tap": "it is tapped",
    "mark": "take it",
    "spot": "take it",
    "width": "take it",
}


# phases in which no number matters
WITHOUT_NUMBER = ("cautions", "working-out", "done")


class CheckScreen(WorkScreen):
    page = "check"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("0,u", "undo", "undo", key_display="0"),
        Binding("8,d", "picture", "drawing", key_display="8"),
        Binding("plus,pagedown", "read_on", "read on", key_display="+"),
        Binding("9,x", "give_up", "give up", key_display="9"),
    ]

    _asked: tuple[object, ...] = ()  # what is asked, by its place and not by its words
    _drawn_for: str | None = None  # the set-up whose drawing is shown on a phone

    def body(self) -> Iterable[Widget]:
        yield Drawing(check_figure, "number", id="figure")
        yield Drawing(state_line, classes="-row")
        cautions = TextPanel(caution_words)
        yield ReadOn(cautions, id="cautions")
        yield Horizontal(
            Vertical(
                ReadOn(TextPanel(prompt_words), id="words"),
                Drawing(pass_plot, "pass", id="plot"),
                id="asked",
            ),
            Drawing(set_up_picture, widest=PICTURE_COLUMNS, id="set-up"),
            id="work",
        )

    def choose_parts(self) -> None:
        prompt, shown = self.view.current_prompt, self.view.shown
        phase, told = prompt.phase, bool(prompt.remark)
        reads = phase == "place" or told
        dead = phase in WITHOUT_NUMBER or shown is None or not shown.live
        self.set_class(reads and not prompt.moving, "-reads")
        self.set_class(dead or not self.view.online, "-dead")
        self.set_class(phase == "place" and told, "-told")
        self.set_class(phase == "cautions", "-cautions")
        if prompt.placement != self._drawn_for or phase != "place":
            self._drawn_for = None  # its words stand in its place again
        self.set_class(self._drawn_for is not None, "-picture")
        self.set_class(phase == "place", "-places")
        self.set_class(prompt.moving, "-moving")

    def state_changed(self) -> None:
        """A new prompt is shown from its beginning."""
        prompt, box = self.view.current_prompt, self.query_one("#words", ReadOn)
        asked = prompt.placement, prompt.phase, prompt.step, prompt.remark
        if asked != self._asked:
            self._asked = asked
            box.scroll_home(animate=False)

    def fit(self) -> None:
        """A prompt that is too long for a phone has all the room but a row for the
        number and one for the state."""
        box = self.query_one("#words", ReadOn)
        room = self.query_one("#body").size.height - 2
        self.set_class(box.virtual_size.height > room > 0, "-long")

    # ---- acts ------------------------------------------------------------------------

    def acts(self) -> list[Act]:
        prompt = self.view.prompt
        if prompt is None or not self.view.online:
            return []
        out = []
        cautions, answers = prompt.phase == "cautions", self.requests.press_answers
        if (cautions or answers) and not self._read():
            out.append(Act("Enter", "read on", "read_on", leads=True))
        elif answers:
            word, asked = ENTER_WORDS.get(prompt.phase, "go on"), not prompt.by_itself
            if prompt.phase == "place" and prompt.gather == "width":
                word = "measure"
            out.append(Act("Enter", word, "press", leads=asked))
        if self.can("undo"):
            what = "pass" if prompt.gather == "sweep" else "reading"
            what = "mark" if prompt.mark else what
            out.append(Act("0", f"undo {what}", "undo", apart=True))
        if self.can("picture"):
            word = "drawing" if self._drawn_for is None else "words"
            out.append(Act("8", word, "picture"))
        return out

    def _words(self) -> ReadOn:
        """The box of what is to be read."""
        cautions = self.view.current_prompt.phase == "cautions"
        return self.query_one("#cautions" if cautions else "#words", ReadOn)

    def _read(self) -> bool:
        """The end of what is to be read has been on the screen."""
        if self.has_class("-picture"):
            return True
        box, end = self._words(), self._words().max_scroll_y
        return (box.size.height > 0 or box.id == "words") and box.scroll_offset.y >= end

    def can(self, action: str) -> bool:
        if action == "undo":
            return self.requests.can_undo
        if action == "picture":
            narrow = self.app.size.width < NARROW
            return narrow and self.view.current_prompt.phase == "place"
        if action == "read_on":
            return self.view.prompt is not None and not self._read()
        return True

    def action_picture(self) -> None:
        shows = self._drawn_for is None
        self._drawn_for = self.view.current_prompt.placement if shows else None
        self.choose_parts()
        self.host.mark("keys")

    def action_give_up(self) -> None:
        words = "Give up this check? What was measured stays in the log."
        self.app.push_screen(ConfirmScreen(words, self.host.last_key), self._given_up)

    def _given_up(self, sure: bool | None) -> None:
        if sure:
            self.requests.send(Abandon())

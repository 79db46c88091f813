"""The detail of the chosen row of a list: beside the list where the screen is wide."""

from __future__ import annotations

import msgspec
from textual.app import ComposeResult
from textual.containers import Vertical

from bench.console.drawings.styled_text import Block
from bench.console.widgets.drawing import PICTURE_COLUMNS, DrawFunction, Drawing
from bench.console.widgets.viewer import Sentences, SentenceSource, TextPanel, Viewer


class Detail(msgspec.Struct, frozen=True):
    """The detail of a row, in sentences and as a picture."""

    sentences: SentenceSource = lambda v: ()
    draw: DrawFunction = lambda v, wide, high: []


class DetailPane(Vertical):
    """A picture that belongs to the whole list stands below it on a small screen."""

    detail = Detail()

    def compose(self) -> ComposeResult:
        yield TextPanel(self._sentences, "number")
        yield Drawing(self._draw, widest=PICTURE_COLUMNS)

    def _sentences(self, v: Viewer) -> Sentences:
        return self.detail.sentences(v)

    def _draw(self, v: Viewer, wide: int, high: int) -> Block:
        return self.detail.draw(v, wide, high)

    def show_detail(self, detail: Detail) -> None:
        self.detail = detail
        for viewer in self.query(Viewer):
            viewer.show_view()

"""The detail of the chosen row of a list: beside the list where the screen is wide."""

from __future__ import annotations

import msgspec
from textual.app import ComposeResult
from textual.containers import Vertical

from bench.console.drawings.styled_text import Block
from bench.console.widgets.drawing import PICTURE_COLUMNS, Draw, Drawing
from bench.console.widgets.viewer import Says, Sentences, TextPanel, Viewer


def nothing(v: Viewer) -> Sentences:
    return ()


def no_picture(v: Viewer, wide: int, high: int) -> Block:
    return []


class Detail(msgspec.Struct, frozen=True):
    """The detail of a row, in sentences and as a picture."""

    says: Says = nothing
    draws: Draw = no_picture


class DetailPane(Vertical):
    """A picture that belongs to the whole list stands below it on a small screen."""

    detail = Detail()

    def compose(self) -> ComposeResult:
        yield TextPanel(self._says, "number")
        yield Drawing(self._draws, widest=PICTURE_COLUMNS)

    def _says(self, v: Viewer) -> Sentences:
        return self.detail.says(v)

    def _draws(self, v: Viewer, wide: int, high: int) -> Block:
        return self.detail.draws(v, wide, high)

    def show_detail(self, detail: Detail) -> None:
        self.detail = detail
        for viewer in self.query(Viewer):
            viewer.show_view()

"""Pages that are only read, and left again."""

from __future__ import annotations

from collections.abc import Iterable
from functools import partial
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget

from bench.console.contents import figure, pages, result
from bench.console.drawings.result import has_picture
from bench.console.screens.base import Page
from bench.console.view_model import DocumentName
from bench.console.widgets.act_bar import Act
from bench.console.widgets.drawing import PICTURE_COLUMNS, Drawing
from bench.console.widgets.viewer import ReadOn, TextPanel
from bench.protocol import Finding

MOST_CHARTS = 6  # on one page


class DocumentPage(Page):
    """document: what is asked of the log when the page comes up."""

    document: ClassVar[DocumentName | None] = None
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("plus,pagedown,down", "read_on", "read on", key_display="+"),
    ]

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        if self.document is not None:
            self.requests.look_up(self.document)

    def body(self) -> Iterable[Widget]:
        yield ReadOn(*self.content(), id="page")

    def content(self) -> Iterable[Widget]:
        return ()

    def acts(self) -> list[Act]:
        return [Act("Enter", "back", "leave")]


class LimitsScreen(DocumentPage):
    """The budget of the result, ranked."""

    page = "limits"

    def content(self) -> Iterable[Widget]:
        bars = result.budget_bars
        yield Drawing(bars, widest=PICTURE_COLUMNS, id="budget")
        yield TextPanel(result.lessens)


class CutScreen(DocumentPage):
    """The forecast of the cut, and what to put right first."""

    page = "cut"
    document = "cut"

    def content(self) -> Iterable[Widget]:
        yield TextPanel(pages.cut_words)
        yield Drawing(pages.cut_picture, widest=PICTURE_COLUMNS, id="cut-picture")


class ShopScreen(DocumentPage):
    """All sleds at once."""

    page = "shop"
    document = "shop"

    def content(self) -> Iterable[Widget]:
        yield TextPanel(pages.shop_words)


class DriftScreen(DocumentPage):
    """Last month against today: the charts of this sled."""

    page = "drift"
    document = "drift"

    def on_screen_resume(self) -> None:
        self._charted: object = None
        super().on_screen_resume()

    def state_changed(self) -> None:
        document = self.view.drift
        if document is None or document is self._charted:
            return
        self._charted = document
        page = self.query_one("#page", ReadOn)
        page.remove_children()
        for series in document["series"][:MOST_CHARTS]:
            page.mount(
                TextPanel(partial(pages.drift_words, series=series)),
                Drawing(partial(pages.drift_chart, series=series), classes="-chart"),
            )
        if not document["series"]:
            page.mount(TextPanel(partial(pages.drift_words, series=None)))


class PastResultScreen(DocumentPage):
    """One earlier result."""

    page = "past"

    def __init__(self, finding: Finding) -> None:
        super().__init__()
        self._finding = finding

    def content(self) -> Iterable[Widget]:
        def drawing(draw, id: str) -> Drawing:  # type: ignore[no-untyped-def]
            shown = partial(draw, finding=self._finding)
            return Drawing(shown, widest=PICTURE_COLUMNS, id=id)

        yield drawing(figure.result_figure, "figure")
        yield drawing(result.past_verdict, "state")
        sentences = partial(result.past_words, finding=self._finding, beside=True)
        yield TextPanel(sentences)
        if has_picture(self._finding):
            yield drawing(result.result_picture, "picture")
        else:
            yield drawing(result.interval, "interval")
        yield TextPanel(partial(result.further_words, finding=self._finding))


class NotesScreen(DocumentPage):
    """The daemon's notes of its start, and the notices since."""

    page = "notes"

    def content(self) -> Iterable[Widget]:
        yield TextPanel(pages.notes)

"""Last month against today: the charts of this sled."""

from __future__ import annotations

from collections.abc import Iterable

from textual.containers import VerticalScroll
from textual.widget import Widget

from bench.console.screens.reading import ReadingScreen
from bench.console.widgets.drift_chart import DriftChart, DriftWords

MOST = 6  # charts on one page


class DriftScreen(ReadingScreen):
    page = "drift"

    def content(self) -> Iterable[Widget]:
        return ()

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self._charted: object = None
        self.requests.ask_drift()

    def view_changed(self, changed: frozenset[str]) -> None:
        document = self.view.drift
        if document is None or document is self._charted:
            return
        self._charted = document
        page = self.query_one("#page", VerticalScroll)
        page.remove_children()
        for series in document["series"][:MOST]:
            page.mount(DriftWords(series), DriftChart(series))
        if not document["series"]:
            page.mount(DriftWords(None))

"""One earlier result."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget

from bench.console.screens.reading import ReadingScreen
from bench.console.widgets.interval import Interval
from bench.console.widgets.result_figure import PastFigure
from bench.console.widgets.result_picture import ResultPicture
from bench.console.widgets.result_words import FurtherWords, PastWords
from bench.protocol import Finding


class PastResultScreen(ReadingScreen):
    page = "past"

    def __init__(self, finding: Finding) -> None:
        super().__init__()
        self._finding = finding

    def content(self) -> Iterable[Widget]:
        finding = self._finding
        yield PastFigure(finding)
        yield PastWords(finding)
        yield Interval(finding)
        yield ResultPicture(finding)
        yield FurtherWords(finding)

"""What limits the result, ranked."""

from __future__ import annotations

from collections.abc import Iterable

from textual.widget import Widget

from bench.console.screens.reading import ReadingScreen
from bench.console.widgets.budget_bars import BudgetBars


class LimitsScreen(ReadingScreen):
    page = "limits"

    def content(self) -> Iterable[Widget]:
        yield BudgetBars()

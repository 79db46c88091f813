"""The live numbers in one row, while the large figure is another."""

from __future__ import annotations

from bench.console import readout
from bench.console.text import Block, Line
from bench.console.widgets.drawing import Drawing
from bench.console.widgets.large_figure import travel_lines
from bench.console.widgets.state_line import as_fits


class ReadoutRow(Drawing):
    watches = frozenset({"number", "health", "ask"})

    def draw(self, wide: int, high: int) -> Block:
        view, shown = self.view, self.view.shown
        if shown is None or not view.here or not shown.live:
            return []
        text, unit = readout.number(shown, view.units)
        age = view.clock() - shown.at if shown.at is not None else 0.0
        way = shown.way() if shown.fresh(view.clock()) else readout.age(age)
        line: Line = [
            (f" now {text} {unit} {shown.name}", "text"),
            (f", {way}", "faint"),
        ]
        parts = [(f", {text}", role) for ((text, role),) in travel_lines(view)]
        return [as_fits(line, parts, wide)]

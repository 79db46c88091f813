"""The running pass over those that were kept."""

from __future__ import annotations

from bench.console.plot import plot
from bench.console.text import Block
from bench.console.widgets.drawing import Drawing


class PassPlot(Drawing):
    watches = frozenset({"line", "ask"})

    def draw(self, wide: int, high: int) -> Block:
        view = self.view
        if view.ask is not None and view.ask.phase == "place" and view.line is None:
            return []  # another set-up: the passes before say nothing of it
        passes = view.placed_passes()
        return plot(view.line, passes, wide, high, self.glyphs, view.units)

"""The cut that is to be expected, drawn: the edge, and its causes as signed bars."""

from __future__ import annotations

from bench.console.cut_drawing import draw_bars, draw_edge
from bench.console.text import Block
from bench.console.widgets.drawing import Drawing

WIDEST = 90
EDGE_HIGH = 9  # rows


class CutPicture(Drawing):
    watches = frozenset({"cut", "gear"})

    def draw(self, wide: int, high: int) -> Block:
        document = self.view.cut
        if document is None or "rows" not in document:
            return []
        wide = min(wide, WIDEST)
        bars = draw_bars(document, wide, self.glyphs)
        room = min(EDGE_HIGH, high - len(bars) - 1)
        return [*bars, [], *draw_edge(document, wide, room, self.glyphs)]

"""The picture of a result, to scale, drawn from what it carries."""

from __future__ import annotations

from bench.console.result_drawing import draw_result
from bench.console.text import Block
from bench.console.widgets.drawing import Drawing
from bench.protocol import Finding

WIDEST = 90


class ResultPicture(Drawing):
    watches = frozenset({"result", "past", "gear"})

    def __init__(self, finding: Finding | None = None) -> None:
        super().__init__()
        self._finding = finding

    def draw(self, wide: int, high: int) -> Block:
        view = self.view
        finding = self._finding or (view.finding if view.here else None)
        if finding is None or not finding.quantities:
            return []
        jig, board = view.jig_gear(finding.jig), view.board(finding)
        wide = min(wide, WIDEST)
        return draw_result(finding, jig, board, wide, high, self.glyphs, view.units)

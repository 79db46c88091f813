"""The results before this one, a row each, where the screen is wide."""

from __future__ import annotations

from bench.console.readout import verdict_sign
from bench.console.text import Block, Line, fit
from bench.console.widgets.drawing import Drawing
from bench.render import result
from bench.units import length_words


class PastRows(Drawing):
    watches = frozenset({"past", "gear", "result"})

    def draw(self, wide: int, high: int) -> Block:
        view = self.view
        head: Line = [("Results before", "strong")]
        board = view.widest_board()
        if board is not None:
            across = length_words(board, view.units)
            head.append((f"  (sled fence across {across})", "faint"))
        out: Block = [head]
        for finding in view.past_findings[: high - 1]:
            sign = verdict_sign(finding.verdict, self.glyphs)
            text = result.row(finding, view.units, view.board(finding), sign)
            out.append(fit([(text, "text")], wide))
        return out

"""What limits the result, ranked: part, share as a bar and in per cent, size."""

from __future__ import annotations

from bench.console.text import Block, fit
from bench.console.widgets.drawing import Drawing
from bench.render import result
from bench.render.names import part_name

WIDEST = 90


class BudgetBars(Drawing):
    watches = frozenset({"result", "past", "gear"})

    def draw(self, wide: int, high: int) -> Block:
        finding = self.view.finding
        if finding is None or not finding.budget:
            return []
        wide = min(wide, WIDEST)
        unit = finding.quantities[0].unit if finding.quantities else "mm"
        board, units = self.view.board(finding), self.view.units
        out: Block = [[("What limits the result", "strong")]]
        longest = max(len(part_name(r.part)) for r in finding.budget)
        names = min(longest, max(12, wide - 26))
        bar_room = max(0, min(24, wide - names - 20))
        for row in sorted(finding.budget, key=lambda r: -r.share)[: high - 2]:
            name = part_name(row.part)[:names]
            much = result.part_size(row.standard_uncertainty, unit, units, board)
            bar = self.glyphs.lower * round(row.share * bar_room)
            share = (f"{name:<{names}} {row.share:4.0%} ", "text")
            line = [share, (f"{bar:<{bar_room}} ", "trace"), (much, "faint")]
            out.append(fit(line, wide))  # type: ignore[arg-type]
        if unit == "rad":
            over = result.told_over_words(board, units)
            out.append(fit([(f"Each one standard uncertainty {over}.", "faint")], wide))
        return out

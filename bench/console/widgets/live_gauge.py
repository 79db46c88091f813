"""How much of the live move is made: a bar up to the aim, with room for too far."""

from __future__ import annotations

from bench.console.text import Block, Line, Role, width
from bench.console.widgets.drawing import Drawing

WIDEST = 100


class LiveGauge(Drawing):
    watches = frozenset({"live"})

    def draw(self, wide: int, high: int) -> Block:
        live, g = self.view.live, self.glyphs
        if live is None or live.target is None or live.to_go is None:
            return []
        cells = max(12, min(wide, WIDEST)) - 4
        aim = cells * 3 // 4
        share = abs(live.to_go) / abs(live.target) if live.target else 0.0
        made = 1.0 + share if live.past else 1.0 - share
        done = max(0, min(cells, round(made * aim)))
        role: Role = "bad" if live.past or live.wrong else "good"
        row: Line = [("  ", "text"), (g.full * done, role)]
        row.append((g.dash * (cells - done), "rule"))
        band = self._band(live.tolerance, live.target, aim)
        mark: Line = [("  " + " " * max(0, aim - band), "text")]
        mark.append((f"[{'=' * (2 * band - 1)}]" if band else g.up_mark, "good"))
        words = " there" if live.there else " good enough" if band else " the aim"
        mark.append((words, "strong" if live.there else "faint"))
        return [row, mark] if width(mark) <= wide else [row]

    def _band(self, tolerance: float | None, target: float, aim: int) -> int:
        """Cells from the aim to the end of the band that is good enough."""
        if tolerance is None or not target:
            return 0
        return min(aim // 2, round(tolerance / abs(target) * aim))

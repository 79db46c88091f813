"""How much of the live move is made: a bar up to the aim, with room for too far."""

from __future__ import annotations

from bench.console.text import Block, Line, Role
from bench.console.widgets.drawing import Drawing
from bench.protocol import LiveMoveNotice

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
        return [row, self._below(live, aim, cells)]

    def _below(self, live: LiveMoveNotice, aim: int, cells: int) -> Line:
        """Below the bar: the band that is good enough, or the aim alone."""
        words = "there" if live.there else "good enough"
        role: Role = "strong" if live.there else "good"
        share = (live.tolerance or 0.0) / abs(live.target or 1.0)
        band = min(aim, round(share * aim))
        first, last = aim - band, min(cells - 1, aim + band)
        if last - first < len(words) + 3:
            return [
                ("  " + " " * aim + self.glyphs.up_mark, "strong"),
                (f" {words}", role),
            ]
        inside = f" {words} ".center(last - first - 1, "=")
        return [("  " + " " * first, "text"), (f"[{inside}]", role)]

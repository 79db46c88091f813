"""The result on a line: its value, its give or take, and where good enough ends."""

from __future__ import annotations

from bench.console.plot import scale
from bench.console.text import Block
from bench.console.widgets.drawing import Drawing
from bench.protocol import Finding
from bench.render import result

WIDEST = 64


class Interval(Drawing):
    watches = frozenset({"result", "past", "gear"})

    def __init__(self, finding: Finding | None = None) -> None:
        super().__init__()
        self._finding = finding

    def draw(self, wide: int, high: int) -> Block:
        finding = self._finding or self.view.finding
        if finding is None or not finding.quantities:
            return []
        q, g, wide = result.judged(finding), self.glyphs, min(wide, WIDEST)
        if wide < 24 or not q.uncertainty:
            return []
        opening = result.opening(finding)
        if opening is not None:  # good is to open a little, not to close
            ends = ("closes", "opens")
            return scale(
                opening, q.uncertainty, q.tolerance, wide, g, ends, one_sided=True
            )
        way = (q.way or "").partition(",")[0]
        other = result.opposite(way)
        if other == way:  # a size: there is no other way
            ends, size = ("none", "much"), abs(q.value)
            return scale(size, q.uncertainty, q.tolerance, wide, g, ends, least=0.0)
        ends = (other, way) if q.value > 0 else (way, other)
        return scale(q.value, q.uncertainty, q.tolerance, wide, g, ends)

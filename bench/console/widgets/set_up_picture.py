"""The set-up that is asked for, seen from above."""

from __future__ import annotations

from bench.console.set_up_drawing import draw_set_up
from bench.console.text import Block
from bench.console.widgets.drawing import Drawing


class SetUpPicture(Drawing):
    watches = frozenset({"ask", "gear"})

    def draw(self, wide: int, high: int) -> Block:
        ask = self.view.ask
        if ask is None:
            return []
        jig, units = self.view.jig_gear(), self.view.units
        return draw_set_up(ask, jig, wide, high, self.glyphs, units)

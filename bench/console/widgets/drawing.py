"""A widget of coloured text rows, of which only the cells that differ are redrawn."""

from __future__ import annotations

from collections.abc import Callable
from itertools import zip_longest
from typing import Any

from rich.cells import cell_len
from rich.segment import Segment
from textual.geometry import Region
from textual.strip import Strip

from bench.console.drawings.styled_text import Block, Line
from bench.console.themes import role_styles
from bench.console.view_model import Change
from bench.console.widgets.viewer import Viewer

DrawFunction = Callable[[Viewer, int, int], Block]
PICTURE_COLUMNS = 160  # columns of a picture: a wider one says no more


class Drawing(Viewer):
    """`draw` gives at most so many rows of at most so many columns (width, height)."""

    def __init__(
        self,
        draw: DrawFunction,
        quick: Change | None = None,
        *,
        widest: int | None = None,
        **more: Any,
    ) -> None:
        super().__init__(quick, **more)
        self._draw, self._widest = draw, widest
        self._lines: Block = []
        self._strips: dict[int, Strip] = {}
        self._drawn_theme = ""  # the theme in which the strips are drawn

    def show_view(self) -> None:
        wide, high = self.size
        if wide and high:
            room = min(wide, self._widest or wide)
            self._show(self._draw(self, room, high)[:high], high)

    def on_resize(self) -> None:
        self._strips.clear()
        self.show_view()

    def _show(self, block: Block, high: int) -> None:
        lines = [*block, *([] for _ in range(high - len(block)))]
        nothing: Line = []
        regions: list[Region] = []
        pairs = zip_longest(self._lines, lines, fillvalue=nothing)
        for y, (old, new) in enumerate(pairs):
            first, last = _differ(old, new)
            if first < last:
                self._strips.pop(y, None)
                regions.append(Region(first, y, last - first, 1))
        self._lines = lines
        if regions:
            self.refresh(*regions)

    def render_line(self, y: int) -> Strip:
        wide, theme = self.size.width, self.app.theme
        if theme != self._drawn_theme:
            self._drawn_theme = theme
            self._strips.clear()
        strip = self._strips.get(y)
        if strip is None or strip.cell_length != wide:
            line = self._lines[y] if y < len(self._lines) else []
            styles = role_styles(theme)
            segments = [Segment(text, styles[role]) for text, role in line]
            strip = Strip(segments).adjust_cell_length(wide, styles["text"])
            self._strips[y] = strip
        return strip


def _differ(old: Line, new: Line) -> tuple[int, int]:
    """Columns from the first to behind the last cell that is not the same; wide signs
    make it the whole row."""
    if old == new:
        return 0, 0
    a = [(c, role) for text, role in old for c in text]
    b = [(c, role) for text, role in new for c in text]
    if any(not c.isascii() and cell_len(c) != 1 for c, _ in (*a, *b)):
        return 0, max(len(a), len(b)) * 2
    differ = [n for n, (p, q) in enumerate(zip_longest(a, b)) if p != q]
    return (differ[0], differ[-1] + 1) if differ else (0, 0)

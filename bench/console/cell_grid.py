"""The widget of the screen, which redraws only the cells that differ."""

from __future__ import annotations

from itertools import zip_longest

from rich.segment import Segment
from rich.style import Style
from textual.geometry import Region
from textual.strip import Strip
from textual.widget import Widget

from bench.console.text import Block, Line, Role, cells, plain


class CellGrid(Widget, can_focus=True):
    DEFAULT_CSS = "CellGrid { width: 100%; height: 100%; }"

    def __init__(self, styles: dict[Role, Style]) -> None:
        super().__init__()
        self._styles = styles
        self._lines: Block = []
        self._strips: dict[int, Strip] = {}

    def restyle(self, styles: dict[Role, Style]) -> None:
        self._styles = styles
        self._strips.clear()
        self.refresh()

    def show(self, lines: Block, top: int = 0) -> int:
        """Put lines from row `top` on; returns how many cells are drawn anew."""
        while len(self._lines) < top + len(lines):
            self._lines.append([])
        drawn = 0
        regions: list[Region] = []
        for offset, line in enumerate(lines):
            y = top + offset
            old = self._lines[y]
            if old == line:
                continue
            first, last = _differ(old, line)
            if first >= last:
                continue
            self._lines[y] = line
            self._strips.pop(y, None)
            regions.append(Region(first, y, last - first, 1))
            drawn += last - first
        if regions:
            self.refresh(*_joined(regions))
        return drawn

    def text(self) -> list[str]:
        """What stands on the screen, row by row."""
        return [plain(line) for line in self._lines]

    def render_line(self, y: int) -> Strip:
        wide = self.size.width
        strip = self._strips.get(y)
        # The lines of a new size may come before or after the widget has that size.
        if strip is None or strip.cell_length != wide:
            line = self._lines[y] if y < len(self._lines) else []
            segments = [Segment(text, self._styles[role]) for text, role in line]
            strip = Strip(segments).adjust_cell_length(wide, self._styles["text"])
            self._strips[y] = strip
        return strip


def _differ(old: Line, new: Line) -> tuple[int, int]:
    """Columns from the first to behind the last cell that is not the same; wide signs
    make it the whole row."""
    a = [(c, role) for text, role in old for c in text]
    b = [(c, role) for text, role in new for c in text]
    if any(not c.isascii() and cells(c) != 1 for c, _ in (*a, *b)):
        return 0, max(len(a), len(b)) * 2
    first = next((n for n, (p, q) in enumerate(zip_longest(a, b)) if p != q), None)
    if first is None:
        return 0, 0
    longest = max(len(a), len(b))
    if len(a) != len(b):
        return first, longest
    last = next(n for n in range(longest - 1, -1, -1) if a[n] != b[n])
    return first, last + 1


def _joined(regions: list[Region]) -> list[Region]:
    """Neighbouring rows as one region where that costs little: fewer, larger pieces are
    cheaper to send."""
    out: list[Region] = []
    for region in regions:
        before = out[-1] if out else None
        if before is not None and before.bottom == region.y:
            both = before.union(region)
            if both.area <= before.area + region.area + 16:
                out[-1] = both
                continue
        out.append(region)
    return out

"""A widget of coloured text rows, of which only the cells that differ are redrawn."""

from __future__ import annotations

from itertools import zip_longest

from rich.segment import Segment
from textual.geometry import Region
from textual.strip import Strip

from bench.console.text import Block, Line, cells, plain
from bench.console.themes import role_styles
from bench.console.widgets.viewer import Viewer


class Drawing(Viewer):
    """A subclass says what is drawn; the theme says how each role looks."""

    def __init__(self, *, id: str | None = None, classes: str | None = None) -> None:
        super().__init__(id=id, classes=classes)
        self._lines: Block = []
        self._strips: dict[int, Strip] = {}
        self._look = ""  # the theme in which the strips are drawn

    def draw(self, wide: int, high: int) -> Block:
        """At most `high` rows of at most `wide` columns."""
        raise NotImplementedError

    def show_view(self) -> None:
        wide, high = self.size
        if wide and high:
            self._show(self.draw(wide, high)[:high], high)

    def on_resize(self) -> None:
        self._strips.clear()
        self.show_view()

    def text(self) -> list[str]:
        """What stands in it, row by row."""
        return [row for line in self._lines if (row := plain(line)).strip()]

    def _show(self, block: Block, high: int) -> None:
        lines = [*block, *([] for _ in range(high - len(block)))]
        regions: list[Region] = []
        nothing: Line = []
        pairs = zip_longest(self._lines, lines, fillvalue=nothing)
        for y, (old, new) in enumerate(pairs):
            first, last = _differ(old, new)
            if first < last:
                self._strips.pop(y, None)
                regions.append(Region(first, y, last - first, 1))
        self._lines = lines
        if regions:
            self.refresh(*_joined(regions))

    def render_line(self, y: int) -> Strip:
        wide, look = self.size.width, self.app.theme
        if look != self._look:
            self._look = look
            self._strips.clear()
        strip = self._strips.get(y)
        if strip is None or strip.cell_length != wide:
            line = self._lines[y] if y < len(self._lines) else []
            styles = role_styles(look)
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

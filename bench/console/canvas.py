"""A field of characters on which set-ups are drawn."""

from __future__ import annotations

from collections.abc import Sequence

from bench.console.glyphs import GlyphSet
from bench.console.text import Block, Line, Role

# column, row, text, role, and which end of the text stands at the column
Label = tuple[int, int, str, Role, str]


class Canvas:
    """Columns from the left, rows from the top; what falls outside is left out."""

    def __init__(self, wide: int, high: int, glyphs: GlyphSet) -> None:
        self.wide, self.high, self.glyphs = wide, high, glyphs
        self._cells: list[list[tuple[str, Role]]] = [
            [(" ", "text")] * wide for _ in range(high)
        ]

    def words(self, x: int, y: int, text: str, role: Role) -> None:
        if not 0 <= y < self.high:
            return
        for offset, char in enumerate(text):
            if 0 <= x + offset < self.wide:
                self._cells[y][x + offset] = (char, role)

    def label(self, x: int, y: int, text: str, role: Role, *, at: str = "left") -> None:
        """Words that begin (`left`), end (`right`) or stand with their middle at column
        `x`. Where they would hang over the edge they move in; where they do not fit, or
        would stand on what is there, they are left out whole."""
        first = {"left": x, "middle": x - len(text) // 2, "right": x - len(text) + 1}[
            at
        ]
        first = max(0, min(first, self.wide - len(text)))
        room = range(max(0, first - 1), min(self.wide, first + len(text) + 1))
        if len(text) > self.wide or not 0 <= y < self.high:
            return
        if all(self._cells[y][cell][0] == " " for cell in room):
            self.words(first, y, text, role)

    def fill(self, x: int, y: int, wide: int, role: Role) -> None:
        """Solid metal, one row high."""
        self.words(x, y, self.glyphs.full * wide, role)

    def bar(self, x: int, y: int, wide: int, role: Role) -> None:
        """Wood, one row high."""
        self.words(x, y, self.glyphs.wood * wide, role)

    def frame(self, x: int, y: int, wide: int, high: int, role: Role) -> None:
        g = self.glyphs
        self.words(x, y, g.corner[0] + g.across * (wide - 2) + g.corner[1], role)
        for row in range(y + 1, y + high - 1):
            self.words(x, row, g.down, role)
            self.words(x + wide - 1, row, g.down, role)
        self.words(
            x, y + high - 1, g.corner[2] + g.across * (wide - 2) + g.corner[3], role
        )

    def put(self, y: int, line: Line) -> None:
        """A row that was drawn elsewhere."""
        x = 0
        for text, role in line:
            self.words(x, y, text, role)
            x += len(text)

    def block(self) -> Block:
        out: Block = []
        for cells in self._cells:
            line: Line = []
            for char, role in cells:
                if line and line[-1][1] == role:
                    line[-1] = (line[-1][0] + char, role)
                else:
                    line.append((char, role))
            out.append(line)
        return out


def overlaid(
    block: Block,
    wide: int,
    glyphs: GlyphSet,
    labels: Sequence[Label],
) -> Block:
    """The rows, with labels where there is room for them."""
    canvas = Canvas(wide, len(block), glyphs)
    for y, line in enumerate(block):
        canvas.put(y, line)
    for x, y, text, role, at in labels:
        canvas.label(x, y, text, role, at=at)
    return canvas.block()

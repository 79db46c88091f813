"""A field of characters on which set-ups are drawn."""

from __future__ import annotations

from bench.console.glyphs import GlyphSet
from bench.console.text import Block, Line, Role


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

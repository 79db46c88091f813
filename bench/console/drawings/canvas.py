"""A field of characters and of finer dots on which everything is drawn."""

from __future__ import annotations

from itertools import groupby

from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.styled_text import Block, Role

# dots of a cell, by column and row: braille, or the two halves of a block
_BRAILLE = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))
DASH = 2  # columns of a dashed line that are drawn and left out in turn


class Canvas:
    """Columns from the left, rows from the top; what falls outside is left out.

    Dots are placed by shares from 0 to 1, from the lower left of the upper `field`
    rows; a cell has the role of its last dot.
    """

    def __init__(
        self, wide: int, high: int, glyphs: GlyphSet, field: int | None = None
    ) -> None:
        self.wide, self.high, self.glyphs = wide, high, glyphs
        self.field = high if field is None else field
        self.per_x, self.per_y = (2, 4) if glyphs.braille else (1, 2)
        self._dots: dict[tuple[int, int], int] = {}
        self._cells: list[list[tuple[str, Role]]] = [
            [(" ", "text")] * wide for _ in range(high)
        ]

    def words(self, x: int, y: int, text: str, role: Role) -> None:
        if not 0 <= y < self.high:
            return
        for offset, char in enumerate(text):
            if 0 <= x + offset < self.wide:
                self._cells[y][x + offset] = (char, role)

    def label(self, x: int, y: int, text: str, role: Role, at: str = "left") -> bool:
        """Words that begin (`left`), end (`right`) or stand with their middle at column
        `x`. Where they would hang over the edge they move in; where they do not fit, or
        would stand on what is there, they are left out whole, and it is False."""
        back = {"left": 0, "middle": len(text) // 2, "right": len(text) - 1}[at]
        first = max(0, min(x - back, self.wide - len(text)))
        free = len(text) <= self.wide and self.is_free(first, y, len(text))
        if free:
            self.words(first, y, text, role)
        return free

    def is_free(self, x: int, y: int, wide: int) -> bool:
        """Whether nothing stands in `wide` columns from `x`, nor beside them."""
        room = slice(max(0, x - 1), x + wide + 1)
        return 0 <= y < self.high and all(c == " " for c, _ in self._cells[y][room])

    def label_where_free(
        self, text: str, role: Role, *places: tuple[int, int, str]
    ) -> bool:
        """The label at the first of the places (column, row, which end stands there)
        that has room for it; False: at none."""
        return any(self.label(x, y, text, role, at) for x, y, at in places)

    def foot(self, left: str, middle: str, right: str, y: int | None = None) -> None:
        """A row of words below the field: its two ends, and what lies between."""
        row = self.high - 1 if y is None else y
        self.label(0, row, left, "faint")
        self.label(self.wide - 1, row, right, "faint", "right")
        self.label(self.wide // 2, row, middle, "faint", "middle")

    def body(self, x: int, y: int, wide: int, high: int, role: Role) -> None:
        """Wood where the role is that, else solid."""
        sign = self.glyphs.wood if role == "wood" else self.glyphs.full
        for row in range(y, y + high):
            self.words(x, row, sign * wide, role)

    def upright(self, x: int, first: int, last: int, role: Role) -> None:
        """A line down column `x`, from row `first` to row `last`."""
        for row in range(first, last + 1):
            self.words(x, row, self.glyphs.down, role)

    def arrow(self, x: int, y: int, long: int, left: bool, role: Role) -> None:
        """An arrow to the left or to the right, its head at column `x`."""
        g, line = self.glyphs, self.glyphs.across * (long - 1)
        first = x if left else x - long + 1
        self.words(first, y, g.left_mark + line if left else line + g.right_mark, role)

    def frame(self, x: int, y: int, wide: int, high: int, role: Role) -> None:
        g, last = self.glyphs, y + high - 1
        across = g.across * (wide - 2)
        self.words(x, y, g.corner[0] + across + g.corner[1], role)
        self.words(x, last, g.corner[2] + across + g.corner[3], role)
        for column in (x, x + wide - 1):
            self.upright(column, y + 1, last - 1, role)

    # ---- dots ------------------------------------------------------------------------

    def dot(self, x: float, y: float, role: Role) -> None:
        px, py = (
            _place(x, self.wide * self.per_x),
            _place(1 - y, self.field * self.per_y),
        )
        cell = px // self.per_x, py // self.per_y
        bit = _BRAILLE[px % 2][py % 4] if self.glyphs.braille else 1 + py % 2
        self._dots[cell] = bits = self._dots.get(cell, 0) | bit
        g = self.glyphs
        sign = chr(0x2800 + bits) if g.braille else (g.upper, g.lower, g.full)[bits - 1]
        self._cells[cell[1]][cell[0]] = (sign, role)

    def sign(self, x: float, y: float, sign: str, role: Role) -> None:
        """One character at a place in the field."""
        column = min(self.wide - 1, max(0, int(x * self.wide)))
        row = min(self.field - 1, max(0, int((1.0 - y) * self.field)))
        self._cells[row][column] = (sign, role)

    def line(
        self,
        start: tuple[float, float],
        end: tuple[float, float],
        role: Role,
        *,
        dashed: bool = False,
    ) -> None:
        (x0, y0), (x1, y1) = start, end
        across = abs(x1 - x0) * self.wide * self.per_x
        dots = 1 + round(max(across, abs(y1 - y0) * self.field * self.per_y))
        dash = DASH * self.per_x
        for n in range(dots + 1):
            if not dashed or n % (2 * dash) < dash:
                share = n / dots
                self.dot(x0 + (x1 - x0) * share, y0 + (y1 - y0) * share, role)

    def block(self) -> Block:
        return [
            [
                ("".join(char for char, _ in run), role)
                for role, run in groupby(row, key=lambda cell: cell[1])
            ]
            for row in self._cells
        ]


def _place(share: float, dots: int) -> int:
    return min(dots - 1, max(0, round(share * (dots - 1))))

"""Two glyph sets: for terminals with braille, and for the Pi's own screen.

The second has the signs of code page 437 only. Every state has a sign and a word; a
sign alone, or a colour alone, is never used.
"""

from __future__ import annotations

import msgspec


class GlyphSet(msgspec.Struct, frozen=True):
    name: str = "rich"
    braille: bool = True
    good: str = "√"
    bad: str = "!"
    unsure: str = "?"
    none: str = "-"
    reads: str = "•"
    across: str = "─"  # a line from left to right
    down: str = "│"
    up_mark: str = "▲"  # arrow heads
    down_mark: str = "▼"
    left_mark: str = "◄"
    right_mark: str = "►"
    corner: str = "┌┐└┘"  # upper left, upper right, lower left, lower right
    aside: str = "×"  # a reading set aside
    full: str = "█"
    upper: str = "▀"
    lower: str = "▄"
    wood: str = "░"
    dash: str = "┄"
    middle: str = "◆"  # of an interval


RICH = GlyphSet()
PLAIN = GlyphSet(
    name="plain",
    braille=False,
    reads="*",
    up_mark="^",
    down_mark="v",
    left_mark="<",
    right_mark=">",
    aside="x",
    dash="-",
    middle="■",
    wood="▒",
)

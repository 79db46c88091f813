"""Two glyph sets: for terminals with braille, and for the Pi's own screen.

The second has the signs of code page 437 only. Every state has a sign and a word; a
sign alone, or a colour alone, is never used.
"""

from __future__ import annotations

import msgspec


class GlyphSet(msgspec.Struct, frozen=True):
    name: str
    braille: bool
    good: str
    bad: str
    unsure: str
    none: str
    reads: str
    troubled: str
    across: str  # a line from left to right
    down: str
    up_mark: str  # arrow heads
    down_mark: str
    left_mark: str
    right_mark: str
    corner: str  # upper left, upper right, lower left, lower right
    aside: str  # a reading set aside
    full: str
    upper: str
    lower: str
    wood: str
    dash: str
    here: str  # the middle of an interval


RICH = GlyphSet(
    name="rich",
    braille=True,
    good="√",
    bad="!",
    unsure="?",
    none="-",
    reads="•",
    troubled="!",
    across="─",
    down="│",
    up_mark="▲",
    down_mark="▼",
    left_mark="◄",
    right_mark="►",
    corner="┌┐└┘",
    aside="×",
    full="█",
    upper="▀",
    lower="▄",
    wood="░",
    dash="┄",
    here="◆",
)

PLAIN = msgspec.structs.replace(
    RICH,
    name="plain",
    braille=False,
    reads="*",
    up_mark="^",
    down_mark="v",
    left_mark="<",
    right_mark=">",
    aside="x",
    dash="-",
    here="■",
    wood="▒",
)

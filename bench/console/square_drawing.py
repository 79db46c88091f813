"""A 45-degree square on a mitre sled, from above; a square that stands upright beside a
face, from the side."""

from __future__ import annotations

from bench.console.canvas import Canvas
from bench.protocol import Jig, Prompt

TALLEST = 80.0  # mm of height above the table that the drawing shows
BOARDS = {"fence": "sled's base", "blade": "table"}


def draw_mitre(
    c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str
) -> None:
    """The square's leg on a fence and its long edge along the travel, or its right
    angle on a batten; the indicator on the free side."""
    top, bottom = 1, c.high - 2
    right = ask.side != "left"
    edge = c.wide // 2 + (0 if right else -1)
    if "angle" in names:
        c.bar(0, bottom + 1, c.wide, "wood")
        for row in range(top, bottom + 1):
            _body(c, edge, row, 1 + 2 * (row - top), right=right)
        c.words(1, bottom + 1, " batten ", "faint")
        _pointing(c, ask, edge, top + 2)
        return
    far = jig is not None and jig.fence == "far"
    middle = (top + bottom) // 2
    for row in range(top, bottom + 1):
        deep = 1 + 2 * min(row - top, bottom - row)
        _body(c, edge, row, deep, right=right)
        if (row <= middle) if far else (row >= middle):
            wood = edge - deep - 2 if right else edge + deep
            c.bar(wood, row, 3, "wood")
    on = (ask.placement or "a")[-1].upper()
    other = "B" if on == "A" else "A"
    letter = edge + 2 if right else edge - 2
    c.words(letter, top if far else bottom, on, "strong")
    c.words(letter, bottom if far else top, other, "faint")
    which = "left" if "left" in names else "right"
    c.label(0, 0 if far else bottom + 1, f"{which} fence", "faint")
    _pointing(c, ask, edge, middle)


def _body(c: Canvas, edge: int, row: int, deep: int, *, right: bool) -> None:
    """The square in one row, from its free edge inward."""
    c.fill(edge - deep + 1 if right else edge, row, deep, "steel")


def draw_upright(
    c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str
) -> None:
    """Face, square and indicator from the side, the indicator at its height."""
    what = "fence" if "fence" in names else "blade"
    near = jig is None or jig.fence == "near"
    right = near if what == "fence" else ask.side != "left"
    bottom, arm = c.high - 3, c.wide // 2 - (0 if right else 2)
    face = 4 if right else c.wide - 6
    c.bar(0, bottom + 1, c.wide, "wood")
    c.label(1, bottom + 2, BOARDS[what], "faint")
    for row in range(1, bottom + 1):
        c.fill(face, row, 2, "wood" if what == "fence" else "steel")
        c.fill(arm, row, 2, "steel")
    label = "sled fence" if what == "fence" else "blade"
    c.label(face - 1, 0, label, "faint")
    if what == "fence":  # seen from its right end
        c.label(0, bottom - 1, "you", "strong")
    else:
        c.label(c.wide // 2, c.high - 1, "you", "strong", at="middle")
    reach = c.wide // 4
    outward = ("away" in names) == right
    c.fill(arm + 2 if outward else arm - reach, bottom, reach, "steel")
    height = min(max((ask.at or 0.0) / TALLEST, 0.0), 1.0)
    row = bottom - 1 - round(height * (bottom - 2))
    if right:
        c.words(face + 2, row, c.glyphs.left_mark, "probe")
        c.words(face + 3, row, c.glyphs.across * (arm - face - 3), "probe")
    else:
        c.words(face - 1, row, c.glyphs.right_mark, "probe")
        c.words(arm + 2, row, c.glyphs.across * (face - arm - 3), "probe")
    words = f"{at.removeprefix('at ')} up" if at else "indicator"
    side, beside = ("left", arm + 3) if right else ("right", arm - 2)
    c.label(beside, row, words, "probe", at=side)


def _pointing(c: Canvas, ask: Prompt, edge: int, row: int) -> None:
    label = "indicator"
    if ask.side == "left":
        text = label + c.glyphs.across * 2 + c.glyphs.right_mark
        c.words(max(0, edge - len(text)), row, text, "probe")
        return
    c.words(edge + 1, row, c.glyphs.left_mark + c.glyphs.across * 2 + label, "probe")

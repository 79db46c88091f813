"""Squares: on the sled fence and on a mitre sled, from above; upright beside a face,
from the side."""

from __future__ import annotations

from bench.console.drawings.set_up_parts import (
    SetUp,
    draw_blade,
    draw_indicator,
    draw_pushed,
)

TALLEST = 80.0  # mm of height above the table that the drawing shows


def draw_square(s: SetUp) -> None:
    """The square on the sled fence, the indicator against its arm."""
    c, far, handle_left = s.c, s.far, "right" not in s.names
    fence, tip, step = (1, c.high - 2, 1) if far else (c.high - 2, 1, -1)
    across, thick = 3 if c.wide < 60 else 6, 2 if c.high > 8 else 1
    # room for the indicator on the other side
    arm = c.wide // 2 - (1 + across if handle_left else -1)
    c.body(0, fence, c.wide, 1, "wood")
    c.upright(
        3 if handle_left else c.wide - 4, min(tip, fence), max(tip, fence), "steel"
    )
    c.body(arm, min(fence + step, tip), across, abs(tip - fence), "steel")
    handle = max(9, c.wide // 4)
    left = arm - handle if handle_left else arm + across
    c.body(left, min(fence + step, fence + thick * step), handle, thick, "steel")
    inner = fence + (thick + 1) * step
    draw_indicator(s, arm + across - 1 if s.right else arm, (inner + tip) // 2)
    draw_pushed(s, not s.right, 2 if far else 1)
    c.label(left + handle // 2, inner, "handle", "faint", at="middle")
    edge, side = (1, "left") if handle_left else (c.wide - 2, "right")
    inward = 1 if handle_left else -1
    c.label(edge + 4 * inward, tip, "blade", "faint", at=side)
    beside, end = (arm - 2, "right") if s.right else (arm + across + 1, "left")
    c.label(beside, tip - step, "arm", "faint", at=end)
    _pivot(s, fence, step)
    free, end = (c.wide - 2, "right") if handle_left else (1, "left")
    c.label(free, fence + step, "sled fence", "faint", at=end)


def _pivot(s: SetUp, fence: int, step: int) -> None:
    if s.jig is not None:
        side = s.jig.pivot
        column = s.c.wide - 2 if side == "right" else 1
        s.c.words(column, fence, "O", "strong")
        s.c.label(column, fence - step, "pivot", "faint", at=side)


def draw_mitre(s: SetUp) -> None:
    """The square's leg on a fence and its long edge along the travel, or its right
    angle on a batten; the indicator on the free side."""
    c, bottom, right, angle = s.c, s.c.high - 2, s.right, "angle" in s.names
    edge, middle = c.wide // 2 - (not right), (1 + bottom) // 2
    for row in range(1, bottom + (not angle)):
        wide = 2 * row - 1 if angle else 1 + 2 * min(row - 1, bottom - row)
        c.body(edge - wide + 1 if right else edge, row, wide, 1, "steel")
        if not angle and ((row <= middle) if s.far else (row >= middle)):
            c.body(edge - wide - 2 if right else edge + wide, row, 3, 1, "wood")
    if angle:
        c.body(0, bottom, c.wide, 1, "wood")
        c.label(
            c.wide - 1 if right else 0,
            bottom + 1,
            "batten",
            "faint",
            at="right" if right else "left",
        )
    else:
        _corners(s, edge, (1, bottom) if s.far else (bottom, 1))
    draw_blade(s, 1 if right else c.wide - 3, 1, bottom)
    draw_indicator(s, edge, 3 if angle else middle, reach=3)
    draw_pushed(s, right)


def _corners(s: SetUp, edge: int, ends: tuple[int, int]) -> None:
    """The letters of the sharp corners and the fence's name; ends: the rows of the
    fence's outer and its inner end."""
    outer = (s.prompt.placement or "a")[-1].upper()
    free, side, inward = (2, "right", -1) if s.right else (-2, "left", 1)
    for row, letter in zip(ends, (outer, "B" if outer == "A" else "A"), strict=True):
        s.c.words(edge + free, row, letter, "strong")
    which = "left" if "left" in s.names else "right"
    s.c.label(edge + 5 * inward, ends[0], f"{which} fence", "faint", at=side)


def draw_upright(s: SetUp) -> None:
    """Face, square and indicator from the side, the indicator at its height."""
    c, fence = s.c, "fence" in s.names
    right = not s.far if fence else s.right
    face, arm = (4, c.wide // 2) if right else (c.wide - 6, c.wide // 2 - 2)
    bottom, reach = c.high - 3, c.wide // 4
    c.body(face, 1, 2, bottom, "wood" if fence else "steel")
    c.body(arm, 1, 2, bottom, "steel")
    outward = ("away" in s.names) == right
    c.body(arm + 2 if outward else arm - reach, bottom, reach, 1, "steel")
    c.body(0, bottom + 1, c.wide, 1, "wood")
    c.label(face - 1, 0, "sled fence" if fence else "blade", "faint")
    base, view = ("sled's base", "seen from its right end") if fence else ("table", "")
    c.foot(base, "", view)
    at = (0, bottom - 1, "left") if fence else (c.wide // 2, c.high - 1, "middle")
    c.label(at[0], at[1], "you", "strong", at=at[2])
    height = min(max((s.prompt.at or 0.0) / TALLEST, 0.0), 1.0)
    row = bottom - 1 - round(height * (bottom - 2))
    first, last = (face + 2, arm - 1) if right else (arm + 2, face - 1)
    c.arrow(first if right else last, row, last - first + 1, right, "probe")
    beside, side = (arm + 3, "left") if right else (arm - 2, "right")
    c.label(beside, row, "indicator", "probe", at=side)
    if s.at:
        up = f"{s.at.removeprefix('at ')} up"
        c.label(beside, row - 1 if row > 1 else row + 1, up, "strong", at=side)

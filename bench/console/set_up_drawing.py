"""The set-up seen from above; up is away from you.

A picture's name is a code of parts, such as `square-handle-left`, so that a check
brings its drawing by naming it. A name without a drawing still shows the surface, and
the side on which the indicator stands.
"""

from __future__ import annotations

from collections.abc import Callable

from bench.console.canvas import Canvas
from bench.console.glyphs import GlyphSet
from bench.console.square_drawing import draw_mitre, draw_upright
from bench.console.text import Block
from bench.protocol import Jig, Prompt
from bench.units import System, length_words

LEAST_WIDE, LEAST_HIGH = 27, 7
MOST_WIDE, MOST_HIGH = 90, 24
MOUNTS = {"standing": "on the table", "carried": "goes along", "still": "stays put"}

Draw = Callable[[Canvas, Prompt, Jig | None, set[str], str], None]


def draw_set_up(
    ask: Prompt, jig: Jig | None, wide: int, high: int, glyphs: GlyphSet, units: System
) -> Block:
    """At most `wide` x `high`; empty where there is no room or nothing to draw."""
    nothing = ask.picture is None and ask.side is None
    if wide < LEAST_WIDE or high < LEAST_HIGH or nothing:
        return []
    c = Canvas(min(wide, MOST_WIDE), min(high, MOST_HIGH), glyphs)
    names = set((ask.picture or "").split("-")) | set((ask.placement or "").split("-"))
    whole = 0 if units == "mm" else None  # as the sentence beside it says it
    at = "" if ask.at is None else f"at {length_words(ask.at, units, whole)}"
    draw = next((d for known, d in _DRAWINGS if known & names), _surface)
    if ask.lean is not None:
        words = f"lean the sled to the {ask.lean}"
        c.label(c.wide // 2, 0, words, "act", at="middle")
        for row in (1, c.high // 2):
            _pressed(c, ask.lean == "left", row)
    if draw is not draw_upright:  # it is seen from the side
        c.label(c.wide // 2, c.high - 1, "you", "strong", at="middle")
    draw(c, ask, jig, names, at)
    return c.block()


def indicator_on_sled(
    how: str, jig: Jig | None, wide: int, high: int, glyphs: GlyphSet
) -> Block:
    """How the indicator stands for the live move: `beyond` or `behind` the sled fence,
    `right` or `left` of the arm.

    Seven rows, or none where there is no room; the free end, its way and the pivot as
    on the user's own sled.
    """
    if high < 7:
        return []
    c = Canvas(min(wide, 60), 7, glyphs)
    fence, free_left = 3, jig is None or jig.pivot == "right"
    sixth = c.wide // 6
    end, pivot = (sixth, c.wide - 4) if free_left else (c.wide - sixth - 1, 3)
    c.bar(0, fence, c.wide, "wood")
    c.words(pivot, fence, "O", "strong")
    c.label(c.wide // 2, 6, "you", "strong", at="middle")
    side = "left" if free_left else "right"
    c.label(pivot, fence + 1, "pivot", "faint", at="middle")
    if how in ("beyond", "behind"):
        step = -1 if how == "beyond" else 1
        mark = glyphs.down_mark if how == "beyond" else glyphs.up_mark
        c.words(end, fence + step, mark, "probe")
        c.words(end, fence + 2 * step, glyphs.down, "probe")
        beside = end + (2 if free_left else -2)
        c.label(beside, fence + 2 * step, "indicator, on the sled", "probe", at=side)
        c.label(end, fence - step, "free end", "faint", at="middle")
        return c.block()
    arm = c.wide // 2
    for y in range(fence):
        c.fill(arm, y, 3, "steel")
    c.fill(arm - 9 if how == "right" else arm + 3, fence - 1, 9, "steel")
    if how == "right":
        c.words(arm + 3, 1, glyphs.left_mark + glyphs.across * 2, "probe")
        c.label(arm + 7, 1, "indicator", "probe")
    else:
        c.words(arm - 3, 1, glyphs.across * 2 + glyphs.right_mark, "probe")
        c.label(arm - 5, 1, "indicator", "probe", at="right")
    c.label(end, fence + 1, "free end", "faint", at="middle")
    return c.block()


# ---- the drawings --------------------------------------------------------------------


def _square(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str) -> None:
    """The square on the sled fence, the indicator against its arm."""
    far = jig is not None and jig.fence == "far"
    handle_left, on_right = "right" not in names, ask.side != "left"
    fence, tip = (1, c.high - 2) if far else (c.high - 2, 1)
    across = 3 if c.wide < 60 else 6
    # room for the indicator on the other side
    arm = c.wide // 2 - (1 + across if handle_left else -1)
    step = 1 if far else -1
    c.bar(0, fence, c.wide, "wood")
    for y in range(min(fence + step, tip), max(fence + step, tip) + 1):
        c.fill(arm, y, across, "steel")
    handle = max(9, c.wide // 4)
    left = arm - handle if handle_left else arm + across
    thick = 2 if c.high > 8 else 1
    for row in range(1, thick + 1):
        c.fill(left, fence + row * step, handle, "steel")
    middle = (fence + (thick + 1) * step + tip) // 2
    _indicator(c, ask, arm + across - 1 if on_right else arm, middle)
    _pushed(c, ask, 1 if on_right else c.wide - 2, top=3 + thick if far else 1)
    above = fence + (thick + 1) * step
    c.label(left + handle // 2, above, "handle", "faint", at="middle")
    beside = (arm - 2, "right") if on_right else (arm + across + 1, "left")
    c.label(beside[0], tip, "arm", "faint", at=beside[1])
    _pivot(c, jig, fence, step)
    free = c.wide - 2 if handle_left else 1
    c.label(
        free, fence + step, "sled fence", "faint", at="right" if handle_left else "left"
    )


def _pivot(c: Canvas, jig: Jig | None, fence: int, step: int) -> None:
    if jig is None:
        return
    right = jig.pivot == "right"
    column = c.wide - 2 if right else 1
    c.words(column, fence, "O", "strong")
    c.label(column, fence - step, "pivot", "faint", at="right" if right else "left")


def _rip(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str) -> None:
    """The rip fence from the front to the rear of the table, the indicator riding in
    the slot beside it."""
    left = ask.side != "right"  # the indicator is left of the rip fence
    fence = c.wide - 10 if left else 7
    slot = max(4, fence - 17) if left else min(c.wide - 6, fence + 17)
    for y in range(1, c.high - 1):
        c.fill(fence, y, 3, "steel")
        c.words(slot, y, c.glyphs.down, "rule")
        c.words(slot + 3, y, c.glyphs.down, "rule")
    _indicator(c, ask, fence if left else fence + 2, c.high // 2, reach=3)
    c.label(fence + 1, 0, "rip fence", "faint", at="middle")
    c.label(slot + 1, 0, "slot", "faint", at="middle")
    _pushed(c, ask, 1 if left else c.wide - 2)


def _blade(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str) -> None:
    """The blade from above, the indicator riding in the slot, touching it at the front
    or the rear."""
    wobble = bool(names & {"wobble", "plate"})
    right = ask.side != "left"  # the indicator is right of the blade
    blade = 9 if right else c.wide - 10
    slot = min(blade + 17, c.wide - 5) if right else max(blade - 19, 1)
    for y in range(1, c.high - 1):
        if not wobble:
            c.words(slot, y, c.glyphs.down, "rule")
            c.words(slot + 3, y, c.glyphs.down, "rule")
        if 1 < y < c.high - 2:
            c.words(blade, y, c.glyphs.full, "steel")
    c.words(blade, 1, c.glyphs.up_mark, "steel")
    c.words(blade, c.high - 2, c.glyphs.down_mark, "steel")
    row = c.high - 4 if "front" in names else 3 if "rear" in names else c.high // 2
    _indicator(c, ask, blade, row, reach=3)
    c.label(blade, 0, "blade", "faint", at="middle")
    if not wobble:
        c.label(slot + 1, 0, "slot", "faint", at="middle")
    end, side = (1, "left") if right else (c.wide - 2, "right")
    c.label(end, 2, "rear", "faint", at=side)
    c.label(end, c.high - 3, "front", "faint", at=side)


def _straight(
    c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str
) -> None:
    """The straightedge along the sled fence; the indicator is pushed along it and
    touches the fence."""
    g = c.glyphs
    fence, top = c.high - 3, max(2, c.high - 7)
    c.bar(0, fence, c.wide, "wood")
    c.fill(2, top, c.wide - 4, "steel")
    x = c.wide // 2
    c.words(x, fence - 1, g.down_mark, "probe")
    for y in range(top + 1, fence - 1):
        c.words(x, y, g.down, "probe")
    c.label(x + 2, top + 1, f"indicator {g.right_mark} {at}".strip(), "probe")
    turned = ", rolled over" if "over" in names else ""
    c.label(3, top - 1, f"straightedge{turned}", "faint")
    c.label(1, fence + 1, "sled fence", "faint")


def _widths(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str) -> None:
    """A runner (or a slot) from above, the caliper across it at the mark."""
    g, slot = c.glyphs, "slot" in names
    left, right, middle = 8, c.wide - 9, c.high // 2
    for y in range(1, c.high - 1):
        if slot:
            c.words(left, y, g.down, "steel")
            c.words(right, y, g.down, "steel")
        else:
            c.words(left, y, g.wood * (right - left + 1), "wood")
    if slot:
        line = g.across * (right - left - 3)
        c.words(left + 1, middle, g.left_mark + line + g.right_mark, "probe")
        c.label((left + right) // 2, middle + 1, at, "strong", at="middle")
    else:
        c.words(left - 3, middle, g.across * 2 + g.right_mark, "probe")
        c.words(right + 1, middle, g.left_mark + g.across * 2, "probe")
        c.words(
            (left + right - len(at)) // 2, middle, f" {at} " if at else "", "strong"
        )
    what = "slot" if slot else "runner"
    c.label(c.wide // 2, 0, f"caliper across the {what}", "faint", at="middle")


def _play(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str) -> None:
    """The sled in its slots, pressed to one side or twisted within its play, with an
    arrow where the hand presses; the indicator at its side."""
    way, twist = "left" if "left" in names else "right", names & {"twist", "twisted"}
    box, left, bottom = c.wide // 2 - 4, 3, c.high - 2
    c.frame(left, 1, box, bottom, "wood")
    touch = left if ask.side == "left" else left + box - 1
    row = 3 if twist else c.high // 2  # beyond the middle, or at it
    _indicator(c, ask, touch, row)
    to_left = way == "left"
    ends = (left + 2, left + box - 3)
    _pressed(c, to_left, row, ends[not to_left])
    if twist:
        _pressed(c, not to_left, bottom - 1, ends[to_left])
    c.label(left + 2, bottom - 2 if twist else bottom - 1, "sled", "wood")
    words = f"twist it to the {way} {at}" if twist else f"press it to the {way}"
    c.label(left, 0, words.rstrip(), "act")


def _board(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str) -> None:
    """The strip off the test board, its two ends, the caliper across it."""
    near = "far" not in names
    c.frame(3, 2, c.wide - 6, 3, "wood")
    c.label(c.wide // 2, 3, "strip, last cut", "wood", at="middle")
    x, side = (6, "left") if near else (c.wide - 7, "right")
    c.words(x, 1, c.glyphs.down_mark, "probe")
    beside = x + 2 if near else x - 2
    c.label(beside, 1, "caliper", "probe", at=side)
    c.label(x, 5, "near end" if near else "far end", "strong", at=side)


def _surface(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str], at: str) -> None:
    """A surface and the side of the indicator, where nothing more is known."""
    x = c.wide // 2 - 1
    for y in range(1, c.high - 1):
        c.fill(x, y, 3, "steel")
    left = ask.side == "left"
    if ask.side is not None:
        _indicator(c, ask, x if left else x + 2, c.high // 2)
    _pushed(c, ask, c.wide - 2 if left else 1)


_DRAWINGS: tuple[tuple[set[str], Draw], ...] = (
    ({"mitre"}, draw_mitre),
    ({"plumb"}, draw_upright),
    ({"square"}, _square),
    ({"rip"}, _rip),
    ({"straight", "straightedge", "profile"}, _straight),
    ({"lean", "leaned", "twist", "twisted", "play"}, _play),
    ({"runner", "caliper", "width", "widths"}, _widths),
    ({"board", "strip"}, _board),
    ({"blade", "plate", "wobble"}, _blade),
    ({"slot"}, _widths),
)


# ---- what they share -----------------------------------------------------------------


def _indicator(c: Canvas, ask: Prompt, touch: int, row: int, reach: int = 4) -> None:
    """The plunger touches column `touch`, from the side that is asked for; below it,
    how it stands."""
    g, label, how = c.glyphs, "indicator", MOUNTS.get(ask.mount or "", "")
    if ask.side == "left":
        reach = max(1, min(reach, touch - len(label)))
        c.words(touch - reach, row, g.across * (reach - 1) + g.right_mark, "probe")
        c.words(touch - reach - len(label), row, label, "probe")
        c.label(touch - 2, row + 1, how, "faint", at="right")
        return
    reach = max(1, min(reach, c.wide - touch - 1 - len(label)))
    c.words(touch + 1, row, g.left_mark + g.across * (reach - 1), "probe")
    c.words(touch + 1 + reach, row, label, "probe")
    c.label(touch + 2, row + 1, how, "faint")


def _pressed(c: Canvas, left: bool, row: int, column: int | None = None) -> None:
    """An arrow that ends at `column`, else at the edge to which the sled is pressed."""
    g, long = c.glyphs, 5
    if left:
        at = 0 if column is None else column
        c.words(at, row, g.left_mark + g.across * (long - 1), "act")
    else:
        at = c.wide - 1 if column is None else column
        c.words(at - long + 1, row, g.across * (long - 1) + g.right_mark, "act")


def _pushed(c: Canvas, ask: Prompt, column: int, top: int = 1) -> None:
    """Which way the sled is pushed, at the edge of the drawing; not while it is
    leaned."""
    if ask.lean is not None:
        return
    g, left = c.glyphs, column < c.wide // 2
    c.words(column, top, g.up_mark, "strong")
    for y in range(top + 1, max(top + 2, c.high - 5)):
        c.words(column, y, g.down, "rule")
    beside = column + 2 if left else column - 2
    c.label(beside, top, "push", "faint", at="left" if left else "right")

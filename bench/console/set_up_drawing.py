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

LEAST_WIDE, LEAST_HIGH = 27, 7
MOST_WIDE, MOST_HIGH = 90, 24


def draw_set_up(
    ask: Prompt, jig: Jig | None, wide: int, high: int, glyphs: GlyphSet
) -> Block:
    """At most `wide` x `high`; empty where there is no room or nothing to draw."""
    if (
        wide < LEAST_WIDE
        or high < LEAST_HIGH
        or (ask.picture is None and ask.side is None)
    ):
        return []
    canvas = Canvas(min(wide, MOST_WIDE), min(high, MOST_HIGH), glyphs)
    names = set((ask.picture or "").split("-")) | set((ask.placement or "").split("-"))
    draw = next((d for known, d in _DRAWINGS if known & names), _surface)
    draw(canvas, ask, jig, names)
    if ask.lean is not None:
        canvas.words(
            canvas.wide // 2 - 8, 0, f"lean the sled {ask.lean.upper()}", "strong"
        )
    return canvas.block()


def indicator_on_sled(how: str, jig: Jig | None, wide: int, glyphs: GlyphSet) -> Block:
    """How the indicator stands for the live move: `beyond` or `behind` the sled fence,
    `right` or `left` of the arm.

    Seven rows; the free end, its way and the pivot as on the user's own sled.
    """
    c = Canvas(min(wide, 60), 7, glyphs)
    fence = 4
    free_left = jig is None or jig.pivot == "right"
    end, pivot = (
        (c.wide // 6, c.wide - 4) if free_left else (c.wide - c.wide // 6 - 1, 3)
    )
    c.bar(0, fence, c.wide, "wood")
    c.words(pivot, fence, "o", "strong")
    c.words(min(c.wide - 5, max(0, pivot - 2)), fence + 1, "pivot", "faint")
    label = "indicator, on the sled"
    if how in ("beyond", "behind"):
        step = -1 if how == "beyond" else 1
        mark = glyphs.down_mark if how == "beyond" else glyphs.up_mark
        c.words(end, fence + step, mark, "probe")
        c.words(end, fence + 2 * step, glyphs.down, "probe")
        at = end + 2 if free_left else end - 1 - len(label)
        c.words(at, fence + 2 * step, label, "probe")
        c.words(
            max(0, end - 4),
            fence - step,
            "free end" if free_left else "free end".rjust(5),
            "faint",
        )
        return c.block()
    arm, label = c.wide // 2, "indicator"
    for y in range(fence):
        c.fill(arm, y, 3, "steel")
    c.fill(arm - 9 if how == "right" else arm + 3, fence - 1, 9, "steel")
    if how == "right":
        c.words(arm + 3, 1, glyphs.left_mark + glyphs.across * 2 + label, "probe")
    else:
        c.words(
            arm - 3 - len(label),
            1,
            label + glyphs.across * 2 + glyphs.right_mark,
            "probe",
        )
    c.words(end, fence + 1, "free end", "faint")
    return c.block()


# ---- the drawings --------------------------------------------------------------------


def _square(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str]) -> None:
    """The square on the sled fence, the indicator against its arm."""
    far = jig is not None and jig.fence == "far"
    handle_left = "right" not in names
    fence_row = 1 if far else c.high - 2
    tip_row = c.high - 2 if far else 1
    across = 3 if c.wide < 60 else 6
    # room for the indicator on the other side
    arm = c.wide // 2 - (1 + across if handle_left else -1)
    step = 1 if far else -1
    c.bar(0, fence_row, c.wide, "wood")
    c.words(c.wide - 11 if handle_left else 1, fence_row - step, "sled fence", "faint")
    for y in range(min(fence_row + step, tip_row), max(fence_row + step, tip_row) + 1):
        c.fill(arm, y, across, "steel")
    handle = max(9, c.wide // 4)
    at = arm - handle if handle_left else arm + across
    thick = 2 if c.high > 8 else 1
    for row in range(1, thick + 1):
        c.fill(at, fence_row + row * step, handle, "steel")
    c.words(at + (handle - 6) // 2, fence_row + (thick + 1) * step, "handle", "faint")
    middle = (fence_row + (thick + 1) * step + tip_row) // 2
    if c.wide > 32:
        c.words(
            arm - 4 if ask.side != "left" else arm + across + 1, tip_row, "arm", "faint"
        )
    _indicator(c, ask, arm if ask.side == "left" else arm + across - 1, middle)
    _pivot(c, jig, fence_row)
    _travel(
        c,
        1 if ask.side != "left" else c.wide - 2,
        words_right=ask.side != "left",
        top=3 + thick if far else 1,
    )


def _pivot(c: Canvas, jig: Jig | None, row: int) -> None:
    if jig is None:
        return
    right = jig.pivot == "right"
    c.words(c.wide - 2 if right else 1, row, "o", "strong")


def _rip(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str]) -> None:
    """The rip fence from the front to the rear of the table, the indicator riding in
    the slot beside it."""
    del jig, names
    left = ask.side != "right"  # the indicator is left of the rip fence
    fence = c.wide - 8 if left else 5
    slot = max(0, fence - 16) if left else min(c.wide - 4, fence + 15)
    for y in range(1, c.high - 1):
        c.fill(fence, y, 3, "steel")
        c.words(slot, y, c.glyphs.down, "rule")
        c.words(slot + 3, y, c.glyphs.down, "rule")
    c.words(max(0, fence - 3), 0, "rip fence", "faint")
    c.words(slot, 0, "slot", "faint")
    _indicator(c, ask, fence if left else fence + 2, c.high // 2, reach=3)
    _travel(c, 1 if left else c.wide - 2, words_right=left)


def _blade(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str]) -> None:
    """The blade from above, the indicator riding in the slot, touching it at the front
    or the rear."""
    del jig
    wobble = bool(names & {"wobble", "plate"})
    right = ask.side != "left"  # the indicator is right of the blade
    blade = 8 if right else c.wide - 9
    slot = min(blade + 16, c.wide - 4) if right else max(blade - 18, 0)
    for y in range(1, c.high - 1 if not wobble else 1):
        c.words(slot, y, c.glyphs.down, "rule")
        c.words(slot + 3, y, c.glyphs.down, "rule")
    for y in range(2, c.high - 2):
        c.words(blade, y, c.glyphs.full, "steel")
    c.words(blade, 1, c.glyphs.up_mark, "steel")
    c.words(blade, c.high - 2, c.glyphs.down_mark, "steel")
    c.words(blade - 2, 0, "blade", "faint")
    c.words(slot, 0, "" if wobble else "slot", "faint")
    at = c.high - 4 if "front" in names else 3 if "rear" in names else c.high // 2
    _indicator(c, ask, blade, at, reach=3)
    c.words(0 if right else c.wide - 5, 2, "rear", "faint")
    c.words(0 if right else c.wide - 5, c.high - 3, "front", "faint")


def _straight(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str]) -> None:
    """The straightedge along the sled fence; the indicator rides on it and touches the
    fence."""
    del jig
    c.bar(0, c.high - 2, c.wide, "wood")
    c.words(1, c.high - 1, "sled fence", "faint")
    top = max(1, c.high - 6)
    c.fill(2, top, c.wide - 4, "steel")
    c.words(
        3,
        top - 1,
        "straightedge" + (", rolled over" if "over" in names else ""),
        "faint",
    )
    x = c.wide // 2
    c.words(x, c.high - 3, c.glyphs.down_mark, "probe")
    for y in range(top + 1, c.high - 3):
        c.words(x, y, c.glyphs.down, "probe")
    c.words(x + 2, top + 1, "indicator", "probe")
    c.words(c.wide - 17, 0, "away from you " + c.glyphs.up_mark, "faint")
    del ask


def _widths(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str]) -> None:
    """A runner (or a slot) from above, the caliper across it at the mark."""
    del jig
    left, right = 8, c.wide - 9
    for y in range(1, c.high - 1):
        if "slot" in names:
            c.words(left, y, c.glyphs.down, "steel")
            c.words(right, y, c.glyphs.down, "steel")
        else:
            for x in range(left, right + 1):
                c.words(x, y, c.glyphs.wood, "wood")
    middle = c.high // 2
    if "slot" in names:
        c.words(
            left + 1,
            middle,
            c.glyphs.left_mark
            + c.glyphs.across * (right - left - 3)
            + c.glyphs.right_mark,
            "probe",
        )
    else:
        c.words(left - 3, middle, c.glyphs.across * 2 + c.glyphs.right_mark, "probe")
        c.words(right + 1, middle, c.glyphs.left_mark + c.glyphs.across * 2, "probe")
    what = "slot" if "slot" in names else "runner"
    c.words(
        left,
        0,
        f"caliper across the {what}"
        + (f", {ask.at:g} mm" if ask.at is not None else ""),
        "faint",
    )
    c.words(left, c.high - 1, "your end", "faint")


def _play(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str]) -> None:
    """The sled in its slots, leaned or twisted within its play; the indicator at its
    side."""
    del jig
    box = c.wide // 2 - 4
    c.frame(3, 1, box, c.high - 2, "wood")
    c.words(5, c.high - 3, "sled", "wood")
    way = "left" if "left" in names else "right"
    arrow = c.glyphs.left_mark if way == "left" else c.glyphs.right_mark
    how = "twist" if names & {"twist", "twisted"} else "lean"
    c.words(4, 0, f"{how} {way} {arrow}", "strong")
    _indicator(c, ask, 3 if ask.side == "left" else 3 + box - 1, c.high // 2)


def _board(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str]) -> None:
    """The strip off the test board, its two ends, the caliper across it."""
    del jig
    c.frame(3, 2, c.wide - 6, 4, "wood")
    c.words(5, 3, "strip, last cut", "wood")
    near = "far" not in names
    x = 6 if near else c.wide - 8
    c.words(x, 1, c.glyphs.down_mark + " caliper", "probe")
    c.words(3, 6, "near end" if near else "", "strong")
    c.words(c.wide - 11, 6, "far end" if not near else "", "strong")
    del ask


def _surface(c: Canvas, ask: Prompt, jig: Jig | None, names: set[str]) -> None:
    """A surface and the side of the indicator, where nothing more is known."""
    del jig, names
    x = c.wide // 2 - 1
    for y in range(1, c.high - 1):
        c.fill(x, y, 3, "steel")
    if ask.side is not None:
        _indicator(c, ask, x if ask.side == "left" else x + 2, c.high // 2)
    _travel(c, 1 if ask.side != "left" else c.wide - 2, words_right=ask.side != "left")


_DRAWINGS: tuple[
    tuple[set[str], Callable[[Canvas, Prompt, Jig | None, set[str]], None]], ...
] = (
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
    g = c.glyphs
    label = "indicator"
    how = {
        "standing": "on the table",
        "carried": "goes along",
        "still": "stays put",
    }.get(ask.mount or "", "")
    if ask.side == "left":
        reach = max(1, min(reach, touch - len(label)))
        c.words(touch - reach, row, g.across * (reach - 1) + g.right_mark, "probe")
        c.words(touch - reach - len(label), row, label, "probe")
        c.words(max(0, touch - 1 - len(how)), row + 1, how, "faint")
        return
    reach = max(1, min(reach, c.wide - touch - 1 - len(label)))
    c.words(touch + 1, row, g.left_mark + g.across * (reach - 1), "probe")
    c.words(touch + 1 + reach, row, label, "probe")
    c.words(min(touch + 2, c.wide - len(how)), row + 1, how, "faint")


def _travel(c: Canvas, column: int, *, words_right: bool, top: int = 1) -> None:
    """Which way a push goes, at the edge of the drawing."""
    g = c.glyphs
    c.words(column, top, g.up_mark, "strong")
    for y in range(top + 1, max(top + 2, c.high - 5)):
        c.words(column, y, g.down, "rule")
    c.words(column + 2 if words_right else column - 5, top, "push", "faint")

"""The set-up seen from above; up is away from you.

A picture's name is a code of parts, such as `square-handle-left`, so that a check
brings its drawing by naming it. A name without a drawing still shows the surface, and
the side on which the indicator stands.
"""

from __future__ import annotations

from collections.abc import Callable

from bench.console.drawings.canvas import Canvas
from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.set_up_parts import (
    ARROW,
    SetUp,
    draw_blade,
    draw_indicator,
    draw_pressed,
    draw_pushed,
)
from bench.console.drawings.squares import draw_mitre, draw_square, draw_upright
from bench.console.drawings.styled_text import Block
from bench.protocol import Jig, Prompt
from bench.units import System, nominal_words, station_words

LEAST_WIDE, LEAST_HIGH = 27, 7
MOST_WIDE, MOST_HIGH = 90, 30


def draw_set_up(
    prompt: Prompt,
    jig: Jig | None,
    wide: int,
    high: int,
    glyphs: GlyphSet,
    units: System,
) -> Block:
    """At most `wide` x `high`; empty where there is no room or nothing to draw."""
    nothing = prompt.picture is None and prompt.side is None
    if wide < LEAST_WIDE or high < LEAST_HIGH or nothing:
        return []
    c = Canvas(min(wide, MOST_WIDE), min(high, MOST_HIGH), glyphs)
    names = set((prompt.picture or "").split("-")) | set(
        (prompt.placement or "").split("-")
    )
    at = "" if prompt.at is None else f"at {_place_words(prompt, prompt.at, units)}"
    s = SetUp(c, prompt, jig, names, at)
    draw = next((d for known, d in _DRAWINGS if known & names), _surface)
    if draw is not draw_upright:  # it is seen from the side
        c.label(c.wide // 2, c.high - 1, "you", "strong", at="middle")
    draw(s)
    if prompt.lean is not None:
        _lean(s)
    return c.block()


def _place_words(ask: Prompt, at: float, units: System) -> str:
    """The number of a place, as the sentence beside it says it."""
    if ask.mark is not None:
        return nominal_words(at, units)
    return station_words(at, units)


def _lean(s: SetUp) -> None:
    """The hands that lean the sled within its play, as far out as nothing stands."""
    c, left = s.c, s.prompt.lean == "left"
    places = ((c.wide // 2, 0, "middle"), (0, 0, "left"), (c.wide - 1, 0, "right"))
    c.label_where_free(f"lean the sled to the {s.prompt.lean}", "act", *places)
    for inward in range(c.wide - ARROW):
        head = inward if left else c.wide - 1 - inward
        tail = head if left else head - ARROW + 1
        rows = [y for y in range(1, c.high - 3) if c.is_free(tail, y, ARROW)]
        if len(rows) > 1:
            for row in (rows[0], rows[-1]):
                draw_pressed(s, left, row, head)
            return


def _slot(s: SetUp, x: int) -> None:
    """Both walls of a slot, three columns apart."""
    for wall in (x, x + 3):
        s.c.upright(wall, 1, s.c.high - 2, "rule")
    s.c.label(x + 2, 0, "slot", "faint", at="middle")


def _rip(s: SetUp) -> None:
    """The rip fence from the front to the rear of the table, the indicator riding in
    the slot beside it; the blade beyond the slot."""
    c, right = s.c, s.right
    fence, gap = 7 if right else c.wide - 10, max(17, c.wide // 2 - 4)
    slot = min(c.wide - 10, fence + gap) if right else max(8, fence - gap)
    c.body(fence, 1, 3, c.high - 2, "steel")
    _slot(s, slot)
    draw_blade(s, slot + 7 if right else slot - 4, 2, c.high - 3, label=1)
    draw_indicator(s, fence + 2 if right else fence, c.high // 2, reach=3)
    c.label(fence + 1, 0, "rip fence", "faint", at="middle")
    draw_pushed(s, right)


def _blade(s: SetUp) -> None:
    """The blade from above, the indicator riding in the slot, touching it at the front
    or the rear; or standing beside it while the blade is turned."""
    c, names, right = s.c, s.names, s.right
    blade = c.wide // 4 if right else c.wide - 1 - c.wide // 4
    gap = max(17, c.wide // 3)
    if not names & {"wobble", "plate"}:
        _slot(s, min(blade + gap, c.wide - 5) if right else max(blade - gap - 2, 1))
    c.body(blade, 1, 1, c.high - 2, "steel")
    c.label(blade, 0, "blade", "faint", at="middle")
    row = c.high - 4 if "front" in names else 3 if "rear" in names else c.high // 2
    draw_indicator(s, blade, row, reach=3)
    if s.prompt.focus_words.endswith("degrees"):
        beside, way = (blade + 2, "left") if right else (blade - 2, "right")
        c.label(beside, row - 2, f"turned to {s.prompt.focus_words}", "act", at=way)
    end, side = (1, "left") if right else (c.wide - 2, "right")
    c.label(end, 2, "rear", "faint", at=side)
    c.label(end, c.high - 3, "front", "faint", at=side)


def _straight(s: SetUp) -> None:
    """The straightedge along the sled fence; the indicator is pushed along it and
    touches the fence."""
    c, g = s.c, s.c.glyphs
    fence, top, x = c.high - 3, max(2, c.high // 2 - 2), c.wide // 4
    turned = ", rolled over" if "over" in s.names else ""
    c.label(1, top - 1, f"straightedge{turned}", "faint")
    draw_blade(s, c.wide - 4, 1, fence)
    c.body(0, fence, c.wide, 1, "wood")
    c.body(1, top, c.wide - 2, 1, "steel")
    c.upright(x, top + 1, fence - 2, "probe")
    c.words(x, fence - 1, g.down_mark, "probe")
    c.label(
        x + 2, top + 1, f"indicator, push it {g.right_mark} {s.at}".strip(), "probe"
    )
    if "pressed" in s.names:
        c.label(x + 2, top + 2, "pressed by hand", "strong")
    c.label(1, fence + 1, "sled fence", "faint")


def _widths(s: SetUp) -> None:
    """A slot, a runner or a strip from above, or two of them, the caliper across it at
    the place."""
    c, names = s.c, s.names
    strip, both = bool(names & {"board", "strip"}), "spacing" in names
    what = "strip" if strip else "slot" if "slot" in names else "runner"
    inside = both or what == "slot"
    # with room for the number beside a strip or a runner
    left = 10 if inside else max(10, len(s.at.removeprefix("at ")) + 4)
    right, last = c.wide - 12, c.high - 2
    row = (1 + last) // 2
    if names & {"near", "far"} or not s.prompt.at:
        row = 2 if "far" in names else last - 1
    for first, end in (
        ((left, left + 3), (right - 3, right)) if both else ((left, right),)
    ):
        if what == "slot":
            c.upright(first, 1, last, "steel")
            c.upright(end, 1, last, "steel")
        else:
            c.body(first, 1, end - first + 1, last, "wood")
    _caliper(s, row, left, right - 3 * both, inside=inside)
    for y, place, letter in ((1, "far", "F"), (last, "near", "N")):
        words = f"{letter}, {place}" if strip else f"{place} end"
        c.label(c.wide - 1, y, words, "faint", at="right")
    across = f"both {what}s" if both else f"the {what}"
    c.label(c.wide // 2, 0, f"caliper across {across}", "faint", at="middle")


def _caliper(s: SetUp, row: int, left: int, right: int, *, inside: bool) -> None:
    """Its jaws between the columns (or outside of them), with the place's number."""
    c = s.c
    if inside:  # of a slot; or from a left side to a left side
        c.arrow(left + 1, row, right - left - 2, True, "probe")
        c.arrow(right - 1, row, 1, False, "probe")
        c.label((left + right) // 2, row - 1, s.at, "strong", at="middle")
        return
    c.arrow(left - 1, row, 3, False, "probe")
    c.arrow(right + 1, row, 3, True, "probe")
    c.label(0, row, s.at.removeprefix("at "), "strong")


def _play(s: SetUp) -> None:
    """The sled in its slots, pressed to one side or twisted within its play, with an
    arrow where the hand presses; the indicator at its side."""
    c, to_left = s.c, "left" in s.names
    twist, way = s.names & {"twist", "twisted"}, "left" if to_left else "right"
    box, left, bottom = max(14, c.wide - 20), 3, c.high - 2
    c.frame(left, 1, box, bottom, "wood")
    row = 3 if twist else c.high // 2  # beyond the middle, or at it
    blade = left + box // 2
    c.upright(blade, 2, c.high // 2 - 1, "steel")
    c.label(blade - 2, 2, "blade", "faint", at="right")
    draw_indicator(s, left + box - 1 if s.right else left, row)
    ends = (left + 2, left + box - 3)
    draw_pressed(s, to_left, row, ends[not to_left])
    if twist:
        draw_pressed(s, not to_left, bottom - 1, ends[to_left])
    c.label(left + 2, bottom - 2 if twist else bottom - 1, "sled", "wood")
    words = f"twist it to the {way} {s.at}" if twist else f"press it to the {way}"
    c.label(left, 0, words.rstrip(), "act")


def _surface(s: SetUp) -> None:
    """A surface and the side of the indicator, where nothing more is known."""
    x = s.c.wide // 2 - 1
    s.c.body(x, 1, 3, s.c.high - 2, "steel")
    if s.prompt.side is not None:
        draw_indicator(s, x + 2 if s.right else x, s.c.high // 2)
    draw_pushed(s, not s.right)


_DRAWINGS: tuple[tuple[set[str], Callable[[SetUp], None]], ...] = (
    ({"mitre"}, draw_mitre),
    ({"plumb"}, draw_upright),
    ({"square"}, draw_square),
    ({"rip"}, _rip),
    ({"straight", "straightedge", "profile"}, _straight),
    ({"lean", "leaned", "twist", "twisted", "play"}, _play),
    ({"runner", "caliper", "width", "widths", "board", "strip"}, _widths),
    ({"blade", "plate", "wobble"}, _blade),
    ({"slot"}, _widths),
)

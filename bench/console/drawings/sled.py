"""The sled seen from above, its distances true to scale; up is away from you."""

from __future__ import annotations

from bench.console.drawings.canvas import Canvas
from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.styled_text import Block
from bench.protocol import Jig, Move
from bench.render.result import move_distance
from bench.units import System, nominal_words

LEAST_WIDE, LEAST_HIGH = 36, 6
MOST_HIGH = 36
MOUNT_HIGH, MOUNT_WIDE = 5, 100  # of how the indicator stands
USUAL_REACH = 500.0  # mm: where no distance is known, so that there is something to see


def draw_sled(
    jig: Jig,
    move: Move | None,
    wide: int,
    high: int,
    glyphs: GlyphSet,
    units: System,
    at_stop: str = "leaf ",
) -> Block:
    """At most `wide` x `high`; empty where there is no room. move: the free end's way
    and its figure are drawn. at_stop: what goes where its distance is named."""
    if wide < LEAST_WIDE or high < LEAST_HIGH:
        return []
    c = Canvas(wide, min(high, MOST_HIGH), glyphs)
    far = jig.fence == "far"
    sled = _Sled(c, jig, 2 if far else c.high - 4, -1 if far else 1)
    sled.draw(units, at_stop)
    if move is not None:
        sled.draw_move(move, units)
    c.label(wide // 2, c.high - 1, "you", "strong", at="middle")
    return c.block()


class _Sled:
    """The sled on a canvas: its sled fence in one row; `out`: the step to the row
    outside it, away from the work."""

    def __init__(self, c: Canvas, jig: Jig, fence: int, out: int) -> None:
        self.c, self.jig, self.fence, self.out = c, jig, fence, out
        known = (jig.pivot_to_screw, jig.pivot_to_stop, jig.pivot_to_blade)
        self.reach = max((k for k in known if k is not None), default=USUAL_REACH)
        self.side = "left" if jig.pivot == "right" else "right"  # of the free end

    def place(self, mm: float) -> int:
        """The column of a distance from the pivot."""
        c, right = self.c, self.jig.pivot == "right"
        pivot, sign = (c.wide - 5, -1) if right else (4, 1)
        return pivot + sign * round(mm / self.reach * (c.wide - 10))

    def draw(self, units: System, at_stop: str) -> None:
        c, jig, below = self.c, self.jig, self.fence + self.out
        near_blade = jig.pivot_to_blade
        blade = self.place(self.reach / 2 if near_blade is None else near_blade)
        c.upright(blade, 0, c.high - 2, "steel")
        c.label(blade + 2, 0, "blade", "steel")
        c.body(1, self.fence, c.wide - 2, 1, "wood")
        stop, screw = jig.pivot_to_stop, jig.pivot_to_screw
        for mm, sign, words in (
            (0.0, "O", "pivot"),
            (screw, "+", "screw"),
            (stop, c.glyphs.middle, ""),
        ):
            if mm is not None:
                c.words(self.place(mm), self.fence, sign, "strong")
                c.label(self.place(mm), below, words, "faint", at="middle")
        if stop is not None:
            row, words = below + self.out, f"{at_stop}{nominal_words(stop, units)}"
            ends = (self.place(stop), 1 if self.side == "left" else c.wide - 2)
            whole = ((x, row, self.side) for x in ends)
            if not c.label_where_free(f"{words} from pivot", "faint", *whole):
                c.label(ends[0], row, words, "faint", at=self.side)
        c.label(blade + 2, below, "sled fence", "wood")

    def draw_move(self, move: Move, units: System) -> None:
        """An arrow at the free end for its way, with the distance."""
        c, jig, up = self.c, self.jig, move.way == "away"
        reach = jig.pivot_to_screw if jig.pivot_to_stop is None else jig.pivot_to_stop
        if reach is None:
            return
        at, inner = self.place(reach), self.fence - self.out
        mark = c.glyphs.up_mark if up else c.glyphs.down_mark
        words = f"{move_distance(move, units)} {'away from' if up else 'toward'} you"
        c.words(at, inner, mark, "act")
        c.label(at + (2 if self.side == "left" else -2), inner, words, "act", self.side)


def indicator_on_sled(
    how: str, jig: Jig | None, wide: int, high: int, glyphs: GlyphSet, *, leans: bool
) -> Block:
    """The indicator as it stands for the live move: `beyond` or `behind` the sled
    fence, `right` or `left` of the arm. Five rows, or none where there is no room; the
    free end, its way and the pivot as on the user's own sled. leans: the sled is leaned
    both ways."""
    if high < MOUNT_HIGH:
        return []
    c = Canvas(min(wide, MOUNT_WIDE), MOUNT_HIGH, glyphs)
    fence = {"beyond": 2, "behind": 1}.get(how, 3)
    free_left = jig is None or jig.pivot == "right"
    sixth = c.wide // 6
    end, pivot = (sixth, c.wide - 4) if free_left else (c.wide - sixth - 1, 3)
    c.body(0, fence, c.wide, 1, "wood")
    c.words(pivot, fence, "O", "strong")
    c.label(c.wide // 2, 4, "you", "strong", at="middle")
    other = fence - 1 if how == "behind" else fence + 1  # the row of the names
    c.label(pivot, other, "pivot", "faint", at="middle")
    c.label(end, other, "free end", "faint", at="middle")
    if how in ("right", "left"):
        _beside_arm(c, fence, how == "right")
    else:
        _at_free_end(c, fence, end, how == "beyond", "left" if free_left else "right")
        c.label(c.wide // 2, other, "sled fence", "faint", at="middle")
    if leans:
        left, line, right = glyphs.left_mark, glyphs.across, glyphs.right_mark
        words = f"{left}{line} lean {line}{right}"
        ends = ((c.wide - 1, "right"), (0, "left"))
        places = ((x, row, end) for row in (0, MOUNT_HIGH - 1) for x, end in ends)
        c.label_where_free(words, "act", *places)
    return c.block()


def _at_free_end(c: Canvas, fence: int, end: int, beyond: bool, side: str) -> None:
    """Beyond the sled fence or on your side of it, the tip at column `end`."""
    g, step = c.glyphs, -1 if beyond else 1
    c.words(end, fence + step, g.down_mark if beyond else g.up_mark, "probe")
    c.words(end, fence + 2 * step, g.down, "probe")
    beside = end + (2 if side == "left" else -2)
    c.label(beside, fence + 2 * step, "indicator, on the sled", "probe", at=side)


def _beside_arm(c: Canvas, fence: int, right: bool) -> None:
    """The square's arm up from the sled fence, the indicator against one edge."""
    arm = c.wide // 2
    c.body(arm, 0, 3, fence, "steel")
    c.body(arm - 9 if right else arm + 3, fence - 1, 9, 1, "steel")
    c.arrow(arm + 3 if right else arm - 1, 1, 3, right, "probe")
    beside, side = (arm + 7, "left") if right else (arm - 5, "right")
    c.label(beside, 1, "indicator", "probe", at=side)

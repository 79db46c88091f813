"""The sled seen from above, its distances true to scale; up is away from you."""

from __future__ import annotations

from bench.console.canvas import Canvas
from bench.console.glyphs import GlyphSet
from bench.console.text import Block
from bench.protocol import Jig, Move
from bench.render.result import move_distance
from bench.units import System, length_words

LEAST_WIDE, LEAST_HIGH = 36, 6
MOST_HIGH = 11
USUAL_REACH = 500.0  # mm: where no distance is known, so that there is something to see


def draw_sled(
    jig: Jig, move: Move | None, wide: int, high: int, glyphs: GlyphSet, units: System
) -> Block:
    """At most `wide` x `high`; empty where there is no room. move: the free end's way
    and its figure are drawn, and where the leaves go."""
    if wide < LEAST_WIDE or high < LEAST_HIGH:
        return []
    c = Canvas(wide, min(high, MOST_HIGH), glyphs)
    far = jig.fence == "far"
    sled = _Sled(c, jig, 2 if far else c.high - 4, -1 if far else 1)
    sled.draw(units)
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

    def draw(self, units: System) -> None:
        c, jig, g = self.c, self.jig, self.c.glyphs
        near_blade = jig.pivot_to_blade
        blade = self.place(self.reach / 2 if near_blade is None else near_blade)
        for y in range(c.high - 1):
            c.words(blade, y, g.down, "steel")
        c.bar(1, self.fence, c.wide - 2, "wood")
        c.words(self.place(0.0), self.fence, "O", "strong")
        c.label(self.place(0.0), self.fence + self.out, "pivot", "faint", at="middle")
        if jig.pivot_to_screw is not None:
            screw = self.place(jig.pivot_to_screw)
            c.words(screw, self.fence, "+", "strong")
            c.label(screw, self.fence + self.out, "screw", "faint", at="middle")
        if jig.pivot_to_stop is not None:
            stop = self.place(jig.pivot_to_stop)
            c.words(stop, self.fence, g.here, "strong")
            words = f"leaf {length_words(jig.pivot_to_stop, units)} from pivot"
            c.label(stop, self.fence + 2 * self.out, words, "faint", at=self.side)
        c.label(blade + 2, 0, "blade", "steel")

    def draw_move(self, move: Move, units: System) -> None:
        """Which way the free end goes, with its figure."""
        c, jig, up = self.c, self.jig, move.way == "away"
        reach = jig.pivot_to_screw if jig.pivot_to_stop is None else jig.pivot_to_stop
        if reach is None:
            return
        at, inner = self.place(reach), self.fence - self.out
        mark = c.glyphs.up_mark if up else c.glyphs.down_mark
        c.words(at, inner, mark, "act")
        way = "away from you" if up else "toward you"
        beside = at + (2 if self.side == "left" else -2)
        c.label(
            beside, inner, f"{move_distance(move, units)} {way}", "act", at=self.side
        )

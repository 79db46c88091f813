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
    high = min(high, MOST_HIGH)
    c = Canvas(wide, high, glyphs)
    fence = 2 if jig.fence == "far" else high - 4
    inner = fence + 1 if jig.fence == "far" else fence - 1
    outer = fence - 1 if jig.fence == "far" else fence + 1
    place = _places(jig, wide)
    c.bar(1, fence, wide - 2, "wood")
    blade = place(_blade_at(jig))
    for y in range(0, high - 1):
        if y != fence:
            c.words(blade, y, glyphs.down, "steel")
    c.label(
        blade + 2, high // 2 if fence != high // 2 else high // 2 + 1, "blade", "steel"
    )
    c.words(place(0.0), fence, "O", "strong")
    c.label(place(0.0), outer, "pivot", "faint", at="middle")
    _marks(c, jig, move, fence, inner, outer, place, units)
    c.label(wide // 2, high - 1, "you", "strong", at="middle")
    return c.block()


def _blade_at(jig: Jig) -> float:
    if jig.pivot_to_blade is not None:
        return jig.pivot_to_blade
    return (
        max(filter(None, (jig.pivot_to_screw, jig.pivot_to_stop)), default=USUAL_REACH)
        / 2
    )


def _places(jig: Jig, wide: int):  # type: ignore[no-untyped-def]
    """Columns of the distances from the pivot."""
    known = (jig.pivot_to_screw, jig.pivot_to_stop, jig.pivot_to_blade)
    reach = max((one for one in known if one is not None), default=USUAL_REACH)
    pivot, sign = (wide - 5, -1) if jig.pivot == "right" else (4, 1)

    def place(mm: float) -> int:
        return int(pivot + sign * round(mm / reach * (wide - 10)))

    return place


def _marks(c, jig, move, fence, inner, outer, place, units):  # type: ignore[no-untyped-def]
    """The screw, the place of the leaves, and which way the free end goes."""
    g = c.glyphs
    screw, stop = jig.pivot_to_screw, jig.pivot_to_stop
    if screw is not None:
        c.words(place(screw), fence, "+", "strong")
        c.label(place(screw), outer, "screw", "faint", at="middle")
    if stop is not None:
        c.words(place(stop), fence, g.here, "strong")
        c.label(
            place(stop),
            inner,
            f"leaf, {length_words(stop, units)} from the pivot",
            "faint",
            at="left" if jig.pivot == "right" else "right",
        )
    if move is None:
        return
    reach = stop if stop is not None else screw
    if reach is None:
        return
    at = place(reach)
    up = move.way == "away"
    row = fence - 1 if up else fence + 1
    c.words(at, row, g.up_mark if up else g.down_mark, "act")
    words = f"{move_distance(move, units)} {'away from' if up else 'toward'} you"
    side = "left" if jig.pivot == "right" else "right"
    c.label(at + (2 if side == "left" else -2), row, words, "act", at=side)

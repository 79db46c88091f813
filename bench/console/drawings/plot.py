"""A small plot of passes, and one number on a line.

Readings set aside are told apart by shape: each is a cross over the dots.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from bench.console.drawings.canvas import Canvas
from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.styled_text import Block, Role
from bench.console.instrument_view import PassView
from bench.units import System, length_words, nominal_words

# mm of reading that the height shows at least: less would make noise look like a slope
LEAST_SPAN = 0.04
LEAST_TRAVEL = 100.0  # mm
LEAST_WIDE, LEAST_HIGH = 12, 3
ROOM_FOR_WORDS = 24  # columns from which the edges say what they stand for


class Window(msgspec.Struct, frozen=True):
    """The stretch of travel and reading that a plot shows, mm."""

    left: float
    right: float
    low: float
    high: float


def window(passes: Sequence[PassView]) -> Window:
    """Around all points, in steps, so that a growing line does not move the whole
    picture at every point."""
    travel = [s for p in passes if p.travel for s in (min(p.travel), max(p.travel))]
    reading = [r for p in passes if p.reading for r in (min(p.reading), max(p.reading))]
    if not travel:
        return Window(0.0, LEAST_TRAVEL, -LEAST_SPAN / 2, LEAST_SPAN / 2)
    left = 50.0 * (min(travel) // 50.0)
    right = max(left + LEAST_TRAVEL, 50.0 * -(-max(travel) // 50.0))
    span, step = (max(reading) - min(reading)) * 1.1, LEAST_SPAN / 2
    while span > step * 6:
        step *= 2
    low, high = step * (min(reading) // step), step * -(-max(reading) // step)
    return Window(left, right, low, max(high, low + LEAST_SPAN))


def plot(
    running: PassView | None,
    kept: Sequence[PassView],
    wide: int,
    high: int,
    glyphs: GlyphSet,
    units: System,
) -> Block:
    """The running line over the kept ones, with what the edges stand for; one row of
    words below.

    Only pushes are drawn of the kept ones: only they conclude.
    """
    drawn = [p for p in kept if p.push and p.travel]
    now = [running] if running is not None and running.travel else []
    if high < LEAST_HIGH or wide < LEAST_WIDE or not (drawn or now):
        return []
    shown = window([*drawn, *now])
    canvas = Canvas(wide, high, glyphs, high - 1)
    for one in drawn:
        _draw(canvas, one, shown, "old-trace")
    for one in now:
        _draw(canvas, one, shown, "trace")
    aside = f"{glyphs.aside} left out" * any(p.aside for p in drawn)
    _edge_words(canvas, shown, aside, units)
    return canvas.block()


def _edge_words(canvas: Canvas, shown: Window, aside: str, units: System) -> None:
    """The values at the edges of the plot; aside: the word for a cross."""
    digits, high = 2 if units == "mm" else None, canvas.high
    if canvas.wide >= ROOM_FOR_WORDS:
        for row, mm in ((0, shown.high), (high - 2, shown.low))[
            : 1 + (high > LEAST_HIGH + 1)
        ]:
            canvas.words(0, row, length_words(mm, units, digits) + " ", "faint")
    left, right = nominal_words(shown.left, units), nominal_words(shown.right, units)
    canvas.foot(left, f"travel, {aside}" if aside else "travel", right)
    if aside:  # it tells of a mark: it has its place first where there is little
        canvas.label(canvas.wide // 2, high - 1, aside, "faint", "middle")


def _draw(canvas: Canvas, one: PassView, shown: Window, role: Role) -> None:
    across, up = shown.right - shown.left, shown.high - shown.low
    crosses = []
    seen: set[tuple[int, int]] = set()  # dots finer than the screen's are drawn once
    columns, rows = canvas.wide * canvas.per_x * 2, canvas.field * canvas.per_y * 2
    for index, (s, r) in enumerate(zip(one.travel, one.reading, strict=True)):
        x, y = (s - shown.left) / across, (r - shown.low) / up
        spot = (int(x * columns), int(y * rows))
        if index in one.aside:
            crosses.append((x, y))
        elif spot not in seen:
            seen.add(spot)
            canvas.dot(x, y, role)
    for x, y in crosses:
        canvas.sign(x, y, canvas.glyphs.aside, "aside")


def scale(
    value: float,
    give: float,
    good: tuple[float, float] | None,
    wide: int,
    glyphs: GlyphSet,
    ends: tuple[str, str],
    least: float | None = None,
) -> Block:
    """One number with its give or take on a line, and where good enough ends.

    Two rows, or three where the words are long.

    All in one unit. The middle is nothing wrong, or the left end where `least` is 0: a
    size has no other way. ends: the words at the left and the right end. good: from
    where to where it is good enough.
    """
    reach = max(abs(value) + give, good[1] * 1.5 if good else 0.0, 1e-12) * 1.08
    cells, low = max(9, wide), -reach if least is None else least

    def place(v: float) -> int:
        return min(cells - 1, max(0, round((v - low) / (reach - low) * (cells - 1))))

    apart = sum(map(len, ends)) + 2 > cells  # the end words, each in a row of its own
    c = Canvas(cells, 3 if apart else 2, glyphs)
    c.words(0, 0, glyphs.across * cells, "rule")
    if good:
        first, last = place(good[0]), place(good[1])
        c.words(first, 0, f"[{'=' * (last - first - 1)}]", "good")
    c.words(place(0.0), 0, "0" if good else "+", "rule")
    first, last = place(value - give), place(value + give)
    c.words(first, 0, glyphs.lower * (last - first + 1), "strong")
    c.words(place(value), 0, glyphs.middle, "strong")
    c.label(0, 1, ends[0], "faint")
    c.label(cells - 1, 1 + apart, ends[1], "faint", "right")
    if good:
        between = (len(ends[0]) + cells - len(ends[1])) // 2
        c.label(between, 1, "[ good enough ]", "faint", "middle")
    return c.block()

"""A small plot of passes: points to dots, dots to characters.

Braille has 2 x 4 dots a cell; the plain set has 1 x 2 (half blocks). Readings set aside
are told apart by shape: each is a cross over the dots.
"""

from __future__ import annotations

from collections.abc import Sequence

import msgspec

from bench.console.glyphs import GlyphSet
from bench.console.instrument_view import PassView
from bench.console.text import Block, Line, Role
from bench.units import System, length_words

# mm of reading that the height shows at least: less would make noise look like a slope
LEAST_SPAN = 0.04
LEAST_TRAVEL = 100.0  # mm
_BRAILLE = ((0x01, 0x02, 0x04, 0x40), (0x08, 0x10, 0x20, 0x80))


class Window(msgspec.Struct, frozen=True):
    """The stretch of travel and reading that a plot shows, mm."""

    left: float
    right: float
    low: float
    high: float


def window(passes: Sequence[PassView], before: Window | None = None) -> Window:
    """Around all points, in steps, so that a growing line does not move the whole
    picture at every point."""
    travel = [
        s
        for p in passes
        for s in (min(p.travel, default=0.0), max(p.travel, default=0.0))
        if p.travel
    ]
    reading = [r for p in passes for r in (min(p.reading), max(p.reading)) if p.reading]
    if not travel:
        return before or Window(0.0, LEAST_TRAVEL, -LEAST_SPAN / 2, LEAST_SPAN / 2)
    left = 50.0 * (min(travel) // 50.0)
    right = max(left + LEAST_TRAVEL, 50.0 * -(-max(travel) // 50.0))
    span = max(LEAST_SPAN, (max(reading) - min(reading)) * 1.1)
    step = LEAST_SPAN / 2
    while span > step * 6:
        step *= 2
    low = step * (min(reading) // step)
    high = step * -(-max(reading) // step)
    if high - low < LEAST_SPAN:
        high = low + LEAST_SPAN
    return Window(left, right, low, high)


class DotCanvas:
    """A field of dots, `wide` x `high` cells; the role of a cell is that of the last
    dot in it."""

    def __init__(self, wide: int, high: int, glyphs: GlyphSet) -> None:
        self.wide, self.high, self.glyphs = wide, high, glyphs
        self.per_x, self.per_y = (2, 4) if glyphs.braille else (1, 2)
        self._dots: dict[tuple[int, int], int] = {}
        self._roles: dict[tuple[int, int], Role] = {}
        self._signs: dict[tuple[int, int], tuple[str, Role]] = {}

    def dot(self, x: float, y: float, role: Role) -> None:
        """x, y from 0 to 1 from the lower left."""
        px = min(
            self.wide * self.per_x - 1, max(0, round(x * (self.wide * self.per_x - 1)))
        )
        py = min(
            self.high * self.per_y - 1,
            max(0, round((1.0 - y) * (self.high * self.per_y - 1))),
        )
        cell = (px // self.per_x, py // self.per_y)
        bit = _BRAILLE[px % 2][py % 4] if self.glyphs.braille else 1 + py % 2
        self._dots[cell] = self._dots.get(cell, 0) | bit
        self._roles[cell] = role

    def sign(self, x: float, y: float, sign: str, role: Role) -> None:
        cx = min(self.wide - 1, max(0, int(x * self.wide)))
        cy = min(self.high - 1, max(0, int((1.0 - y) * self.high)))
        self._signs[cx, cy] = (sign, role)

    def block(self) -> Block:
        out: Block = []
        for y in range(self.high):
            line: Line = []
            for x in range(self.wide):
                if (x, y) in self._signs:
                    text, role = self._signs[x, y]
                elif (x, y) in self._dots:
                    text, role = self._char(self._dots[x, y]), self._roles[x, y]
                else:
                    text, role = " ", "text"
                if line and line[-1][1] == role:
                    line[-1] = (line[-1][0] + text, role)
                else:
                    line.append((text, role))
            out.append(line)
        return out

    def _char(self, bits: int) -> str:
        if self.glyphs.braille:
            return chr(0x2800 + bits)
        return (self.glyphs.upper, self.glyphs.lower, self.glyphs.full)[bits - 1]


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
    if high < 3 or wide < 12:
        return []
    if not drawn and not now:
        return []
    shown = window([*drawn, *now])
    canvas = DotCanvas(wide, high - 1, glyphs)
    for one in drawn:
        _draw(canvas, one, shown, "old-trace")
    for one in now:
        _draw(canvas, one, shown, "trace")
    block = canvas.block()
    if wide >= 24:
        _label(block, 0, length_words(shown.high, units, 2 if units == "mm" else None))
    if wide >= 24 and high > 4:
        _label(
            block,
            high - 2,
            length_words(shown.low, units, 2 if units == "mm" else None),
        )
    block.append(_foot(shown, bool([p for p in drawn if p.aside]), wide, glyphs, units))
    return block


def _draw(canvas: DotCanvas, one: PassView, shown: Window, role: Role) -> None:
    across, up = shown.right - shown.left, shown.high - shown.low
    crosses = []
    seen: set[tuple[int, int]] = set()
    columns = canvas.wide * canvas.per_x * 2
    for index, (s, r) in enumerate(zip(one.travel, one.reading, strict=True)):
        x, y = (s - shown.left) / across, (r - shown.low) / up
        if index in one.aside:
            crosses.append((x, y))
            continue
        spot = (int(x * columns), int(y * canvas.high * canvas.per_y * 2))
        if spot not in seen:
            seen.add(spot)
            canvas.dot(x, y, role)
    for x, y in crosses:
        canvas.sign(x, y, canvas.glyphs.aside, "aside")


def _label(block: Block, row: int, words: str) -> None:
    """Words at the left end of a row, over what is drawn there."""
    line, left = block[row], len(words) + 1
    rest: Line = []
    skip = left
    for text, role in line:
        if skip >= len(text):
            skip -= len(text)
            continue
        rest.append((text[skip:], role))
        skip = 0
    block[row] = [(words + " ", "faint"), *rest]


def _foot(
    shown: Window, aside: bool, wide: int, glyphs: GlyphSet, units: System
) -> Line:
    near, far = length_words(shown.left, units), length_words(shown.right, units)
    middle = f"{glyphs.aside} set aside" if aside and wide > 28 else "travel"
    room = wide - len(near) - len(far)
    return [
        (near, "faint"),
        (middle.center(max(1, room))[:room], "faint"),
        (far, "faint"),
    ]


def scale(
    value: float,
    give: float,
    limit: float | None,
    wide: int,
    glyphs: GlyphSet,
    ends: tuple[str, str],
    least: float | None = None,
    one_sided: bool = False,
) -> Block:
    """One number with its give or take on a line, and where good enough ends.

    Two rows, or three where the words are long.

    All in one unit. The middle is nothing wrong, or the left end where `least` is 0: a
    size has no other way. ends: the words at the left and the right end. one_sided:
    good enough begins at zero, what lies left of it is a fault.
    """
    reach = max(abs(value) + give, (limit or 0.0) * 1.5, 1e-12) * 1.08
    cells = max(9, wide)
    row: Line = [(glyphs.across, "rule")] * cells

    low = -reach if least is None else least

    def place(v: float) -> int:
        return min(cells - 1, max(0, round((v - low) / (reach - low) * (cells - 1))))

    if limit is not None:
        first, last = place(0.0 if one_sided else -limit), place(limit)
        for x in range(first, last + 1):
            row[x] = ("=", "good")
        row[first], row[last] = ("[", "good"), ("]", "good")
    row[place(0.0)] = ("+" if limit is None else "0", "rule")
    for x in range(place(value - give), place(value + give) + 1):
        row[x] = (glyphs.lower, "strong")
    row[place(value)] = (glyphs.here, "strong")
    below = "[ good enough ]" if limit is not None else ""
    line: Line = [(text, role) for text, role in row]
    left, right = ends
    room = cells - len(left) - len(right)
    if room < 2:  # each in a row of its own
        return [line, [(left, "faint")], [(right.rjust(cells), "faint")]]
    middle = below.center(room) if room >= len(below) + 2 else " " * room
    return [line, [(left, "faint"), (middle, "faint"), (right, "faint")]]

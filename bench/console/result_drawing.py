"""The drawing of a result: a fence's face, where a runner binds, a plate's turn.

It is drawn from what the result carries, whatever check it came from.
"""

from __future__ import annotations

import math
from itertools import pairwise

from bench.console.glyphs import GlyphSet
from bench.console.plot import LEAST_SPAN, DotCanvas
from bench.console.rotation_drawing import draw_rotation
from bench.console.text import Block, Line, fit
from bench.protocol import Contact, Finding, Jig, Position
from bench.render.result import judged
from bench.units import System, length_words

LEAST_WIDE, LEAST_HIGH = 30, 5
MOST_HIGH = 24


def draw_result(
    finding: Finding,
    jig: Jig | None,
    board: float | None,
    wide: int,
    high: int,
    glyphs: GlyphSet,
    units: System,
) -> Block:
    """At most `wide` x `high`; empty where there is nothing to draw, or no room."""
    if wide < LEAST_WIDE or high < LEAST_HIGH:
        return []
    high = min(high, MOST_HIGH)
    if finding.profile:
        return _face(finding.profile, finding.contact or [], wide, high, glyphs, units)
    if finding.positions:
        return _fit(finding.positions, wide, high, glyphs, units)
    phase = _phase(finding)
    if phase is not None:
        return _turn(finding, phase, wide, high, glyphs, units)
    q = judged(finding)
    return draw_rotation(q, jig, board, wide, high, glyphs, units)


def _face(
    profile: list[tuple[float, float]],
    contact: list[Contact],
    wide: int,
    high: int,
    g: GlyphSet,
    units: System,
) -> Block:
    """The face from above, proud side up, and below it between which two places the
    widest board touches."""
    points = sorted(profile)
    left, right = points[0][0], points[-1][0]
    low, top = min(y for _, y in points), max(y for _, y in points)
    middle, span = (low + top) / 2, max(LEAST_SPAN, (top - low) * 1.2)
    canvas = DotCanvas(wide, high - 2, g)
    columns = wide * canvas.per_x
    for n in range(columns):
        x = left + (right - left) * n / (columns - 1)
        canvas.dot(
            n / (columns - 1), (_between(points, x) - middle) / span + 0.5, "trace"
        )
    block = canvas.block()
    proud = f"{length_words(top - low, units)} from hollow to proud"
    block[0] = _over(block[0], proud)

    def place(x: float) -> int:
        return round((x - left) / (right - left or 1.0) * (wide - 1))

    row = [" "] * wide
    if contact:
        widest = max(contact, key=lambda c: c.to - c.from_)
        first, last = sorted(
            (max(0, place(widest.from_)), min(wide - 1, place(widest.to)))
        )
        row[first : last + 1] = [g.across] * (last - first + 1)
        row[first] = row[last] = g.up_mark
    under: Line = [("".join(row), "strong")]
    words = " a board touches here " if contact else "the sled fence"
    foot = _foot(
        f"x {length_words(left, units)}", words, length_words(right, units), wide
    )
    return [*block, under, foot]


def _between(points: list[tuple[float, float]], x: float) -> float:
    for (x0, y0), (x1, y1) in pairwise(points):
        if x <= x1:
            return y0 + (y1 - y0) * ((x - x0) / (x1 - x0) if x1 > x0 else 0.0)
    return points[-1][1]


def _fit(
    positions: list[Position], wide: int, high: int, g: GlyphSet, units: System
) -> Block:
    """How loose the runner is from place to place in the slot: columns of play, a mark
    where it binds."""
    ordered = sorted(positions, key=lambda p: p.at)
    left, right = ordered[0].at, ordered[-1].at
    most = max((p.side_play or 0.0 for p in ordered), default=0.0) or LEAST_SPAN
    rows = high - 2
    field = [[" "] * wide for _ in range(rows)]
    marks = [" "] * wide
    for p in ordered:
        x = round((p.at - left) / (right - left or 1.0) * (wide - 1))
        if p.relief > 0 or p.side_play == 0:
            marks[x] = g.bad
            continue
        filled = (
            rows if p.side_play is None else max(1, round(p.side_play / most * rows))
        )
        for y in range(filled):
            field[rows - 1 - y][x] = g.full
    block: Block = [[("".join(row), "trace")] for row in field]
    block[0] = _over(block[0], f"side play up to {length_words(most, units)}")
    binds = f"{g.bad} binds" if g.bad in marks else "place in the slot"
    foot = _foot(
        f"at {length_words(left, units)}", binds, length_words(right, units), wide
    )
    return [*block, [("".join(marks), "bad")], foot]


def _phase(finding: Finding) -> float | None:
    return next((q.value for q in finding.quantities if q.name == "phase"), None)


def _turn(
    finding: Finding, phase: float, wide: int, high: int, g: GlyphSet, units: System
) -> Block:
    """What the tilt alone does over one turn of the plate, and where it stands out
    most."""
    tilt = next(
        (q.value for q in finding.quantities if q.name == "tilt"),
        finding.quantities[0].value,
    )
    canvas = DotCanvas(wide, high - 2, g)
    columns = wide * canvas.per_x
    for n in range(columns):
        share = n / (columns - 1)
        canvas.dot(share, 0.5 + 0.46 * math.cos(share * 2 * math.pi - phase), "trace")
    block = canvas.block()
    at = round(phase / (2 * math.pi) * (wide - 1))
    row = [" "] * wide
    row[min(wide - 1, at)] = g.up_mark
    words = (
        f"{length_words(tilt, units)} of tilt, most at {math.degrees(phase):.0f}"
        " degrees"
    )
    return [*block, [("".join(row), "strong")], _foot("turn 0", words, "360", wide)]


def _over(line: Line, words: str) -> Line:
    """Words over the right end of a row where it leaves room, else the row."""
    plain = "".join(text for text, _ in line)
    room = len(plain) - len(words) - 1
    if room < 0 or plain[room:].strip():
        words_left = words + " "
        if plain[: len(words_left)].strip():
            return line
        return [(words_left, "faint"), *_after(line, len(words_left))]
    return [*fit(line, room), (" " + words, "faint")]


def _after(line: Line, skip: int) -> Line:
    out: Line = []
    for text, role in line:
        if skip >= len(text):
            skip -= len(text)
            continue
        out.append((text[skip:], role))
        skip = 0
    return out


def _foot(left: str, middle: str, right: str, wide: int) -> Line:
    room = max(0, wide - len(left) - len(right))
    middle = middle if len(middle) + 2 <= room else ""
    return [(left, "faint"), (middle.center(room), "faint"), (right, "faint")]

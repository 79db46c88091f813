"""The large figure: the live number, the distance still to go, or the result's size.

Where there is no number, nothing is large.
"""

from __future__ import annotations

from bench.console import readout
from bench.console.contents.strip import travel_lines
from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.large_digits import ROWS, columns, large_text
from bench.console.drawings.styled_text import (
    Block,
    Line,
    Role,
    fit,
    plain,
    width,
    wrap,
)
from bench.console.instrument_view import STATE_WORDS
from bench.console.view_model import ViewModel
from bench.console.widgets.viewer import Viewer
from bench.protocol import Finding, LiveMoveNotice
from bench.render import result
from bench.render.finding import shown_way
from bench.render.names import quantity_name
from bench.render.template import WAYS
from bench.units import rounded_words

ASIDE_WIDE = 21  # columns beside the figure for its unit, its way and the travel
NARROW_FIGURE = 56  # columns under which they stand below it
# of digits
FIGURE_ROLES: dict[Role, Role] = {"bad": "bad-figure", "unsure": "unsure-figure"}
ASIDE_NARROW = 13  # columns beside it where there is no row below it
ASIDE_ROWS = 7  # rows


def large_figure(
    text: str, role: Role, aside: Block, wide: int, high: int, glyphs: GlyphSet
) -> Block:
    """As large as there is room; beside it, or where narrow below it, stand its unit
    and a few short lines."""
    aside, narrow = aside[:ASIDE_ROWS], wide < NARROW_FIGURE
    below = narrow and high > ROWS["small"]
    room = wide - (2 if below else 1 + (ASIDE_NARROW if narrow else ASIDE_WIDE))
    size = _size(text, room, high - below)
    if size is None or not text.strip("-"):
        return [[(f" {text} ", role), *_in_a_row(aside, wide - len(text) - 2)]]
    if narrow and not below:
        aside = _folded(aside, high)
    rows, ink = large_text(text, size, glyphs), FIGURE_ROLES.get(role, role)
    top = (high - below - len(rows)) // 2
    figure: Block = [[(" " + row.rjust(room), ink)] for row in rows]
    block: Block = [*([] for _ in range(top)), *figure]
    if below:
        return [*block, _in_a_row(aside, wide)]
    block += [[] for _ in range(high - len(block))]
    lead = max(0, (high - len(aside)) // 2 if len(aside) < len(rows) else top)
    for n, line in enumerate(block):
        beside = aside[n - lead] if 0 <= n - lead < len(aside) else []
        block[n] = [*fit(line, room + 1), (" " if narrow else "  ", "text"), *beside]
    return block


def _folded(aside: Block, high: int) -> Block:
    """The lines in the few columns beside a figure, as many as are there in whole; no
    number is parted from its unit, which one at the end of its line has not."""
    out: Block = []
    for line in aside:
        text = plain(line)
        lines = wrap(text, ASIDE_NARROW - 1, line[0][1])
        unit = any(sign.isdigit() for sign in text) and not text[-1].isdigit()
        parted = len(lines) > 1 and unit
        if parted or len(out) + len(lines) > high:
            break
        out += lines
    return out


def _size(text: str, wide: int, high: int) -> str | None:
    """The size of digits that fits; None where only a row of text does."""
    for size in ("huge", "large", "small"):
        if ROWS[size] <= high and columns(text, size) <= wide:
            return size
    return None


def _in_a_row(parts: Block, wide: int) -> Line:
    """Unit and way in one row under the figures, or behind them."""
    line: Line = [(" ", "text")]
    for n, part in enumerate(parts):
        if n and width(line) + width(part) + 2 > wide:
            break
        line.extend([(", " if n else "", "faint"), *part])
    return fit(line, wide)


def _room(wide: int) -> int:
    return wide - 12 if wide < NARROW_FIGURE else ASIDE_WIDE - 3


# ---- the live number -----------------------------------------------------------------


def live_figure(v: Viewer, wide: int, high: int) -> Block:
    """The number of the instrument that is looked at."""
    text, role = _number(v.view)
    return large_figure(text, role, _beside(v.view, _room(wide)), wide, high, v.glyphs)


def _number(view: ViewModel) -> tuple[str, Role]:
    shown = view.shown
    if shown is None or not view.online or not shown.live:
        return "---", "stale"
    fresh = shown.fresh(view.clock())
    return readout.number(shown, view.units)[0], "number" if fresh else "stale"


def _beside(view: ViewModel, room: int) -> Block:
    shown = view.shown
    if shown is None or not view.online:
        return [[("no reading", "unsure")]]
    unit = readout.number(shown, view.units)[1]
    name = "" if shown.role == "cable" else f" {shown.name}"
    words, role = shown.way(), "text"
    if not shown.live:
        words, role = STATE_WORDS.get(shown.state, shown.state), "unsure"
    elif not shown.fresh(view.clock()) and shown.at is not None:
        words, role = readout.age(view.clock() - shown.at), "unsure"
    head: Line = [(unit + name, "strong")]
    way = wrap(words, room, role)  # type: ignore[arg-type]
    return [head, *way, *travel_lines(view)][:4]


def check_figure(v: Viewer, wide: int, high: int) -> Block:
    """In a check the live number; or what alone differs from the set-up before, where
    that is all the person must look for: the angle or the place to go to."""
    view, prompt, room = v.view, v.view.current_prompt, _room(wide)
    aside, focus = _beside(view, room), prompt.focus_words
    figures, _, word = focus.partition(" ")
    goes = prompt.phase in ("place", "spot", "width")
    if goes and figures.replace(".", "").replace("-", "").isdigit():
        number, shown = "---", view.shown
        if shown is not None and shown.live:
            number = " ".join(readout.number(shown, view.units))
        name = shown.name if shown is not None else ""
        head = word if word == "degrees" else f"{word}: go there"
        aside = [[(head, "act")], [(f"{number} {name}", "text")], *aside[1:2]]
        return large_figure(figures, "number", aside, wide, high, v.glyphs)
    lead = wrap(focus, room, "act") if focus else []
    text, role = _number(view)
    return large_figure(text, role, [*lead, *aside], wide, high, v.glyphs)


# ---- the live move -------------------------------------------------------------------


def distance_figure(v: Viewer, wide: int, high: int) -> Block:
    """The live move: the distance left, and which way."""
    live, units = v.view.live, v.view.units
    if live is None or live.to_go is None or live.phase == "lean":
        return live_figure(v, wide, high)
    left = rounded_words(abs(live.to_go), live.uncertainty or 0.0, units)
    figures, _, unit = left.partition(" ")
    aside = _way_left(live, unit, _room(wide))
    return large_figure(figures, live_role(live), aside, wide, high, v.glyphs)


def live_role(live: LiveMoveNotice) -> Role:
    """Too far is bad only where it is no longer good enough."""
    if live.wrong or (live.past and live.verdict != "inside"):
        return "bad"
    return "good" if live.there else "unsure" if live.past else "number"


def _way_left(live: LiveMoveNotice, unit: str, room: int) -> Block:
    if live.there:
        return [[(f"{unit} to go", "strong")], [("there", "good")]]
    word, back = "too far" if live.past else "to go", live.past or live.wrong
    way = f"{'back: ' * back}{live.end} end {WAYS.get(live.way or '', '')}"
    return [[(f"{unit} {word}", "strong")], *wrap(way, room, "strong")]


# ---- a result ------------------------------------------------------------------------


def result_figure(
    v: Viewer, wide: int, high: int, finding: Finding | None = None
) -> Block:
    """The figure that matters of a result; or CLOSES, where a rip fence does."""
    view = v.view
    found = finding or (view.finding if view.online else None)
    if found is None or not found.quantities:
        return []
    if result.surely_closes(found):
        danger: Block = [[("at the rear", "bad")], [("DANGER: open it", "bad")]]
        return large_figure("CLOSES", "bad", danger, wide, high, v.glyphs)
    q = result.judged(found)
    figures, *lines = result.figure_parts(q, view.units, view.board(found))
    role = readout.verdict_line(found.verdict, v.glyphs)[2]
    way = shown_way(q) or quantity_name(q.name)
    if finding is None and v.requests.moved:
        role, lines, way = "faint", [lines[0], "before the move", *lines[1:]], ""
    elif q.way and found.verdict == "inside" and result.opening(found) is None:
        way = ""  # it is too little to move, whichever way
    head, *others = (line for line in lines if line)
    below: Block = [[(line, "text")] for line in others]
    aside: Block = [[(head, "strong")], *below]
    turns = wrap(way, _room(wide)) if way else []
    if wide < NARROW_FIGURE or len(aside) + len(turns) <= min(high, ASIDE_ROWS):
        aside += turns  # in whole: half a direction misleads
    return large_figure(figures, role, aside, wide, high, v.glyphs)

"""Which bands a screen has, and the whole screen put together from them. Pure.

80 x 24 shows everything; 60 x 20 and 40 x 15 show number, unit, way, state and the next
act; a wide screen shows the budget and earlier results beside.
"""

from __future__ import annotations

import msgspec

from bench.console import (
    check_view,
    first_start,
    live_move_view,
    pages,
    panes,
    result_view,
)
from bench.console.actions import shown
from bench.console.at_desk import Action
from bench.console.desk import Desk
from bench.console.text import Block, Line, Role, fit, tall
from bench.console.view import View
from bench.console.view_model import ViewModel

# rows of the row of keys: targets for a thumb, three rows by eight columns at the least
BAR = 3
CELL = 8
# signs of what is said of a cable, which a small screen has no room for beside large
# digits
MUCH = 100


class Bands(msgspec.Struct, frozen=True):
    """Rows from the top: (first row, how many)."""

    strip: tuple[int, int]
    number: tuple[int, int]
    where: tuple[int, int]
    content: tuple[int, int]
    said: tuple[int, int]
    bar: tuple[int, int]
    size: str
    tip: int = 0  # rows of what was said that belong to the tip


class Hit(msgspec.Struct):
    """A place to touch: rows and columns (ends excluded), and an action or a row of the
    list."""

    rows: tuple[int, int]
    columns: tuple[int, int]
    action: Action | None = None
    row: int | None = None


class Frame(msgspec.Struct):
    """The screen: exactly `high` lines of `wide` columns."""

    lines: Block
    hits: list[Hit] = msgspec.field(default_factory=list)


def bands(
    wide: int,
    high: int,
    *,
    listing: bool = False,
    reading: bool = False,
    loud: bool = False,
    tip: int = 0,
) -> Bands:
    """listing: a list of rows instead of the number and the guide. reading: there is
    much to read and nothing moves, so that the number gives way: on a small screen it
    takes one row. loud: what was said last must not be cut. tip: rows of it."""
    size = (
        "huge"
        if wide >= 150 and high >= 45
        else "large"
        if wide >= 76 and high >= 22
        else "small"
    )
    if reading and high < 18:
        size = "row"
    elif reading and high < 40:
        size = "small"
    number = 0 if listing else panes.number_rows(wide, size)
    said = 1 + loud if high < 18 else 2 + tip if high < 40 else 3 + tip
    where = 0 if listing else 1
    content = max(1, high - 1 - number - where - said - BAR)
    y = 0
    spans = []
    for rows in (1, number, where, content, said, BAR):
        spans.append((y, rows))
        y += rows
    return Bands(spans[0], spans[1], spans[2], spans[3], spans[4], spans[5], size, tip)


def _bands(desk: Desk, wide: int, high: int) -> Bands:
    ask, state = desk.state.ask, desk.state
    reading = (
        ask is not None and ask.phase in ("cautions", "place") and state.live is None
    )
    if ask is not None and ask.remark and not ask.moving:
        reading = True
    if state.learn is not None and len(state.learn.words) > MUCH:
        reading = True
    tip = len(panes.tip(desk.tip(desk), wide))
    # there is room for both, but not for why the last thing was not kept as well
    if high >= 18:
        reading = ask is not None and ask.remark is not None and not ask.moving
    if high < 18:
        loud = bool(state.notices) and panes.is_loud(state, wide)
        return bands(
            wide,
            high,
            listing=desk.view.page != "work",
            reading=reading,
            loud=loud or tip > 1,
            tip=tip,
        )
    return bands(wide, high, listing=desk.view.page != "work", reading=reading, tip=tip)


def compose(desk: Desk, wide: int, high: int) -> Frame:
    """Everything, drawn new."""
    listing = desk.view.page != "work"
    b = _bands(desk, wide, high)
    desk.view.wide = wide
    lines: Block = []
    hits: list[Hit] = []
    lines += panes.strip(desk.state, desk.view, wide)
    if listing:
        desk.scrolls = False
        block, where = pages.page(desk, wide, b.content[1])
        lines += block
        for row, index in where.items():
            y = b.content[0] + row
            hits.append(Hit((y, y + 1), (0, wide), row=index))
    else:
        lines += tall(panes.number(desk.state, desk.view, wide, b.size), b.number[1])
        lines += panes.where(desk.state, desk.view, wide)
        lines += _middle(desk.state, desk.view, wide, b.content[1])
        desk.scrolls = not check_view.cautions_read(
            desk.state, desk.view, wide, b.content[1]
        )
    lines += panes.said(
        desk.state, desk.view, wide, b.said[1], desk.tip(desk) if b.tip else ""
    )
    bar, more = key_row(desk, wide, b.bar[0])
    lines += bar
    hits += more
    return Frame([fit(line, wide) for line in tall(lines, high)], hits)


def _middle(state: ViewModel, view: View, wide: int, high: int) -> Block:
    """What to do now: the live move, the first start, the check in progress, or the
    last result."""
    if state.live is not None:
        make = live_move_view.content
    elif state.learn is not None or first_start.next_stage(state, view) is not None:
        make = first_start.content
    elif state.ask is not None:
        make = check_view.content
    else:
        make = result_view.content
    return tall(make(state, view, wide, high), high)


def number_only(desk: Desk, wide: int, high: int) -> tuple[int, Block] | None:
    """First row and lines of the number's band alone: what ten readings a second
    change. None on a list."""
    if desk.view.page != "work":
        return None
    b = _bands(desk, wide, high)
    rows = tall(panes.number(desk.state, desk.view, wide, b.size), b.number[1])
    return b.number[0], [fit(line, wide) for line in rows]


def content_only(desk: Desk, wide: int, high: int) -> tuple[int, Block] | None:
    """The same for the guide with the line as it happens."""
    if desk.view.page != "work":
        return None
    b = _bands(desk, wide, high)
    return b.content[0], [
        fit(line, wide) for line in _middle(desk.state, desk.view, wide, b.content[1])
    ]


def key_row(desk: Desk, wide: int, top: int) -> tuple[Block, list[Hit]]:
    """As many of the keys that do something now as fit; `all keys` is always among
    them."""
    now = desk.now()
    keys = next((a for a in now if a.name == "keys"), None)
    cells: list[tuple[Action, int]] = []
    used = 0
    for action in now:
        wanted = _cell(action, desk)
        spare = (
            0
            if keys is None or keys in (a for a, _ in cells) or action is keys
            else _cell(keys, desk) + 1
        )
        if used + wanted + spare > wide:
            continue
        cells.append((action, wanted))
        used += wanted + 1
    rows: list[Line] = [[], [], []]
    hits: list[Hit] = []
    x = 0
    for action, room in cells:
        first = action.name == "press"
        role: Role = "cap-first" if first else "cap"
        sure = desk.view.sure == action.name
        words = ("sure?" if sure else action.word(desk)).center(room)
        rows[0].append((shown(action.keys[0]).center(room), role))
        rows[1].append((words, role))
        rows[2].append((" " * room, role))
        for row in rows:
            row.append((" ", "text"))
        hits.append(Hit((top, top + BAR), (x, x + room), action=action))
        x += room + 1
    return [fit(row, wide) for row in rows], hits


def _cell(action: Action, desk: Desk) -> int:
    return max(CELL, len(action.word(desk)) + 2, len(shown(action.keys[0])) + 2)

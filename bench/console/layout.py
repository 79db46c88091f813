"""The layout: which part of the screen has which rows, and the whole screen composed.

80 x 24 shows everything; 60 x 20 and 40 x 15 show number, unit, way, state and the next
act; a wide screen shows the budget and earlier results beside.
"""

from __future__ import annotations

import msgspec

from bench.console import (
    check_view,
    first_start,
    first_start_view,
    list_pages,
    live_move_view,
    panels,
    result_view,
)
from bench.console.action import Action
from bench.console.actions import shown
from bench.console.controller import ScreenController
from bench.console.navigation import Navigation
from bench.console.number_panel import number_panel, number_rows
from bench.console.text import Block, Line, Role, fit, fit_height
from bench.console.view_model import ViewModel

# rows of the row of keys: targets for a thumb, three rows by eight columns at the least
BAR = 3
CELL = 8
# signs of what is said of a cable, which a small screen has no room for beside large
# digits
MUCH = 100


class Layout(msgspec.Struct, frozen=True):
    """Rows from the top: (first row, how many)."""

    strip: tuple[int, int]
    number: tuple[int, int]
    where: tuple[int, int]
    content: tuple[int, int]
    said: tuple[int, int]
    bar: tuple[int, int]
    size: str
    tip: int = 0  # rows of what was said that belong to the tip


class TouchTarget(msgspec.Struct):
    """A place to touch: rows and columns (ends excluded), and an action or a row of the
    list."""

    rows: tuple[int, int]
    columns: tuple[int, int]
    action: Action | None = None
    row: int | None = None


class Frame(msgspec.Struct):
    """The screen: exactly `high` lines of `wide` columns."""

    lines: Block
    targets: list[TouchTarget] = msgspec.field(default_factory=list)


def lay_out(
    wide: int,
    high: int,
    *,
    listing: bool = False,
    reading: bool = False,
    loud: bool = False,
    tip: int = 0,
) -> Layout:
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
    number = 0 if listing else number_rows(wide, size)
    said = 1 + loud if high < 18 else 2 + tip if high < 40 else 3 + tip
    where = 0 if listing else 1
    content = max(1, high - 1 - number - where - said - BAR)
    y = 0
    spans = []
    for rows in (1, number, where, content, said, BAR):
        spans.append((y, rows))
        y += rows
    return Layout(spans[0], spans[1], spans[2], spans[3], spans[4], spans[5], size, tip)


def _layout(controller: ScreenController, wide: int, high: int) -> Layout:
    ask, state = controller.state.ask, controller.state
    reading = (
        ask is not None and ask.phase in ("cautions", "place") and state.live is None
    )
    if ask is not None and ask.remark and not ask.moving:
        reading = True
    if state.learn is not None and len(state.learn.words) > MUCH:
        reading = True
    tip = len(panels.tip_lines(controller.tip(controller), wide))
    # there is room for both, but not for why the last thing was not kept as well
    if high >= 18:
        reading = ask is not None and ask.remark is not None and not ask.moving
    if high < 18:
        loud = bool(state.notices) and panels.is_loud(state, wide)
        return lay_out(
            wide,
            high,
            listing=controller.navigation.page != "work",
            reading=reading,
            loud=loud or tip > 1,
            tip=tip,
        )
    return lay_out(
        wide,
        high,
        listing=controller.navigation.page != "work",
        reading=reading,
        tip=tip,
    )


def compose(controller: ScreenController, wide: int, high: int) -> Frame:
    """Everything, drawn new."""
    listing = controller.navigation.page != "work"
    b = _layout(controller, wide, high)
    controller.navigation.wide = wide
    lines: Block = []
    targets: list[TouchTarget] = []
    lines += panels.status_strip(controller.state, controller.navigation, wide)
    if listing:
        controller.scrolls = False
        block, where = list_pages.page(controller, wide, b.content[1])
        lines += block
        for row, index in where.items():
            y = b.content[0] + row
            targets.append(TouchTarget((y, y + 1), (0, wide), row=index))
    else:
        lines += fit_height(
            number_panel(controller.state, controller.navigation, wide, b.size),
            b.number[1],
        )
        lines += panels.progress_line(controller.state, controller.navigation, wide)
        lines += _middle(controller.state, controller.navigation, wide, b.content[1])
        controller.scrolls = not check_view.cautions_read(
            controller.state, controller.navigation, wide, b.content[1]
        )
    lines += panels.notice_panel(
        controller.state,
        controller.navigation,
        wide,
        b.said[1],
        controller.tip(controller) if b.tip else "",
    )
    bar, more = key_row(controller, wide, b.bar[0])
    lines += bar
    targets += more
    return Frame([fit(line, wide) for line in fit_height(lines, high)], targets)


def _middle(state: ViewModel, navigation: Navigation, wide: int, high: int) -> Block:
    """What to do now: the live move, the first start, the check in progress, or the
    last result."""
    if state.live is not None:
        make = live_move_view.content
    elif (
        state.learn is not None or first_start.next_stage(state, navigation) is not None
    ):
        make = first_start_view.content
    elif state.ask is not None:
        make = check_view.content
    else:
        make = result_view.content
    return fit_height(make(state, navigation, wide, high), high)


def number_only(
    controller: ScreenController, wide: int, high: int
) -> tuple[int, Block] | None:
    """First row and lines of the number's band alone: what ten readings a second
    change. None on a list."""
    if controller.navigation.page != "work":
        return None
    b = _layout(controller, wide, high)
    rows = fit_height(
        number_panel(controller.state, controller.navigation, wide, b.size),
        b.number[1],
    )
    return b.number[0], [fit(line, wide) for line in rows]


def content_only(
    controller: ScreenController, wide: int, high: int
) -> tuple[int, Block] | None:
    """The same for the guide with the line as it happens."""
    if controller.navigation.page != "work":
        return None
    b = _layout(controller, wide, high)
    return b.content[0], [
        fit(line, wide)
        for line in _middle(controller.state, controller.navigation, wide, b.content[1])
    ]


def key_row(
    controller: ScreenController, wide: int, top: int
) -> tuple[Block, list[TouchTarget]]:
    """As many of the keys that do something now as fit; `all keys` is always among
    them."""
    now = controller.available_actions()
    keys = next((a for a in now if a.name == "keys"), None)
    cells: list[tuple[Action, int]] = []
    used = 0
    for action in now:
        wanted = _cell(action, controller)
        spare = (
            0
            if keys is None or keys in (a for a, _ in cells) or action is keys
            else _cell(keys, controller) + 1
        )
        if used + wanted + spare > wide:
            continue
        cells.append((action, wanted))
        used += wanted + 1
    rows: list[Line] = [[], [], []]
    targets: list[TouchTarget] = []
    x = 0
    for action, room in cells:
        first = action.name == "press"
        role: Role = "cap-first" if first else "cap"
        sure = controller.navigation.sure == action.name
        words = ("sure?" if sure else action.word(controller)).center(room)
        rows[0].append((shown(action.keys[0]).center(room), role))
        rows[1].append((words, role))
        rows[2].append((" " * room, role))
        for row in rows:
            row.append((" ", "text"))
        targets.append(TouchTarget((top, top + BAR), (x, x + room), action=action))
        x += room + 1
    return [fit(row, wide) for row in rows], targets


def _cell(action: Action, controller: ScreenController) -> int:
    return max(CELL, len(action.word(controller)) + 2, len(shown(action.keys[0])) + 2)

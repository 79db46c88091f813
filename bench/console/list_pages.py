"""The pages that are lists, and the list of all keys.

A page is a title and rows; a row is taken by its digit, or by Enter.
"""

from __future__ import annotations

from bench.console import first_start, result_view, sleds
from bench.console.action import Controller
from bench.console.actions import shown
from bench.console.check_pages import check_rows, option_rows
from bench.console.list_layout import lay_out_rows
from bench.console.navigation import ListRow
from bench.console.result_pages import (
    limits,
    live_rows,
    move_rows,
    move_words,
    note_rows,
    past_rows,
)
from bench.console.set_up_drawing import indicator_on_sled
from bench.console.text import Block, fit_height
from bench.render.result import (
    name,
    upper_first,
)
from bench.units import length_words

_TITLES = {
    "checks": "Which check?",
    "options": "How",
    "past": "Results of",
    "limits": "What limits the result",
    "notes": "What the daemon noted",
    "move": "The move",
    "live": "How does the indicator stand on the sled?",
    "sleds": "Sleds",
    "sled": "The sled",
    "mine": "Is this yours?",
    "cables": "Cables",
    "keys": "All keys",
}


def rows(controller: Controller) -> list[ListRow]:
    make = {
        "checks": check_rows,
        "options": option_rows,
        "past": past_rows,
        "notes": note_rows,
        "move": move_rows,
        "live": live_rows,
        "sleds": sleds.sleds,
        "sled": sleds.sled,
        "mine": sleds.mine,
        "cables": first_start.cables,
        "keys": _keys,
    }.get(controller.navigation.page)
    return make(controller) if make is not None else []


def page(controller: Controller, wide: int, high: int) -> tuple[Block, dict[int, int]]:
    """The page as rows of the screen, and which screen row belongs to which row of the
    list."""
    navigation, state = controller.navigation, controller.state
    title = _TITLES.get(navigation.page, navigation.page)
    if navigation.page == "past":
        title = f"{title} {state.the_jig or 'all sleds'}"
        board = state.widest_board()
        if board is not None and wide >= 60:
            title += f", sled fence across {length_words(board, state.units)}"
    if navigation.page == "options" and navigation.kind is not None:
        title = upper_first(name(navigation.kind))
    head: Block = [[(f" {title}", "strong")]]
    if navigation.page == "limits" and state.finding is not None:
        return fit_height([*head, *limits(controller, wide, high - 1)], high), {}
    if navigation.page == "past" and navigation.shown is not None:
        found = next(
            (f for f in controller.state.past_findings if f.id == navigation.shown),
            None,
        )
        if found is not None:
            return (
                fit_height(
                    [
                        *head,
                        *result_view.result(state, found, navigation, wide, high - 1),
                    ],
                    high,
                ),
                {},
            )
    if navigation.page == "move" and state.finding is not None:
        head += move_words(controller, state.finding, wide)
    listed = rows(controller)
    # short of room the rows that can be taken go first
    head = head[: max(1, high - min(4, len(listed)))]
    if not listed:
        return fit_height([*head, [(" Nothing here yet.", "faint")]], high), {}
    drawn = _drawn(controller, wide, high, len(head) + len(listed))
    body, where = lay_out_rows(
        navigation, listed, wide, max(3, high - len(head) - len(drawn))
    )
    navigation.rows_seen = min(where.values()), max(where.values())
    return fit_height([*head, *body, *drawn], high), {
        row + len(head): index for row, index in where.items()
    }


def _drawn(controller: Controller, wide: int, high: int, used: int) -> Block:
    """What stands below the rows: the sled as described, how the indicator stands,
    where the leaves go."""
    navigation, state = controller.navigation, controller.state
    if navigation.page in ("sled", "mine"):
        return sleds.drawn(controller, wide, high)
    if wide < 40 or high - used < 8 or navigation.page not in ("live", "move"):
        return []
    jig = state.jig_gear(state.finding.jig if state.finding is not None else None)
    if navigation.page == "live":
        how = ("beyond", "behind", "right", "left")[max(0, min(navigation.cursor, 3))]
        return indicator_on_sled(how, jig, wide - 2, navigation.glyphs)
    words = (
        "Seen from above, you stand at the bottom; leaves go at the"
        f" {navigation.glyphs.up_mark}."
    )
    return (
        sleds.seen_from_above(jig, navigation.glyphs, min(wide - 2, 64), words)
        if jig is not None
        else []
    )


# ---- the pages -----------------------------------------------------------------------


def _keys(controller: Controller) -> list[ListRow]:
    """Every action there is; those that would do nothing now are faint."""
    out = []
    for action in controller.actions:
        keys = " or ".join(shown(key) for key in action.keys[:2])
        can = action.can(controller)

        def run(action=action, can=can) -> None:  # type: ignore[no-untyped-def]
            controller.navigation.home()
            if can:
                controller.do(action)

        out.append(ListRow(f"{keys}: {action.help}", run, "text" if can else "faint"))
    return out

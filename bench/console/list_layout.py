"""How a list of rows stands on the screen, as roomy as it fits, for a thumb."""

from __future__ import annotations

from collections.abc import Sequence

from bench.console.navigation import ListRow, Navigation
from bench.console.text import Block, Role, cut, fit, plain, wrap

# how much room a row has; the numbers are rows at the least
ROOMY, WITH_MORE, WHOLE, SHORT = 3, 2, 1, 0
# lines at the most of the row that Enter takes, where the others are cut to one
CHOSEN = 3


def lay_out_rows(
    navigation: Navigation, rows: Sequence[ListRow], wide: int, high: int
) -> tuple[Block, dict[int, int]]:
    """At most `high` lines, the chosen row among them, and which line belongs to which
    row."""
    navigation.cursor = max(0, min(navigation.cursor, len(rows) - 1))
    for room in (ROOMY, WITH_MORE, WHOLE, SHORT):
        blocks = [
            _row(navigation, row, index, wide, room) for index, row in enumerate(rows)
        ]
        if sum(map(len, blocks)) <= high:
            break
    first = navigation.cursor
    used = len(blocks[first])
    while first > 0 and used + len(blocks[first - 1]) <= high - (
        1 if navigation.cursor < len(blocks) - 1 else 0
    ):
        first -= 1
        used += len(blocks[first])
    out: Block = []
    where: dict[int, int] = {}
    for index in range(first, len(blocks)):
        if len(out) + len(blocks[index]) > high:
            break
        where.update((len(out) + n, index) for n in range(len(blocks[index])))
        out += blocks[index]
    return out, where


def _row(
    navigation: Navigation, row: ListRow, index: int, wide: int, room: int
) -> Block:
    chosen = index == navigation.cursor
    role: Role = "chosen" if chosen else row.role
    number = f"{index + 1}" if index < 9 else " "
    mark = navigation.glyphs.right_mark if chosen else " "
    lines = _words(navigation, row, wide - 4, room, chosen)
    out: Block = [
        fit(
            [(f"{mark}{number} " if n == 0 else "   ", role), (line, role)],
            wide - 1,
            role,
        )
        for n, line in enumerate(lines)
    ]
    if row.more and room >= WITH_MORE:
        more = wrap(row.more, wide - 5, "faint")[: 2 if room == ROOMY else 1]
        out += [[("   ", "faint"), *line] for line in more]
    return [*out, *([] for _ in range(room - len(out)))]


def _words(
    navigation: Navigation, row: ListRow, wide: int, room: int, chosen: bool
) -> list[str]:
    value = row.value
    if row.field is not None and row.field == navigation.typing:
        value = f"{navigation.typed}_"
    words = row.words if value is None else f"{row.words}: {value}"
    whole = [plain(line) for line in wrap(words, wide)]
    if room > SHORT or (chosen and len(whole) <= CHOSEN):
        return whole
    if value is None:
        return [cut(words, wide)]
    value = cut(value, wide - 4)
    return [f"{cut(row.words, wide - 2 - len(value))}: {value}"]

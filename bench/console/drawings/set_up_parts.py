"""The parts that drawings of set-ups share: indicator, blade, arrows of what moves."""

from __future__ import annotations

import msgspec

from bench.console.drawings.canvas import Canvas
from bench.protocol import Jig, Prompt

MOUNTS = {"standing": "on the table", "carried": "goes along", "still": "stays put"}
INDICATOR = "indicator"
ARROW = 5  # columns


class SetUp(msgspec.Struct, frozen=True):
    """The canvas of a drawing and the data for it. names: the parts of the codes of
    picture and placement. at: the number of the place, empty where there is none."""

    c: Canvas
    prompt: Prompt
    jig: Jig | None
    names: set[str]
    at: str

    @property
    def far(self) -> bool:
        """True where the sled fence stands on the far side of the board."""
        return self.jig is not None and self.jig.fence == "far"

    @property
    def right(self) -> bool:
        """True where the indicator stands right of the surface that it touches."""
        return self.prompt.side != "left"

    @property
    def pushes(self) -> str:
        """The thing that is pushed in a pass; empty for one reading, and while it is
        leaned or the stand is tapped."""
        one = self.prompt.gather in ("spot", "width") or self.prompt.phase in (
            "lean",
            "tap",
        )
        return "" if one else self.prompt.pushed


def draw_indicator(s: SetUp, touch: int, row: int, reach: int = 4) -> None:
    """The plunger touches column `touch`, from the side that is asked for; below it,
    how it stands, or that it is what is pushed."""
    c, step, how = s.c, 1 if s.right else -1, MOUNTS.get(s.prompt.mount or "", "")
    if s.pushes == "indicator":
        how = f"push it {c.glyphs.up_mark}"
    room = c.wide - touch - 1 if s.right else touch
    reach = max(1, min(reach, room - len(INDICATOR)))
    c.arrow(touch + step, row, reach, s.right, "probe")
    label = touch + 1 + reach if s.right else touch - reach - len(INDICATOR)
    c.words(label, row, INDICATOR, "probe")
    c.label(touch + 2 * step, row + 1, how, "faint", "left" if s.right else "right")


def draw_blade(s: SetUp, x: int, first: int, last: int, label: int = 0) -> None:
    """The blade from above, its name in row `label`."""
    s.c.upright(x, first, last, "steel")
    s.c.label(x, label, "blade", "faint", at="middle")


def draw_pushed(s: SetUp, right: bool, top: int = 1) -> None:
    """An arrow at an edge for the way in which the sled is pushed."""
    if s.pushes != "sled":
        return
    c, edge = s.c, "right" if right else "left"
    column, below = c.wide - 2 if right else 1, top > 1
    c.words(column, top, c.glyphs.up_mark, "strong")
    c.upright(column, top + 1, c.high - (2 if below else 4), "rule")
    row, words = c.high - 1 if below else 0, "push sled"
    where = s.at.replace("at", "to") if s.prompt.mark is not None else ""
    if where and c.label(column, row, f"{words} {where}", "strong", at=edge):
        return
    c.label(column, row, words, "strong", at=edge)
    beside = column - 4 if right else column + 4  # past a blade that stands there
    other = (1, "left") if right else (c.wide - 2, "right")
    rows = range(top + 2, c.high - 2)
    if not c.label_where_free(where, "strong", *((beside, y, edge) for y in rows)):
        away = ((other[0], y, other[1]) for y in rows)
        c.label_where_free(f"push {where}", "strong", *away)


def draw_pressed(s: SetUp, left: bool, row: int, column: int) -> None:
    """An arrow to the side to which the sled is pressed, its head at `column`."""
    s.c.arrow(column, row, ARROW, left, "act")

"""Where the user is on the screen: the page, the row, the value that is typed."""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import msgspec

from bench.console.glyphs import RICH, GlyphSet
from bench.console.text import Role

Page = Literal[
    "work",
    "checks",
    "options",
    "past",
    "notes",
    "limits",
    "move",
    "live",
    "sleds",
    "sled",
    "mine",
    "cables",
    "keys",
]


class ListRow(msgspec.Struct, frozen=True):
    """One row of a list: its words, and what happens when it is taken."""

    words: str
    take: Callable[[], None] | None = None
    role: Role = "text"
    more: str = ""  # a second, fainter line
    field: str | None = None  # a value that is typed
    value: str | None = None  # stands behind the words, and is not cut


class Navigation(msgspec.Struct):
    page: Page = "work"
    cursor: int = 0
    stack: list[Page] = msgspec.field(default_factory=list)
    glyphs: GlyphSet = RICH
    kind: str | None = None  # the check whose options are open
    options: dict[str, str] = msgspec.field(default_factory=dict)  # as typed or chosen
    pushes: int | None = None  # a set-up; None: as many as the check asks for
    lean: bool = True
    tap: bool = False
    shown: str | None = None  # id of a past result that is looked at
    typing: str | None = None  # which field
    typed: str = ""
    sure: str | None = None  # an action that asks whether it is meant
    sure_key: str = ""  # the key that asked, which is no answer
    sure_at: float = 0.0  # s: when it was asked, or a key came too soon after that
    wide: int = 80  # columns of the screen
    # the drawing in place of the words, where they do not both fit
    picture: bool = False
    scroll: int = 0
    # first and last row of the list that stand on the screen
    rows_seen: tuple[int, int] = (0, 0)
    # the sled being described
    sled: dict[str, str] = msgspec.field(default_factory=dict)
    looked: bool = False  # its drawing stands beside what is typed
    verifies: str | None = None  # the finding whose move was made just now
    first_start: bool = False  # the guide goes from one thing to the next by itself
    skipped: frozenset[str] = frozenset()  # things of it that are not wanted now
    leaf: float = 0.10  # mm: the leaf of the proof

    def go(self, page: Page) -> None:
        if page != self.page:
            self.stack.append(self.page)
        self.page, self.cursor, self.scroll, self.typing, self.typed = (
            page,
            0,
            0,
            None,
            "",
        )

    def back(self) -> None:
        if self.typing is not None:
            self.typing, self.typed = None, ""
            return
        self.page = self.stack.pop() if self.stack else "work"
        self.cursor = self.scroll = 0

    def home(self) -> None:
        self.stack.clear()
        self.page = "work"
        self.cursor = self.scroll = 0
        self.typing, self.typed, self.shown = None, "", None

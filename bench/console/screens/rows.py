"""A page that is a list of rows: each is taken by its digit, by Enter or by touch."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar

import msgspec
from textual import on
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from bench.console.host import LOW
from bench.console.screens.base import ConsoleScreen
from bench.console.screens.value import ValueScreen
from bench.console.widgets.act_bar import Act


class Row(msgspec.Struct, frozen=True):
    """`take`: what happens when it is taken; None where it is only read. more: a
    second, fainter line. value: stands behind the words. leads: the row that is asked
    for."""

    words: str
    take: Callable[[], None] | None = None
    more: str = ""
    value: str | None = None
    leads: bool = False
    faint: bool = False


class RowsScreen(ConsoleScreen[None]):
    """A subclass gives title and rows; they are made anew when what it shows has
    changed."""

    AUTO_FOCUS = "OptionList"
    title_words: ClassVar[str] = ""
    watches: ClassVar[frozenset[str]] = frozenset({"gear"})
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("full_stop,escape,0,left", "leave", "back", key_display="."),
        Binding("plus", "further", "further", key_display="+"),
        *(
            Binding(str(n), f"take({n - 1})", f"row {n}", show=False)
            for n in range(1, 10)
        ),
        Binding("j", "further", "down", show=False),
        Binding("k", "nearer", "up", show=False),
    ]

    def body(self) -> Iterable[Widget]:
        yield Static(self.heading(), id="title", markup=False)
        yield OptionList(id="rows", compact=True, markup=False)
        yield from self.below()

    def heading(self) -> str:
        return self.title_words

    def below(self) -> Iterable[Widget]:
        """What stands below the rows."""
        return ()

    def rows(self) -> list[Row]:
        raise NotImplementedError

    def acts(self) -> list[Act]:
        return [Act("Enter", "take it", "taken"), Act(".", "back", "leave")]

    # ---- the rows --------------------------------------------------------------------

    def on_mount(self) -> None:
        super().on_mount()
        self._rows: list[Row] = []
        self.fill()

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        if self._rows:
            self.query_one(OptionList).highlighted = 0

    def view_changed(self, changed: frozenset[str]) -> None:
        if changed & self.watches or "all" in changed:
            self.fill()

    def fill(self) -> None:
        """Make the rows anew; the one that is highlighted stays so."""
        rows = self.rows()
        if [(r.words, r.more, r.value) for r in rows] == [
            (r.words, r.more, r.value) for r in self._rows
        ]:
            self._rows = rows
            return
        self._rows = rows
        options = self.query_one(OptionList)
        short = self.app.size.height < LOW
        at = options.highlighted or 0
        options.clear_options()
        options.add_options(Option(_content(n, r, short)) for n, r in enumerate(rows))
        if rows:
            options.highlighted = min(at, len(rows) - 1)
        else:
            options.add_option(Option("Nothing here yet.", disabled=True))

    def take(self, index: int) -> None:
        if 0 <= index < len(self._rows):
            self.query_one(OptionList).highlighted = index
            row = self._rows[index]
            if row.take is not None:
                row.take()

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        self.take(event.option_index)

    def _go(self, screen: Screen[None]) -> None:
        self.app.push_screen(screen)

    def ask(
        self, words: str, value: str, accept: Callable[[str], None], hint: str = ""
    ) -> None:
        """A value is typed; `accept` keeps it, or raises with words for the person."""
        self.app.push_screen(ValueScreen(words, value, accept, hint), self._typed)

    def _typed(self, text: str | None) -> None:
        self.fill()

    # ---- keys ------------------------------------------------------------------------

    def action_taken(self) -> None:
        self.query_one(OptionList).action_select()

    def action_take(self, index: int) -> None:
        self.take(index)

    def action_further(self) -> None:
        self.query_one(OptionList).action_cursor_down()

    def action_nearer(self) -> None:
        self.query_one(OptionList).action_cursor_up()

    def action_leave(self) -> None:
        self.dismiss()


def _content(index: int, row: Row, short: bool) -> Content:
    """`1  Words: value`, and the fainter line below where it is not to be short."""
    digit = f"{index + 1}  " if index < 9 else "   "
    style = "bold" if row.leads else "$faint" if row.faint else ""
    value = "" if row.value is None else f": {row.value}"
    line = Content.styled(f"{digit}{row.words}{value}", style)
    if not row.more or (short and row.take is not None):
        return line
    return Content.assemble(line, "\n", (f"   {row.more}", "$faint"))

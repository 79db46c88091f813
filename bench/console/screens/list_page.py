"""A page that is a list of rows: each is taken by its digit, by Enter or by touch."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from typing import Any, ClassVar

import msgspec
from textual import on
from textual.binding import Binding, BindingType
from textual.containers import Container
from textual.content import Content
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from bench.console.drawings.styled_text import plain, wrap
from bench.console.host import LOW, TALL
from bench.console.screens.base import Page
from bench.console.screens.value import Kind, ValueScreen, value_hint, with_unit
from bench.console.widgets.act_bar import Act
from bench.console.widgets.detail_pane import Detail, DetailPane
from bench.console.widgets.pad import Pad

EDGES = 2  # columns to either side of a list
ROWS_BESIDE = 8  # rows of a screen that stand beside the list
Take = Callable[[], object]


class Row(msgspec.Struct, frozen=True):
    """`take`: what happens when it is taken; None where it is only read. more: a
    second line. value: stands behind the words. leads: the row that is asked for.
    key: what takes it, where that is not its place. detail: what stands beside it."""

    words: str
    take: Take | None = None
    more: str = ""
    value: str | None = None
    leads: bool = False
    key: str = ""
    detail: Detail | None = None


class ListPage(Page):
    """A subclass gives title and rows; they are made anew when what it shows has
    changed."""

    AUTO_FOCUS = "OptionList"
    title_words: ClassVar[str] = ""
    drawn: ClassVar[bool] = False  # what a row is about is shown on every screen
    over_when_typed: ClassVar[bool] = False  # a value that is typed ends the page
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("plus", "further", "further", key_display="+"),
        *(
            Binding(str(n), f"take({n - 1})", f"row {n}", show=False)
            for n in range(1, 10)
        ),
    ]

    # A key may come before the rows are there: it takes nothing then.
    _rows: Sequence[Row] = ()
    _filled: object = None  # what stands in the list
    _typing = False  # a value, after which the list stands where it stood

    def body(self) -> Iterable[Widget]:
        yield Static(self.heading(), id="title", markup=False)
        yield from self.above()
        rows = OptionList(id="rows", compact=True, markup=False)
        yield Container(rows, DetailPane(), id="list")

    def heading(self) -> str:
        return self.title_words

    def above(self) -> Iterable[Widget]:
        """The widgets above the rows."""
        return ()

    def detail(self) -> Detail:
        """The detail of a row that has none of its own."""
        return Detail()

    def rows(self) -> list[Row]:
        raise NotImplementedError

    def acts(self) -> list[Act]:
        choose = Act("Enter", "choose", "taken")
        if self.has_class("-touch"):  # a row is chosen by a tap on it
            choose = Act("+", "further", "read_on")
        return [choose, Act(".", "back", "leave")]

    def opens(self, make: Callable[..., Screen[Any]], *given: object) -> Take:
        """An act that puts up another screen."""
        return lambda: self.app.push_screen(make(*given))

    def _boxes(self) -> Iterable[Widget]:
        return self.query(OptionList)

    def choose_parts(self) -> None:
        self.set_class(self.drawn, "-drawn")

    # ---- the rows --------------------------------------------------------------------

    def on_mount(self) -> None:
        super().on_mount()
        self.fill()

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        if not self._typing:
            self.query_one(OptionList).action_first()
        self._typing = False

    def state_changed(self) -> None:
        self.fill()

    def fill(self) -> None:
        """Make the rows anew; the one that is highlighted stays so."""
        rows, high = self.rows(), self.app.size.height
        if sum(1 + bool(row.more) for row in rows) > high - ROWS_BESIDE:
            high = min(high, LOW - 1)  # all of them without the second lines
        wide = max([3, *(len(row.key) + 2 for row in rows)])  # columns of the keys
        room = self.app.size.width // (1 + self.has_class("-wide")) - EDGES - wide
        form = high, wide, room, self.has_class("-touch")
        filled = form, [(row.words, row.more, row.value) for row in rows]
        self._rows = rows
        if filled == self._filled:
            self.show_detail()
            return
        self._filled = filled
        options = self.query_one(OptionList)
        at = options.highlighted or 0
        options.clear_options()
        options.add_options(
            Option(_content(n, row, *form), disabled=row.take is None)
            for n, row in enumerate(rows or [Row("Nothing here yet.")])
        )
        if at < len(rows) and rows[at].take is not None:
            options.highlighted = at
        else:
            options.action_first()

    @on(OptionList.OptionHighlighted)
    def show_detail(self) -> None:
        """Show what the highlighted row is about."""
        at = self.query_one(OptionList).highlighted
        row = self._rows[at] if at is not None and at < len(self._rows) else None
        detail = row.detail if row is not None else None
        self.query_one(DetailPane).show_detail(detail or self.detail())

    def take(self, index: int) -> None:
        """Once, where Enter is pressed again before the next page is there."""
        take = self._rows[index].take if index < len(self._rows) else None
        if take is not None and self.app.screen is self:
            self.query_one(OptionList).highlighted = index
            take()

    @on(OptionList.OptionSelected)
    def _selected(self, event: OptionList.OptionSelected) -> None:
        self.take(event.option_index)

    def ask_value(
        self,
        words: str,
        value: str,
        accept: Callable[[str], None],
        kind: Kind = "text",
        hint: str = "",
    ) -> None:
        """A value is typed; `accept` keeps it with its unit, or raises with words for
        the person."""
        units, self._typing = self.view.units, True

        def read(text: str) -> None:
            accept(with_unit(text, kind, units))

        hint = hint or value_hint(kind, units)
        pad = Pad(letters=kind == "text" and not hint) if self.host.touched else None
        self.app.push_screen(ValueScreen(words, value, read, hint, pad), self._typed)

    def _typed(self, text: str | None) -> None:
        if self.over_when_typed and text is not None:
            self.host.go_home()
        else:
            self.fill()

    # ---- keys ------------------------------------------------------------------------

    def action_taken(self) -> None:
        self.query_one(OptionList).action_select()

    def action_take(self, index: int) -> None:
        self.take(index)

    def action_further(self) -> None:
        self.query_one(OptionList).action_cursor_down()


def _content(
    index: int, row: Row, high: int, wide: int, room: int, thumb: bool
) -> Content:
    """`1  Words: value`, and the line below it, each folded below its first word. A low
    screen has no room for that line, a tall one parts the rows; for a thumb each has
    three lines or more. No colour: it would be lost on the row that is chosen."""
    digit = row.key or (str(index + 1) if index < 9 else "")
    words = row.words if row.value is None else f"{row.words}: {row.value}"
    lines = _folded(words, room)
    if row.more and (high >= LOW or row.take is None):
        lines += _folded(row.more, room)
    text = f"{digit:<{wide}}" + f"\n{' ' * wide}".join(lines)
    text = f"\n{text}\n" if thumb else text + "\n" * (high >= TALL)
    return Content.styled(text, "bold" if row.leads else "")


def _folded(text: str, room: int) -> list[str]:
    return [text] if len(text) <= room else [plain(line) for line in wrap(text, room)]

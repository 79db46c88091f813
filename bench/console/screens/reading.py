"""A page that is only read, and left again."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.widget import Widget

from bench.console.screens.base import ConsoleScreen
from bench.console.widgets.act_bar import Act


class ReadingScreen(ConsoleScreen[None]):
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("full_stop,escape,0,left", "leave", "back", key_display="."),
        Binding("plus,pagedown,down", "read_on", "read on", key_display="+"),
    ]

    def body(self) -> Iterable[Widget]:
        yield VerticalScroll(*self.content(), id="page", can_focus=False)

    def content(self) -> Iterable[Widget]:
        raise NotImplementedError

    def acts(self) -> list[Act]:
        return [Act("Enter", "back", "leave")]

    def action_leave(self) -> None:
        self.dismiss()

    def action_read_on(self) -> None:
        self.query_one("#page", VerticalScroll).scroll_page_down(animate=False)

"""Widgets that show the view model: sentences, each in the style of its role."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, cast

from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from bench.console.drawings.glyphs import GlyphSet
from bench.console.host import Host
from bench.console.view_model import ViewModel

STYLES = {
    "text": "",
    "strong": "bold $strong",
    "faint": "$faint",
    "good": "bold $good",
    "bad": "bold $bad",
    "unsure": "bold $unsure",
    "caution": "$caution",
    "act": "bold $strong",
}


class Viewer(Widget):
    """Shows the view model anew whenever one of the parts it watches has changed.
    watches: their names, parted by blanks."""

    def __init__(self, watches: str, **more: Any) -> None:
        super().__init__(**more)
        self._watches = frozenset({"all", *watches.split()})

    @property
    def host(self) -> Host:
        return cast(Host, self.app)

    @property
    def view(self) -> ViewModel:
        return self.host.view

    @property
    def glyphs(self) -> GlyphSet:
        return self.host.glyphs

    def view_changed(self, changed: frozenset[str]) -> None:
        if changed & self._watches:
            self.show_view()

    def show_view(self) -> None:
        """Show what the view model says now."""
        raise NotImplementedError


Sentences = Iterable[tuple[str, str]]  # each with its role
Says = Callable[[Viewer], Sentences]


class TextPanel(Viewer, Static):
    """`says` tells which sentences there are; with none of them it takes no room."""

    def __init__(self, says: Says, watches: str, **more: Any) -> None:
        super().__init__(watches, **more)
        self._says = says
        self._said: list[tuple[str, str]] | None = None

    def on_mount(self) -> None:
        self.show_view()

    def show_view(self) -> None:
        said = [one for one in self._says(self) if one[0]]
        if said == self._said:
            return
        self._said = said
        self.display = bool(said)
        lines = (Content.styled(text, STYLES[role]) for text, role in said)
        self.update(Content("\n").join(lines))

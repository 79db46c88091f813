"""Widgets that show the view model: sentences, each in the style of its role."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from bench.console.host import Hosted
from bench.console.view_model import Change

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


class Viewer(Hosted, Widget):
    """Shows the view model anew whenever that has changed. quick: also when only that
    has changed."""

    def __init__(self, quick: Change | None = None, **more: Any) -> None:
        super().__init__(**more)
        self.quick = quick

    def show_view(self) -> None:
        """Show what the view model says now."""
        raise NotImplementedError


class ReadOn(Hosted, VerticalScroll, can_focus=False):
    """Scrolls what does not fit. How much of it is read decides what the keys do; its
    size is no reactive of Textual, and has to be told."""

    def on_resize(self) -> None:
        self.host.mark("keys")


Sentences = Iterable[tuple[str, str]]  # each with its role
SentenceSource = Callable[[Viewer], Sentences]


class TextPanel(Viewer, Static):
    """`source` gives the sentences; with none of them it takes no room."""

    def __init__(
        self, source: SentenceSource, quick: Change | None = None, **more: Any
    ) -> None:
        super().__init__(quick, **more)
        self._source = source
        self._shown: list[tuple[str, str]] | None = None

    def on_mount(self) -> None:
        self.show_view()

    def show_view(self) -> None:
        sentences = [one for one in self._source(self) if one[0]]
        if sentences == self._shown:
            return
        self._shown = sentences
        self.display = bool(sentences)
        lines = (Content.styled(text, STYLES[role]) for text, role in sentences)
        self.update(Content("\n").join(lines))

"""Sentences of the view model, each in the style of its role."""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content
from textual.widgets import Static

from bench.console.widgets.viewer import Viewer

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


class Words(Viewer, Static):
    """A subclass says which sentences there are; with none of them it takes no room."""

    def sentences(self) -> Iterable[tuple[str, str]]:
        """Each with its role."""
        raise NotImplementedError

    def on_mount(self) -> None:
        self._said: list[tuple[str, str]] | None = None
        self.show_view()

    def show_view(self) -> None:
        said = [one for one in self.sentences() if one[0]]
        if said == self._said:
            return
        self._said = said
        self.display = bool(said)
        self.update(
            Content("\n").join(
                Content.styled(text, STYLES[role]) for text, role in said
            )
        )

    def text(self) -> list[str]:
        return [text for text, _ in self._said or []]

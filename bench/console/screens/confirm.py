"""A question that is answered with yes or no."""

from __future__ import annotations

from time import monotonic
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Static

from bench.console.widgets.act_bar import ActButton

# s after the question, or after a key that came too soon, in which nothing is an answer
TOO_SOON = 0.4


class ConfirmScreen(ModalScreen[bool]):
    """Enter or Y is yes. A key that bounces or is held, and the key that asked, are no
    answer."""

    AUTO_FOCUS = ""
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "yes('enter')", "yes"),
        Binding("y", "yes('y')", "yes"),
        Binding("0,n,escape,full_stop", "no", "no", key_display="0"),
    ]

    def __init__(self, words: str, asked_by: str = "") -> None:
        super().__init__()
        self._words, self._asked_by = words, asked_by
        self._since = monotonic()

    def compose(self) -> ComposeResult:
        with Vertical(id="question"):
            yield Static(self._words, markup=False)
            with Horizontal(id="answers"):
                key = "Y" if self._asked_by == "enter" else "Enter"
                yes = "screen.yes('')"
                yield ActButton(f"{key}  yes", action=yes, id="yes", classes="-leads")
                yield ActButton("0  no", action="screen.no", id="no")

    def on_key(self, event: events.Key) -> None:
        if event.key == self._asked_by:
            self._since = monotonic()

    def action_yes(self, key: str) -> None:
        if key == self._asked_by or monotonic() - self._since < TOO_SOON:
            self._since = monotonic()
        else:
            self.dismiss(True)

    def action_no(self) -> None:
        self.dismiss(False)

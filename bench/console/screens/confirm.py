"""A question that is answered with yes or no."""

from __future__ import annotations

import time
from collections.abc import Callable
from typing import ClassVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Horizontal, Vertical
from textual.screen import ModalScreen
from textual.widgets import Button, Static

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

    def __init__(
        self,
        words: str,
        asked_by: str = "",
        clock: Callable[[], float] = time.monotonic,
    ) -> None:
        super().__init__()
        self._words, self._asked_by = words, asked_by
        self._clock = clock
        self._since = clock()

    def compose(self) -> ComposeResult:
        with Vertical(id="question"):
            yield Static(self._words, markup=False)
            with Horizontal(id="answers"):
                key = "Y" if self._asked_by == "enter" else "Enter"
                yes = Button(f"{key}  yes", id="yes", classes="-leads")
                no = Button("0  no", id="no")
                yes.can_focus = no.can_focus = False
                yield yes
                yield no

    def on_key(self, event: events.Key) -> None:
        if event.key == self._asked_by:
            self._since = self._clock()

    def action_yes(self, key: str) -> None:
        if key == self._asked_by or self._clock() - self._since < TOO_SOON:
            self._since = self._clock()
        else:
            self.dismiss(True)

    def action_no(self) -> None:
        self.dismiss(False)

    @on(Button.Pressed, "#yes")
    def _yes(self) -> None:
        self.action_yes("")

    @on(Button.Pressed, "#no")
    def _no(self) -> None:
        self.action_no()

"""A key of the screen that can be touched: three rows, a target for a thumb."""

from __future__ import annotations

from textual.message import Message
from textual.widgets import Static


class ActButton(Static):
    """It is never focused: keys are the screen's own."""

    class Touched(Message):
        def __init__(self, button: ActButton) -> None:
            super().__init__()
            self.button = button

    def __init__(
        self, label: str = "", *, id: str | None = None, classes: str | None = None
    ) -> None:
        super().__init__(label, id=id, classes=classes, markup=False)
        self.label = label

    def say(self, label: str) -> None:
        if label != self.label:
            self.label = label
            self.update(label)

    def on_click(self) -> None:
        self.post_message(self.Touched(self))

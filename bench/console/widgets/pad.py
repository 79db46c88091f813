"""Keys on the screen, for whoever types a number or a plain name with a finger."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Grid

from bench.console.widgets.act_bar import ActButton

BLANK = "_"  # as it is shown
SIGNS_A_ROW = 4  # signs beside one another
# the signs of each page, row by row, and the key that turns to the next one
PAD_PAGES = (
    ("789.456+123/0-,_", "a-p"),
    ("abcdefghijklmnop", "q-z"),
    ("qrstuvwxyz0123-.", "0-9"),
)


class Pad(Grid):
    """Twenty keys, each a target for a thumb; the screen types them. letters: it begins
    with those."""

    def __init__(self, *, letters: bool) -> None:
        super().__init__()
        self._page = int(letters)

    def compose(self) -> ComposeResult:
        for key in self._keys():
            leads = "-leads" if key == "keep" else ""
            yield ActButton(key, action=self._action(key), classes=leads)

    def _keys(self) -> list[str]:
        """From the upper left, row by row; what is no sign stands at the right."""
        signs, turn = PAD_PAGES[self._page]
        rows = [signs[n : n + SIGNS_A_ROW] for n in range(0, len(signs), SIGNS_A_ROW)]
        ends = ("rub out", "leave", turn, "keep")
        return [key for row, end in zip(rows, ends, strict=True) for key in (*row, end)]

    def _action(self, key: str) -> str:
        if key == PAD_PAGES[self._page][1]:
            return "turn"
        return f"screen.type({' ' if key == BLANK else key!r})"

    def action_turn(self) -> None:
        self._page = (self._page + 1) % len(PAD_PAGES)
        for button, key in zip(self.query(ActButton), self._keys(), strict=True):
            button.label, button.action = key, self._action(key)

"""A value that is typed, by number pad or keyboard."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from bench.console.notices import as_sentence
from bench.protocol import OptionError
from bench.units import UnitsError

LONGEST = 80


class ValueScreen(ModalScreen[str]):
    """`accept` raises UnitsError or OptionError for what is no value; the words are
    shown and the value stays to be mended. Escape, or Enter on nothing, leaves it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "leave it"),
        Binding("minus", "rub_out", "rub out", priority=True, show=False),
    ]

    def __init__(
        self, words: str, value: str, accept: Callable[[str], object], hint: str = ""
    ) -> None:
        super().__init__()
        self._words, self._value, self._accept = words, value, accept
        self._hint = hint or "Enter keeps it, Esc leaves it as it was."

    def compose(self) -> ComposeResult:
        with Vertical(id="question"):
            yield Static(self._words, markup=False)
            yield Input(placeholder=self._value, max_length=LONGEST, id="value")
            yield Static(self._hint, id="hint", markup=False)

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        text = event.value.strip()
        if not text:
            self.dismiss(None)
            return
        try:
            self._accept(text)
        except OptionError as error:
            self._refuse(f"It {error.problem}.")
        except (UnitsError, ValueError) as error:
            self._refuse(as_sentence(str(error)))
        else:
            self.dismiss(text)

    def _refuse(self, words: str) -> None:
        hint = self.query_one("#hint", Static)
        hint.update(words)
        hint.add_class("-bad")

    def action_leave(self) -> None:
        self.dismiss(None)

    def action_rub_out(self) -> None:
        """A number pad has no other key for it; a length has no minus sign, and inside
        a name the minus is typed."""
        field = self.query_one(Input)
        if not field.value or field.value[-1:].isdigit() or field.value[-1:] in ".,+ /":
            field.action_delete_left()
        else:
            field.insert_text_at_cursor("-")

"""A value that is typed, by number pad or keyboard."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import ClassVar, Literal

from textual import on
from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input, Static

from bench.console.widgets.pad import Pad
from bench.protocol import OptionError
from bench.render.screen import screen_text
from bench.render.wording import as_sentence
from bench.units import System
from bench.units.parsing import UnitsError

LONGEST_VALUE = 80
# mm up to which an option of a check is a thin length
THIN_MM = 12.0
# of a value that is typed; thin: a leaf or a move, which inch users tell in thou
Kind = Literal["text", "length", "thin", "slope"]
_RUBS = "Key - rubs out; Enter on nothing leaves it as it was."
_KEEPS = f"Enter keeps it. {_RUBS}"
_OVER: dict[System, str] = {"mm": "300 mm", "inch": "ft"}
_HINTS = {
    ("length", "mm"): "In mm.",
    ("thin", "mm"): "In mm.",
    ("slope", "mm"): "In mm per 300 mm.",
    ("length", "inch"): "In inches; 9+3/4 is 9 3/4.",
    ("thin", "inch"): "In thou; 0.005 is in inches.",
    ("slope", "inch"): "In thou per foot.",
}
_BARE_NUMBER = re.compile(r"[0-9.,]+")
_FRACTION = re.compile(r"(?:[0-9]+[+ ]+)?([0-9]+)/([0-9]+)")


def value_hint(kind: Kind, units: System) -> str:
    """In which unit a bare number is read."""
    return _HINTS.get((kind, units), "")


def with_unit(text: str, kind: Kind, units: System) -> str:
    """The value with its unit: a bare number is in the user's own. A number pad has no
    blank, so `9+3/4` is 9 3/4. Raises UnitsError for what may mean two things."""
    text = text.strip()
    if kind == "text":
        return text
    fraction, number = _FRACTION.fullmatch(text), _BARE_NUMBER.fullmatch(text)
    if units == "mm" and number:
        text += " mm"
    elif fraction:
        text = f"{_whole(text, *fraction.groups())} in"
    elif number:
        text += " thou" if kind != "length" and _in_thou(text) else " in"
    length = text[-1:] in ("m", "n", "u", '"')
    if kind == "slope" and length and "per" not in text:
        text += f" per {_OVER[units]}"
    return text


def _whole(text: str, above: str, below: str) -> str:
    """`9+3/4` with a blank; 93/4 is hardly meant."""
    if len(above) > 1 and int(above) > int(below):
        whole, part = above[:-1], f"{above[-1]}/{below}"
        raise UnitsError(f"for {whole} {part} type {whole}+{part}")
    return text.replace("+", " ")


def _in_thou(number: str) -> bool:
    """True where an inch user means thou: 5 is 5 thou, 0.005 is in inches."""
    size = float(number.replace(",", "."))
    if 0.1 <= size < 1.0:
        raise UnitsError(f"{number} may be either: 5 is 5 thou, 0.005 is in inches")
    return size >= 1.0


class ValueScreen(ModalScreen[str]):
    """`accept` raises UnitsError or OptionError for what is no value; the words are
    shown and the value stays to be mended. Escape, or Enter on nothing, leaves it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("escape", "leave", "leave it"),
        Binding("minus", "rub_out", "rub out", priority=True, show=False),
    ]

    def __init__(
        self,
        words: str,
        value: str,
        accept: Callable[[str], object],
        hint: str,
        pad: Pad | None = None,
    ) -> None:
        """pad: keys on the screen; above them is little room for words."""
        super().__init__()
        self._words, self._value, self._accept = words, value, accept
        self._hint, self._pad = hint, pad

    def compose(self) -> ComposeResult:
        words, value = Static(self._words, markup=False), self._value
        field = Input(placeholder=value, max_length=LONGEST_VALUE, id="value")
        hint = Static(f"{self._hint} {_KEEPS}".strip(), id="hint", markup=False)
        if self._pad is None:
            yield Vertical(words, field, hint, id="question")
        else:
            hint.update(f"{as_sentence(self._words)} {self._hint}")
            yield Vertical(hint, field, self._pad, id="question", classes="-pad")

    async def action_type(self, key: str) -> None:
        """A key of the pad: a sign, `rub out`, `leave` or `keep`."""
        field = self.query_one(Input)
        if key == "keep":
            await field.action_submit()
        elif key == "leave":
            self.dismiss(None)
        elif key == "rub out":
            field.action_delete_left()
        else:
            field.insert_text_at_cursor(key)

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        text = event.value.strip()
        if not text:
            self.dismiss(None)
            return
        try:
            self._accept(text)
        except OptionError as error:
            self._refuse(screen_text("typed-wrong", problem=error.problem))
        except (UnitsError, ValueError) as error:
            self._refuse(as_sentence(str(error)))
        else:
            self.dismiss(text)

    def _refuse(self, words: str) -> None:
        hint = self.query_one("#hint", Static)
        hint.update(words if self._pad else f"{words} {_RUBS}")
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

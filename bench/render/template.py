"""A sentence from a template and its values, in the units of whoever reads it.

`{play:length}` is a length in mm, `{width:fine}` one to a hundredth of a millimetre,
`{from:place}` one along a travel, to the millimetre; `{slope:slope}` is a slope in rad,
`{gap:angle}` an angle in rad, `{late:time}` a time in s, to ten milliseconds. A `+`
behind the word keeps the sign; a number behind it is its give or take: `{turn:slope
{uncertainty}}`. `{jump:jump}` is a jump of the clock in s. `{grows:away|toward}` is the
first text where the value is above zero, else the second; `{part:blade=the
blade|plate=the plate}` is the text that stands behind the value. A value without such a
word is shown as `format` shows it. A list is shown as `a, b and c`, each value alike.
"""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from typing import Any

from bench.render.clock import jump_words
from bench.units import INCH, System, angle_words, length_words, slope_words


def sentence(template: str, values: Mapping[str, object], units: System = "mm") -> str:
    """The template with its values. Raises KeyError for a value that is missing."""
    return _InUnits(units).vformat(template, (), values)


class _InUnits(string.Formatter):
    def __init__(self, units: System) -> None:
        self._units = units

    def format_field(self, value: Any, format_spec: str) -> str:
        if isinstance(value, Sequence) and not isinstance(value, str):
            return in_a_row([self.format_field(one, format_spec) for one in value])
        if "|" in format_spec:
            return _chosen(format_spec.split("|"), value)
        word, _, give_or_take = format_spec.partition(" ")
        kind = word.removesuffix("+")
        sign = "+" if word.endswith("+") and value > 0 else ""
        if kind == "slope":
            uncertainty = float(give_or_take) if give_or_take else None
            return sign + slope_words(value, self._units, uncertainty=uncertainty)
        if kind == "angle":
            return sign + angle_words(value)
        if kind == "time":
            return f"{round(value * 100) * 10} ms"
        if kind == "jump":
            return jump_words(value)
        if kind in ("length", "fine", "place"):
            return sign + length_words(value, self._units, self._places(kind, value))
        return str(format(value, format_spec))

    def _places(self, kind: str, mm: float) -> int | None:
        """Decimals of a length that is shown no finer than it means anything."""
        if self._units == "mm":
            return {"fine": 2, "place": 0}.get(kind)
        whole_inches = abs(mm) >= INCH
        return {"fine": 3 if whole_inches else 1, "place": 1}.get(kind)


def _chosen(texts: Sequence[str], value: str | float) -> str:
    if not isinstance(value, str):
        return texts[0] if value > 0 else texts[1]
    return dict(text.split("=", 1) for text in texts)[value]


def in_a_row(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)

"""A sentence from a template and its values, in the units of whoever reads it.

`{play:length}` is a length in mm, `{slope:slope}` a slope in rad, `{gap:angle}` an
angle in rad; `{size:length+}` and `{slope:slope+}` keep the sign. A value without such
a word is shown as `format` shows it. A list is shown as `a, b and c`, each value alike.
"""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from typing import Any

from bench.units import System, angle_words, length_words, slope_words


def sentence(template: str, values: Mapping[str, object], units: System = "mm") -> str:
    """The template with its values. Raises KeyError for a value that is missing."""
    return _InUnits(units).vformat(template, (), values)


class _InUnits(string.Formatter):
    def __init__(self, units: System) -> None:
        self._units = units

    def format_field(self, value: Any, format_spec: str) -> str:
        if isinstance(value, Sequence) and not isinstance(value, str):
            return in_a_row([self.format_field(one, format_spec) for one in value])
        kind, signed = format_spec.removesuffix("+"), format_spec.endswith("+")
        sign = "+" if signed and value > 0 else ""
        if kind == "length":
            return sign + length_words(value, self._units)
        if kind == "slope":
            return sign + slope_words(value, self._units)
        if kind == "angle":
            return sign + angle_words(value)
        return str(format(value, format_spec))


def in_a_row(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)

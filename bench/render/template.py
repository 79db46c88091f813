"""A sentence from a template and its values, in the units of whoever reads it.

`{play:length}` is a length in mm, `{slope:slope}` a slope in rad, `{gap:angle}` an
angle in rad; `{size:length+}` and `{slope:slope+}` keep the sign. `{play:length 3}`
fixes the decimals of a millimetre, `{play:length 3 1}` those of an inch or thou, too.
`{at:place}` is a place in mm without zeros at its end, `{far:distance}` a distance in
three digits, `{left:rounded 0.01}` a length in the digits that its uncertainty (here
0.01 mm) supports. `{way:way}` is `away` or `toward`, told in full. A value without such
a word is shown as `format` shows it. A list is
shown as `a, b and c`, each value alike. A value of None is not known.
"""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from typing import Any

from bench.units import (
    System,
    angle_words,
    length_words,
    rounded_words,
    slope_words,
)

WAYS = {"away": "away from you", "toward": "toward you"}


def sentence(template: str, values: Mapping[str, object], units: System = "mm") -> str:
    """The template with its values. Raises KeyError for a value that is missing."""
    return _InUnits(units).vformat(template, (), values)


class _InUnits(string.Formatter):
    def __init__(self, units: System) -> None:
        self._units = units

    def format_field(self, value: Any, format_spec: str) -> str:
        if isinstance(value, Sequence) and not isinstance(value, str):
            return in_a_row([self.format_field(one, format_spec) for one in value])
        if value is None:
            return "an unknown length" if format_spec.startswith("length") else "?"
        kind, _, more = format_spec.removesuffix("+").partition(" ")
        sign = "+" if format_spec.endswith("+") and value > 0 else ""
        if kind in ("length", "place", "distance", "rounded"):
            return sign + self._length(kind, more, value)
        if kind == "slope":
            return sign + slope_words(value, self._units)
        if kind == "angle":
            return sign + angle_words(value)
        if kind == "way":
            return WAYS[value]
        return str(format(value, format_spec))

    def _length(self, kind: str, more: str, mm: float) -> str:
        metric = self._units == "mm"
        if kind == "rounded":
            return rounded_words(mm, float(more), self._units)
        if kind == "place" and metric:
            return f"{mm:g} mm"
        if kind == "distance":
            more = "1" if mm >= 10 else "2" if mm >= 0.1 else "3"
        decimals = more.split()[0 if metric else 1 :]
        return length_words(mm, self._units, int(decimals[0]) if decimals else None)


def in_a_row(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)

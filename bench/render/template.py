"""A sentence from a template and its values, in the units of whoever reads it.

`{play:length}` is a length in mm; `{play:length 3}` fixes the decimals of a millimetre,
`{play:length 3 1}` those of an inch or thou, too. `{width:fine}` is a length to a
hundredth of a millimetre, `{from:station}` one along a travel, to the millimetre,
`{at:nominal}` one that is a name and no measurement, `{far:distance}` a distance in
three digits, `{left:rounded 0.01}` a length in the digits that its uncertainty (here
0.01 mm) supports, `{by:give 0.01}` one with its give or take, `{leaves:stack}` lengths
that are stacked, `{turns:clock}` turns as a clock's hand would show them.
`{slope:slope}` is a slope in rad, `{turn:slope {uncertainty}}` one with its give or
take, `{gap:angle}` an angle in rad, `{turn:degrees}` one in degrees, `{late:time}` a
time in s, to ten milliseconds, `{jump:jump}` a jump of the clock in s. `{way:way}` is
`away` or `toward`, told in full. A `+` behind the word keeps the sign.
`{grows:away|toward}` is the first text where the value is above zero, else the second;
`{part:blade=the blade|plate=the plate}` is the text that stands behind the value. A
value without such a word is shown as `format` shows it. A list is shown as `a, b and
c`, each value alike. A value of None is not known.
"""

from __future__ import annotations

import math
import string
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from bench.render.clock import clock_words, jump_words
from bench.units import (
    INCH,
    System,
    angle_words,
    give_or_take,
    length_words,
    nominal_words,
    rounded_words,
    slope_words,
    station_words,
)

WAYS = {"away": "away from you", "toward": "toward you"}
FORMATS: Mapping[str, Callable[[Any], str]] = {
    "angle": angle_words,
    "clock": clock_words,
    "degrees": lambda rad: f"{math.degrees(rad):.4g} degrees",
    "jump": jump_words,
    "time": lambda seconds: f"{round(seconds * 100) * 10} ms",
    "way": WAYS.__getitem__,
}
LENGTH_FORMATS = ("length", "fine", "station", "nominal", "distance", "rounded")


def sentence(template: str, values: Mapping[str, object], units: System = "mm") -> str:
    """The template with its values. Raises KeyError for a value that is missing."""
    return _InUnits(units).vformat(template, (), values).rstrip()


def sentence_maker(templates: Mapping[str, str]) -> Callable[..., str]:
    """`sentence(code, units, **values)` of a table of templates; mm where no units are
    given. Raises KeyError for a code or a value that is missing."""

    def make(code: str, units: System = "mm", /, **values: object) -> str:
        return sentence(templates[code], values, units)

    return make


def entries(table: str) -> dict[str, str]:
    """The templates of a table by their codes: an entry is `code: template`, its
    further lines are indented, and `#` begins a heading."""
    lines = table.replace("\n  ", " ").splitlines()
    parted = (line.partition(": ") for line in lines if not line.startswith("#"))
    return {code: template for code, colon, template in parted if colon}


class _InUnits(string.Formatter):
    def __init__(self, units: System) -> None:
        self._units = units

    def format_field(self, value: Any, format_spec: str) -> str:
        if format_spec == "stack":
            return " + ".join(length_words(one, self._units) for one in value)
        if isinstance(value, Sequence) and not isinstance(value, str):
            return in_a_row([self.format_field(one, format_spec) for one in value])
        if value is None:
            return "an unknown length" if format_spec.startswith("length") else "?"
        if "|" in format_spec:
            return _chosen(format_spec.split("|"), value)
        word, _, more = format_spec.partition(" ")
        kind = word.removesuffix("+")
        sign = "+" if word.endswith("+") and value > 0 else ""
        if kind in LENGTH_FORMATS:
            return sign + self._length(kind, more, value)
        if kind == "slope":
            uncertainty = float(more) if more else None
            return sign + slope_words(value, self._units, uncertainty=uncertainty)
        if kind == "give":
            return give_or_take(value, float(more), self._units)
        if kind in FORMATS:
            return sign + FORMATS[kind](value)
        return str(format(value, format_spec))

    def _length(self, kind: str, more: str, mm: float) -> str:
        metric = self._units == "mm"
        if kind == "rounded":
            return rounded_words(mm, float(more), self._units)
        if kind == "station":
            return station_words(mm, self._units)
        if kind == "nominal":
            return nominal_words(mm, self._units)
        if kind == "distance":
            more = "1" if mm >= 10 else "2" if mm >= 0.1 else "3"
        if kind == "fine":
            more = f"2 {3 if abs(mm) >= INCH else 1}"
        decimals = more.split()[0 if metric else 1 :]
        return length_words(mm, self._units, int(decimals[0]) if decimals else None)


def _chosen(texts: Sequence[str], value: str | float) -> str:
    if not isinstance(value, str):
        return texts[0] if value > 0 else texts[1]
    return dict(text.split("=", 1) for text in texts)[value]


def in_a_row(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join(part for part in (", ".join(words[:-1]), *words[-1:]) if part)

"""Numbers of a quantity in the unit and over the length in which its reader thinks."""

from __future__ import annotations

import msgspec

from bench.render.result import slope_span, slope_span_words
from bench.units import (
    INCH,
    THOU,
    System,
    give_or_take,
    in_thou,
    length_words,
    value_words,
)


class Scale(msgspec.Struct, frozen=True):
    """span: what a value is multiplied with to be a length in mm. factor: the same to
    the unit of the axis."""

    span: float
    factor: float
    units: System
    axis: str
    over: str  # ` per 300 mm`, or nothing

    @classmethod
    def of(cls, unit: str, units: System, board: float | None, largest: float) -> Scale:
        """largest: value that the axis has to show, in its unit."""
        span = slope_span(board, units) if unit == "rad" else 1.0
        over = f" {slope_span_words(board, units)}" if unit == "rad" else ""
        if units == "mm":
            one, name = 1.0, "mm"
        else:
            one, name = (THOU, "thou") if in_thou(largest * span) else (INCH, "in")
        return cls(span, span / one, units, name + over, over)

    def size(self, value: float) -> str:
        """Without sign and as exact as it is given."""
        return length_words(abs(value) * self.span, self.units) + self.over

    def rounded(self, value: float, uncertainty: float) -> str:
        """Without sign, in as many digits as the uncertainty supports."""
        rise, give = abs(value) * self.span, uncertainty * self.span
        return value_words(rise, give, self.units) + self.over

    def give_or_take(self, value: float, uncertainty: float) -> str:
        """With its sign."""
        rise, give = value * self.span, uncertainty * self.span
        return give_or_take(rise, give, self.units) + self.over


def tick_words(value: float, decimals: int) -> str:
    """A number beside an axis, with a true minus sign."""
    text = f"{value:.{decimals}f}"
    return text.replace("-", "−") if text.strip("-0.") else text.lstrip("-")

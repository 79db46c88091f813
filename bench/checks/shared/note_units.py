"""Notes for someone who works in inches: lengths and slopes that were worded in mm, in
thousandths, inches and per foot.

Checks word their notes in mm; this is the one place where they turn. Pure.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from bench.units import System, length_words, slope_words

_ONE = r"[+-]?\d+(?:\.\d+)?(?:e-?\d+)?"
# one number or several with one unit behind them all: `2 to 3 mm`, `between -0.04 and
# +0.10 mm per 300 mm`
_LENGTHS = re.compile(
    rf"(?<![\w.])({_ONE}(?:(?:, | to | and | or ){_ONE})*) mm\b(?!-)( per 300 mm\b)?"
)
_NUMBER = re.compile(_ONE)


def in_units(notes: Sequence[str], units: System) -> list[str]:
    """The same notes; with "inch" every length and slope in them as an inch user reads
    it."""
    return (
        list(notes)
        if units == "mm"
        else [_LENGTHS.sub(_inches, note) for note in notes]
    )


def _inches(found: re.Match[str]) -> str:
    def words(number: re.Match[str]) -> str:
        text = number.group()
        sign, value = (text[0] if text[0] in "+-" else ""), abs(float(text))
        said = (
            slope_words(value / 300.0, "inch")
            if found.group(2)
            else length_words(value, "inch")
        )
        return sign + said

    return _NUMBER.sub(words, found.group(1))

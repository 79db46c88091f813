"""Readings as figures with their units, how old they are, and the signs of verdicts."""

from __future__ import annotations

from bench.console.drawings.glyphs import GlyphSet
from bench.console.drawings.styled_text import Role
from bench.console.instrument_view import InstrumentView
from bench.render.result import verdict_words
from bench.units import INCH, System

_VERDICT_ROLES: dict[str | None, Role] = {
    "inside": "good",
    "outside": "bad",
    "cannot-tell": "unsure",
    None: "text",
}


def verdict_line(verdict: str | None, glyphs: GlyphSet) -> tuple[str, str, Role]:
    """Sign, words and role of a verdict."""
    signs = {"inside": glyphs.good, "outside": glyphs.bad, "cannot-tell": glyphs.unsure}
    sign = glyphs.none if verdict is None else signs[verdict]
    return sign, verdict_words(verdict), _VERDICT_ROLES[verdict]


def number(instrument: InstrumentView, units: System) -> tuple[str, str]:
    """The large number and its unit; blanks where there is none."""
    if instrument.value is None:
        return "---", "mm" if units == "mm" else "in"
    coarse = instrument.role in ("travel", "caliper")
    if units == "mm":
        return _no_minus_zero(f"{instrument.value:.{2 if coarse else 3}f}"), "mm"
    return _no_minus_zero(f"{instrument.value / INCH:.{3 if coarse else 4}f}"), "in"


def travel_number(instrument: InstrumentView, units: System) -> str:
    """The travel beside the number: a tenth of a millimetre tells where the sled is."""
    value = instrument.value or 0.0
    if units == "mm":
        return _no_minus_zero(f"{value:.1f}") + " mm"
    return _no_minus_zero(f"{value / INCH:.2f}") + " in"


def _no_minus_zero(text: str) -> str:
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def age(seconds: float) -> str:
    """`now`, `7 s ago`, `3 min ago`, in steps, so that it does not flicker."""
    if seconds < 1.5:
        return "now"
    if seconds < 10:
        return f"{seconds:.0f} s ago"
    if seconds < 60:
        return f"{seconds // 10 * 10:.0f} s ago"
    if seconds < 5400:
        return f"{seconds // 60:.0f} min ago"
    return f"{seconds // 3600:.0f} h ago"

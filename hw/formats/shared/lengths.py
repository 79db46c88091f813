"""Exact decimal digits to millimetres, rounded once.

An inch is 25.4 mm exactly (Bureau international des poids et mesures; NIST SP 811,
appendix B), so a decimal text in inches is the whole number of its digits times 254
over a power of ten, and a division of two whole numbers is correctly rounded in Python.
"""

from __future__ import annotations

EVERYWHERE = (float("-inf"), float("inf"))
"""The range of an instrument that was given none, mm."""


def to_mm(digits: int, decimals: int, inch: bool) -> float:
    """`digits` with the point moved `decimals` places, shown in mm or inch -> mm; never
    -0.0."""
    power: int = 10 ** (decimals + inch)
    return digits * (254 if inch else 1) / power


def in_words(value: float) -> str:
    """Millimetres to a hundredth of a nanometre, without zeros at the end; an exponent
    only beyond all lengths."""
    if abs(value) >= 1e12:
        return f"{value:g}"
    return f"{round(value, 8) + 0.0:.8f}".rstrip("0").rstrip(".")  # + 0.0: -0 is 0


def range_fault(value: float | None, range_mm: tuple[float, float]) -> str | None:
    """Why a value is refused by the option range_mm; None when it is not."""
    low, high = range_mm
    if value is None or low <= value <= high:
        return None
    return (
        f"{in_words(value)} mm is outside range_mm {in_words(low)} to {in_words(high)}"
    )

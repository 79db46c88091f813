"""Lengths, angles, slopes and shares in words; `parsing` reads them."""

from __future__ import annotations

import math
from fractions import Fraction
from typing import Literal

from bench.units.parsing import DEGREE

System = Literal["mm", "inch"]

PER_MM = 300.0  # metric slopes are told over 300 mm
PER_INCH = 304.8  # inch slopes over a foot
THOU = 0.0254
INCH = 25.4
HALF_HUNDREDTH = 0.005  # inch: half of the last digit of two decimals


def _strip(number: str, least: int = 0) -> str:
    """Zeros off the end of a decimal, keeping at least `least` decimals; no
    minus zero."""
    if "." in number:
        whole, decimals = number.split(".")
        kept = decimals.rstrip("0")
        kept = decimals[: max(len(kept), least)]
        number = f"{whole}.{kept}" if kept else whole
    return number[1:] if number.startswith("-") and not number.strip("-0.") else number


def _places(value: float, usual: int) -> int:
    """Decimals to print: the usual ones, more where fewer than two significant digits
    would show."""
    size = abs(value)
    if size == 0 or not math.isfinite(size):
        return usual
    return min(9, max(usual, 1 - math.floor(math.log10(size))))


def in_thou(mm: float) -> bool:
    """Whether an inch user is told this length in thousandths rather than in inches."""
    return abs(mm) < 100 * THOU - 1e-9


def length_words(mm: float, system: System, places: int | None = None) -> str:
    """`0.05 mm`, `250 mm`; `5 thou`, `19.75 in`. places: fixed decimals of the unit
    shown."""
    factor, unit = _unit(mm, system)
    size, usual = mm / factor, 1 if unit == "thou" else 3
    least = 2 if unit == "mm" and abs(mm) < 1 else 0
    if places is not None:
        return f"{_strip(f'{size:.{places}f}', places)} {unit}"
    if size == 0:
        return f"0 {unit}"
    return f"{_strip(f'{size:.{_places(size, usual)}f}', least)} {unit}"


def station_words(mm: float, system: System) -> str:
    """A place along a travel, a slot or a board: `300 mm`, `11.8 in`; never in thou."""
    size, unit, places = (mm, "mm", 0) if system == "mm" else (mm / INCH, "in", 1)
    return f"{_strip(f'{size:.{places}f}', places if size else 0)} {unit}"


def nominal_words(mm: float, system: System) -> str:
    """A length that is a name and no measurement, such as the reader's board: `600 mm`;
    `23 5/8 in` where it lies at a mark of a rule, else `18.90 in`."""
    if system == "mm" or (in_thou(mm) and mm != 0):
        return length_words(mm, system)
    sixteenths = round(abs(mm) / INCH * 16)
    if abs(abs(mm) / INCH - sixteenths / 16) > HALF_HUNDREDTH:
        return length_words(mm, system, 2)
    whole, part = divmod(sixteenths, 16)
    fraction = f"{Fraction(part, 16)}" if part else ""
    number = f"{whole} {fraction}".strip() if whole or not part else fraction
    return f"{'-' * (mm < 0)}{number} in"


def _unit(mm: float, system: System) -> tuple[float, str]:
    """mm in one of the unit that a length is told in, and the unit."""
    if system == "mm":
        return 1.0, "mm"
    return (THOU, "thou") if in_thou(mm) else (INCH, "in")


def uncertainty_places(uncertainty: float) -> int:
    """Decimals for a give-or-take: two significant digits where it begins with 1 or 2,
    else one.

    GUM 7.2.6 asks for at most two; GUM (JCGM 100:2008) also lets the value follow with
    the same decimals.
    """
    if uncertainty <= 0 or not math.isfinite(uncertainty):
        return 3
    order = math.floor(math.log10(uncertainty))
    lead = uncertainty / 10**order
    return max(0, min(9, (1 if lead < 2.95 else 0) - order))


# decimals that an answer is told in at the most: an indicator in a shop reads no finer
# (common practice, no source)
MOST_PLACES = {"mm": 3, "thou": 1, "in": 4}


def rounded_words(mm: float, uncertainty_mm: float, system: System) -> str:
    """`0.12 mm`: in as many decimals as the first digit of the uncertainty, three of a
    millimetre at the most."""
    factor, unit = _unit(mm, system)
    size, most = abs(uncertainty_mm) / factor, MOST_PLACES[unit]
    places = (
        most if size == 0 else max(0, min(most, -int(f"{size:.0e}".partition("e")[2])))
    )
    return length_words(mm, system, places)


def _round_up(uncertainty: float, places: int) -> float:
    """Rounded to the places; upwards where rounding down would hide more than a
    twentieth of it.

    The 5 % rule is that of EA-4/02, section 6 (from memory).
    """
    near = round(uncertainty, places)
    return near if near >= 0.95 * uncertainty else near + 10.0**-places


def give_or_take(mm: float, uncertainty_mm: float, system: System) -> str:
    """`0.150 mm give or take 0.011 mm`: both to the decimals that the uncertainty
    deserves."""
    factor, unit, places = _told_in(mm, uncertainty_mm, system)
    give = f"{_round_up(abs(uncertainty_mm) / factor, places):.{places}f}"
    return f"{value_words(mm, uncertainty_mm, system)} give or take {give} {unit}"


def value_words(mm: float, uncertainty_mm: float, system: System) -> str:
    """`0.150 mm`: in the digits that `give_or_take` tells it in, for where it stands
    alone beside that."""
    factor, unit, places = _told_in(mm, uncertainty_mm, system)
    return f"{_strip(f'{mm / factor:.{places}f}', places)} {unit}"


def _told_in(
    mm: float, uncertainty_mm: float, system: System
) -> tuple[float, str, int]:
    """mm in one of the unit, the unit, and the decimals that the uncertainty
    deserves."""
    factor, unit = _unit(max(abs(mm), abs(uncertainty_mm)), system)
    places = uncertainty_places(abs(uncertainty_mm) / factor)
    return factor, unit, min(MOST_PLACES[unit], places)


def span_words(mm: float, system: System) -> str:
    """The length that something is told over: `219 mm`, `8.6 in`; a short one as any
    length."""
    if mm < 100.0:
        return length_words(mm, system)
    return length_words(mm, system, 0 if system == "mm" else 1)


def per_words(system: System, over: float | None = None) -> str:
    """The length over which a slope is told: `300 mm`, `ft`, or the one given in mm."""
    if over is None:
        return "300 mm" if system == "mm" else "ft"
    return nominal_words(over, system)


def slope_words(
    rad: float,
    system: System,
    over: float | None = None,
    uncertainty: float | None = None,
) -> str:
    """`0.05 mm per 300 mm`, `2 thou per ft`; over: another length in mm; uncertainty in
    rad."""
    base = over if over is not None else PER_MM if system == "mm" else PER_INCH
    rise = _with_uncertainty(rad, base, uncertainty, system)
    return f"{rise} per {per_words(system, over)}"


def _with_uncertainty(
    value: float, factor: float, uncertainty: float | None, system: System
) -> str:
    """value times factor in mm, with its uncertainty where that is known."""
    if uncertainty is None:
        return length_words(value * factor, system)
    return give_or_take(value * factor, uncertainty * factor, system)


def across(
    rad: float, board_mm: float, system: System, uncertainty: float | None = None
) -> str:
    """The slope over the user's own board: `0.12 mm across 400 mm`."""
    rise = _with_uncertainty(rad, board_mm, uncertainty, system)
    return f"{rise} across {nominal_words(board_mm, system)}"


def bow_words(
    curvature: float, system: System, uncertainty: float | None = None
) -> str:
    """A curvature in 1/mm as the bow of an arc: `0.011 mm over 300 mm`."""
    over = PER_MM if system == "mm" else PER_INCH
    much = _with_uncertainty(abs(curvature), over**2 / 8, uncertainty, system)
    return f"{much} over {per_words(system)}"


def angle_words(rad: float) -> str:
    """`2 deg`, and `0.5 mrad` for less than a tenth of a degree."""
    size, unit = (
        (rad / DEGREE, "deg") if abs(rad) >= 0.1 * DEGREE else (rad * 1e3, "mrad")
    )
    return f"{_strip(f'{size:.{_places(size, 3)}f}')} {unit}"


def share_words(ratio: float) -> str:
    """`0.1 %`."""
    return f"{_strip(f'{100 * ratio:.{_places(100 * ratio, 3)}f}')} %"

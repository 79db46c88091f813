"""Lengths, angles, slopes and shares as people write them, to mm, rad and plain ratios;
and back into words. Strict: what is not understood is an error, never a guess. Factors:
NIST SP 811 (2008), appendix B.8; the inch is 25.4 mm exactly.
"""

from __future__ import annotations

import math
import re
from fractions import Fraction
from itertools import pairwise
from typing import Literal

System = Literal["mm", "inch"]

PER_MM = 300.0  # metric slopes are told over 300 mm
PER_INCH = 304.8  # inch slopes over a foot
THOU = 0.0254
INCH = 25.4


class UnitsError(ValueError):
    """A text that is no length, angle or slope; the message is one sentence with what
    would do."""


_LENGTHS: dict[str, Fraction] = {
    name: Fraction(mm)
    for names, mm in (
        ("mm millimetre millimetres millimeter millimeters", "1"),
        ("cm centimetre centimetres centimeter centimeters", "10"),
        ("m metre metres meter meters", "1000"),
        ("um µm micron microns micrometre micrometres micrometer micrometers", "0.001"),
        ('in in. inch inches "', "25.4"),
        ("ft ft. foot feet", "304.8"),
        ("thou thous mil mils", "0.0254"),
    )
    for name in names.split()
}
_DEGREE, _MINUTE, _SECOND = math.pi / 180, math.pi / 10800, math.pi / 648000
_ANGLES: dict[str, float] = {
    name: rad
    for names, rad in (
        ("rad radian radians", 1.0),
        ("mrad", 1e-3),
        ("urad µrad", 1e-6),
        ("deg degree degrees °", _DEGREE),
        ("arcmin min minute minutes '", _MINUTE),
        ('arcsec sec second seconds "', _SECOND),
    )
    for name in names.split()
}
_COMPOUND_LENGTH = (("ft", "ft.", "foot", "feet"), ("in", "in.", "inch", "inches", '"'))
_COMPOUND_ANGLE = (
    ("deg", "degree", "degrees", "°"),
    ("arcmin", "min", "minute", "minutes", "'"),
    ("arcsec", "sec", "second", "seconds", '"'),
)
_SHARES = {
    "%": Fraction(1, 100),
    "percent": Fraction(1, 100),
    "ppm": Fraction(1, 1_000_000),
}
_TIMES = {"s": Fraction(1), "sec": Fraction(1), "ms": Fraction(1, 1000)}

_LONGEST = 80
_NUMBER = re.compile(
    r"(?P<sign>[+-]?)\s*"
    r"(?:(?:(?P<whole>[0-9]+)(?:\s+|-))?(?P<top>[0-9]+)\s*/\s*(?P<bottom>[0-9]+)"
    r"|(?P<decimal>(?:[0-9]+(?:[.,][0-9]+)?|[.,][0-9]+)(?:[eE][+-]?[0-9]{1,2})?))"
    r"(?![0-9.,/])"
)
_UNIT = re.compile(r"""\s*(?P<unit>[A-Za-zµ]+\.?|["'°%])""")
_SEPARATOR = re.compile(
    r"""\s+(?:per|over)\s+|(?<=[A-Za-zµ."])\s*/\s*(?=[0-9.,A-Za-zµ])"""
)
_AMBIGUOUS_COMMA = re.compile(r"[1-9][0-9]{0,2},[0-9]{3}")


def _tidy(text: object) -> str:
    if not isinstance(text, str):
        raise UnitsError(
            f"{text!r} is not a text with a unit: write it in quotes, such as"
            f' "{text} mm"'
        )
    if len(text) > _LONGEST:
        raise UnitsError(
            f'"{text[:20]}..." is too long: write one number with its unit, such as'
            ' "0.05 mm"'
        )
    import unicodedata

    out = []
    for char in text:
        if unicodedata.category(
            char
        ) == "No" and "\N{FRACTION SLASH}" in unicodedata.normalize("NFKC", char):
            out.append(
                " "
                + unicodedata.normalize("NFKC", char).replace("\N{FRACTION SLASH}", "/")
            )
        else:
            out.append(char)
    return (
        "".join(out)
        .translate(
            str.maketrans(
                "\u2212\u03bc\u2032\u2019\u2033\u201d\u00ba\u00a0\u202f", "-µ''\"\"°  "
            )
        )
        .strip()
    )


def _number(text: str, at: int, whole_text: str) -> tuple[Fraction, int]:
    found = _NUMBER.match(text, at)
    if found is None:
        rest = text[at:].strip() or "nothing"
        raise UnitsError(
            f'"{whole_text}": a number should stand where "{rest}" stands, such as 0.05'
            " or 3/4"
        )
    sign = -1 if found["sign"] == "-" else 1
    if found["top"] is not None:
        top, bottom = int(found["top"]), int(found["bottom"])
        if bottom == 0 or (found["whole"] is not None and top >= bottom):
            raise UnitsError(
                f'"{whole_text}": {top}/{bottom} is not a fraction of one, such as 3/4'
            )
        return sign * (int(found["whole"] or 0) + Fraction(top, bottom)), found.end()
    decimal = found["decimal"]
    if _AMBIGUOUS_COMMA.fullmatch(decimal):
        plain, point = decimal.replace(",", ""), decimal.replace(",", ".")
        raise UnitsError(
            f'"{whole_text}": {decimal} can be read in two ways: write {plain} or'
            f" {point}"
        )
    return sign * Fraction(decimal.replace(",", ".")), found.end()


def _terms(text: str, whole_text: str, example: str) -> list[tuple[Fraction, str]]:
    """Numbers each followed by a unit; a sign only on the first."""
    terms: list[tuple[Fraction, str]] = []
    at = 0
    while at < len(text):
        if terms and _NUMBER.match(text, at) is None:
            raise UnitsError(
                f'"{whole_text}": "{text[at:]}" is left over; only {example} would do'
            )
        value, at = _number(text, at, whole_text)
        found = _UNIT.match(text, at)
        if found is None:
            rest = text[at:].strip()
            if rest:
                raise UnitsError(
                    f'"{whole_text}": "{rest}" is not a unit; {example} would do'
                )
            raise UnitsError(
                f'"{text}" has no unit: write what it is in, as in {example}'
            )
        terms.append((value, found["unit"]))
        at = found.end()
        while at < len(text) and text[at] == " ":
            at += 1
    return terms


def _known(unit: str, table: dict[str, Fraction] | dict[str, float]) -> str | None:
    """The name as the table has it; capitals are forgiven except in one-letter
    units."""
    if unit in table:
        return unit
    low = unit.lower()
    return low if len(unit) > 1 and low in table else None


def _by_pint(
    unit: str, target: Literal["mm", "rad"], whole_text: str, example: str
) -> float:
    """Factor of a unit outside the common ones."""
    import pint

    try:
        registry = pint.get_application_registry()  # type: ignore[no-untyped-call]
        one = registry.Quantity(1.0, unit.rstrip("."))
        root = one.to_root_units()
        if str(root.units) != {"mm": "meter", "rad": "radian"}[target]:
            raise ValueError
        return float(one.to(target).magnitude)
    except (pint.PintError, ValueError, TypeError, AttributeError, ArithmeticError):
        what = {"mm": "length", "rad": "angle"}[target]
        raise UnitsError(
            f'"{whole_text}": "{unit}" is not a unit of {what}; {example} would do'
        ) from None


def _sum(
    terms: list[tuple[Fraction, str]],
    table: dict[str, Fraction] | dict[str, float],
    compound: tuple[tuple[str, ...], ...],
    target: Literal["mm", "rad"],
    whole_text: str,
    example: str,
) -> float:
    factors: list[float | Fraction] = []
    ranks: list[int] = []
    for _value, unit in terms:
        name = _known(unit, table)
        factors.append(
            table[name]
            if name is not None
            else _by_pint(unit, target, whole_text, example)
        )
        ranks.append(next((n for n, names in enumerate(compound) if name in names), -1))
    if len(terms) > 1:
        rising = all(a >= 0 and b > a for a, b in pairwise(ranks))
        if not rising or any(value < 0 for value, _ in terms[1:]):
            rest = " ".join(f"{float(value):g} {unit}" for value, unit in terms[1:])
            raise UnitsError(
                f'"{whole_text}": "{rest}" is left over; only {example} would do'
            )
    sign = -1 if terms[0][0] < 0 else 1
    total: float | Fraction = Fraction(0)
    for (value, _), factor in zip(terms, factors, strict=True):
        part = (
            abs(value) * factor
            if isinstance(factor, Fraction)
            else float(abs(value)) * factor
        )
        total = total + part
    return sign * float(total)


_LENGTH_EXAMPLE = '"0.05 mm", "3/4 in" or "5 thou"'
_ANGLE_EXAMPLE = '"2 deg", "0.5 mrad" or "2\'"'
_SLOPE_EXAMPLE = '"0.05 mm per 300 mm", "2 thou per ft" or "0.5 mrad"'


def parse_length(text: str) -> float:
    """A length in mm: `0.05 mm`, `0,05 mm`, `19 3/4 in`, `1/8"`, `5 thou`, `1 ft
    6 in`."""
    tidy = _tidy(text)
    if not tidy:
        raise UnitsError(
            f"there is no length in an empty text; {_LENGTH_EXAMPLE} would do"
        )
    terms = _terms(tidy, text, _LENGTH_EXAMPLE)
    for value, unit in terms:
        if unit == "'":
            raise UnitsError(
                f'"{text}": \' is a minute of arc here; write "{float(value):g} ft" for'
                " feet"
            )
        if unit == "%":
            raise UnitsError(
                f'"{text}": "%" is not a unit of length; {_LENGTH_EXAMPLE} would do'
            )
    return _sum(terms, _LENGTHS, _COMPOUND_LENGTH, "mm", text, _LENGTH_EXAMPLE)


def parse_angle(text: str) -> float:
    """An angle in rad: `2 deg`, `0.5 mrad`, `2'`, `1° 30'`."""
    tidy = _tidy(text)
    if not tidy:
        raise UnitsError(
            f"there is no angle in an empty text; {_ANGLE_EXAMPLE} would do"
        )
    terms = _terms(tidy, text, _ANGLE_EXAMPLE)
    if any(unit == "%" for _, unit in terms):
        raise UnitsError(
            f'"{text}": "%" is not a unit of angle; {_ANGLE_EXAMPLE} would do'
        )
    return _sum(terms, _ANGLES, _COMPOUND_ANGLE, "rad", text, _ANGLE_EXAMPLE)


def parse_slope(text: str) -> float:
    """A slope in rad (small angles): a length per length, or an angle as it is.

    `0.05 mm per 300 mm`, `0.1 mm/m`, `2 thou per ft`, `0.5 mrad`, `2'`. The ratio
    itself is taken: at 1 mrad it differs from the angle by a third of a millionth part.
    """
    tidy = _tidy(text)
    if not tidy:
        raise UnitsError(
            f"there is no slope in an empty text; {_SLOPE_EXAMPLE} would do"
        )
    parts = _SEPARATOR.split(tidy)
    if len(parts) > 2:
        raise UnitsError(
            f'"{text}": "{parts[2]}" is left over; {_SLOPE_EXAMPLE} would do'
        )
    if len(parts) == 2:
        rise, run = parts
        if _NUMBER.match(run) is None and _UNIT.fullmatch(run):
            run = "1 " + run
        base = parse_length(run)
        if base <= 0:
            raise UnitsError(
                f'"{text}": the length after "per" must be more than nothing'
            )
        return parse_length(rise) / base
    terms = _terms(tidy, text, _SLOPE_EXAMPLE)
    if _known(terms[0][1], _LENGTHS) is not None and terms[0][1] != '"':
        raise UnitsError(
            f'"{text}" is a length, not a slope: say over what; {_SLOPE_EXAMPLE}'
            " would do"
        )
    return parse_angle(text)


def _parse_plain(
    text: str, table: dict[str, Fraction], what: str, example: str
) -> float:
    tidy = _tidy(text)
    if not tidy:
        raise UnitsError(f"there is no {what} in an empty text; {example} would do")
    terms = _terms(tidy, text, example)
    if len(terms) > 1:
        raise UnitsError(f'"{text}": something is left over; {example} would do')
    value, unit = terms[0]
    if unit not in table:
        raise UnitsError(
            f'"{text}": "{unit}" is not a unit of {what}; {example} would do'
        )
    return float(value * table[unit])


def parse_share(text: str) -> float:
    """A relative figure as a plain ratio: `0.1 %`, `500 ppm`."""
    return _parse_plain(text, _SHARES, "share", '"0.1 %" or "500 ppm"')


def parse_time(text: str) -> float:
    """A short time in s: `0.3 s`, `50 ms`."""
    return _parse_plain(text, _TIMES, "time", '"0.3 s" or "50 ms"')


# --- words back -----------------------------------------------------------------------


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
    if system == "mm":
        size, unit, usual, least = mm, "mm", 3, 2 if abs(mm) < 1 else 0
    elif in_thou(mm):
        size, unit, usual, least = mm / THOU, "thou", 1, 0
    else:
        size, unit, usual, least = mm / INCH, "in", 3, 0
    if places is not None:
        return f"{_strip(f'{size:.{places}f}', places)} {unit}"
    if size == 0:
        return f"0 {unit}"
    return f"{_strip(f'{size:.{_places(size, usual)}f}', least)} {unit}"


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


def rounded_words(mm: float, uncertainty_mm: float, system: System) -> str:
    """`0.12 mm`: in as many decimals as the first digit of the uncertainty, three of a
    millimetre at the most."""
    if system == "mm":
        unit, most = 1.0, 3
    else:
        unit, most = (THOU, 1) if in_thou(mm) else (INCH, 4)
    size = abs(uncertainty_mm) / unit
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
    thou = in_thou(max(abs(mm), abs(uncertainty_mm)))
    factor, unit = (
        (1.0, "mm") if system == "mm" else (THOU, "thou") if thou else (INCH, "in")
    )
    value, u = mm / factor, abs(uncertainty_mm) / factor
    places = uncertainty_places(u)
    give = f"{_round_up(u, places):.{places}f}"
    return f"{_strip(f'{value:.{places}f}', places)} {unit} give or take {give} {unit}"


def per_words(system: System, over: float | None = None) -> str:
    """What a slope is told over: `300 mm`, `ft`, or the length given in mm."""
    if over is None:
        return "300 mm" if system == "mm" else "ft"
    return length_words(over, system)


def slope_words(
    rad: float,
    system: System,
    over: float | None = None,
    uncertainty: float | None = None,
) -> str:
    """`0.05 mm per 300 mm`, `2 thou per ft`; over: another length in mm; uncertainty in
    rad."""
    base = over if over is not None else PER_MM if system == "mm" else PER_INCH
    if uncertainty is not None:
        rise = give_or_take(rad * base, uncertainty * base, system)
    else:
        rise = length_words(rad * base, system)
    return f"{rise} per {per_words(system, over)}"


def across(
    rad: float, board_mm: float, system: System, uncertainty: float | None = None
) -> str:
    """The slope over the user's own board: `0.12 mm across 400 mm`."""
    if uncertainty is not None:
        rise = give_or_take(rad * board_mm, uncertainty * board_mm, system)
    else:
        rise = length_words(rad * board_mm, system)
    return f"{rise} across {length_words(board_mm, system)}"


def bow_words(
    curvature: float, system: System, uncertainty: float | None = None
) -> str:
    """A curvature in 1/mm as the bow of an arc: `0.011 mm over 300 mm`."""
    over = PER_MM if system == "mm" else PER_INCH
    bow = abs(curvature) * over**2 / 8
    if uncertainty is None:
        much = length_words(bow, system)
    else:
        much = give_or_take(bow, uncertainty * over**2 / 8, system)
    return f"{much} over {per_words(system)}"


def angle_words(rad: float) -> str:
    """`2 deg`, and `0.5 mrad` for less than a tenth of a degree."""
    size, unit = (
        (rad / _DEGREE, "deg") if abs(rad) >= 0.1 * _DEGREE else (rad * 1e3, "mrad")
    )
    return f"{_strip(f'{size:.{_places(size, 3)}f}')} {unit}"


def share_words(ratio: float) -> str:
    """`0.1 %`."""
    return f"{_strip(f'{100 * ratio:.{_places(100 * ratio, 3)}f}')} %"

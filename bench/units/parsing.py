"""Lengths, angles, slopes and shares as people write them, to mm, rad and plain ratios.

Strict: what is not understood is an error, never a guess. Factors: NIST SP 811 (2008),
appendix B.8; the inch is 25.4 mm exactly.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from fractions import Fraction
from itertools import pairwise
from typing import NamedTuple


class UnitsError(ValueError):
    """A text that is no length, angle or slope; the message is one sentence with what
    would do."""


class _Kind(NamedTuple):
    """One kind of quantity. factors: of its units, by every name; compound: names of
    units that may follow each other, largest first; pint_unit: that of the result;
    None where no other units are taken."""

    name: str
    example: str
    factors: Mapping[str, Fraction | float]
    compound: tuple[str, ...] = ()
    pint_unit: str | None = None


def _by_name(rows: Mapping[str, Fraction | float | str]) -> dict[str, Fraction | float]:
    return {
        name: Fraction(factor) if isinstance(factor, str) else factor
        for names, factor in rows.items()
        for name in names.split()
    }


DEGREE = math.pi / 180  # rad
_FEET, _INCHES = "ft ft. foot feet", 'in in. inch inches "'
_DEGREES, _MINUTES = "deg degree degrees °", "arcmin min minute minutes '"
_SECONDS = 'arcsec sec second seconds "'
_LENGTH = _Kind(
    "length",
    '"0.05 mm", "3/4 in" or "5 thou"',
    _by_name(
        {
            "mm millimetre millimetres millimeter millimeters": "1",
            "cm centimetre centimetres centimeter centimeters": "10",
            "m metre metres meter meters": "1000",
            "um µm micron microns micrometre micrometres": "0.001",
            "micrometer micrometers": "0.001",
            _INCHES: "25.4",
            _FEET: "304.8",
            "thou thous mil mils": "0.0254",
        }
    ),
    (_FEET, _INCHES),
    "mm",
)
_ANGLE = _Kind(
    "angle",
    '"2 deg", "0.5 mrad" or "2\'"',
    _by_name(
        {
            "rad radian radians": 1.0,
            "mrad": 1e-3,
            "urad µrad": 1e-6,
            _DEGREES: DEGREE,
            _MINUTES: math.pi / 10800,
            _SECONDS: math.pi / 648000,
        }
    ),
    (_DEGREES, _MINUTES, _SECONDS),
    "rad",
)
_SHARE = _Kind(
    "share", '"0.1 %" or "500 ppm"', _by_name({"% percent": "0.01", "ppm": "0.000001"})
)
_TIME = _Kind("time", '"0.3 s" or "50 ms"', _by_name({"s sec": "1", "ms": "0.001"}))
_SLOPE_EXAMPLE = '"0.05 mm per 300 mm", "2 thou per ft" or "0.5 mrad"'

_LONGEST = 80  # characters
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
_SAME_MARKS = str.maketrans(
    "\u2212\u03bc\u2032\u2019\u2033\u201d\u00ba\u00a0\u202f", "-µ''\"\"°  "
)


def _tidy(text: object, what: str, example: str) -> str:
    """The text with one spelling of each mark, and ½ as 1/2."""
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

    out = ""
    for char in text:
        plain = unicodedata.normalize("NFKC", char)
        slash = "\N{FRACTION SLASH}" in plain and unicodedata.category(char) == "No"
        out += " " + plain.replace("\N{FRACTION SLASH}", "/") if slash else char
    tidy = out.translate(_SAME_MARKS).strip()
    if not tidy:
        raise UnitsError(f"there is no {what} in an empty text; {example} would do")
    return tidy


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
            raise _left_over(whole_text, text[at:], example)
        value, at = _number(text, at, whole_text)
        found = _UNIT.match(text, at)
        if found is None:
            if rest := text[at:].strip():
                raise UnitsError(
                    f'"{whole_text}": "{rest}" is not a unit; {example} would do'
                )
            raise UnitsError(
                f'"{text}" has no unit: write what it is in, as in {example}'
            )
        terms.append((value, found["unit"]))
        at = len(text) - len(text[found.end() :].lstrip(" "))
    return terms


def _left_over(text: str, rest: str, example: str) -> UnitsError:
    return UnitsError(f'"{text}": "{rest}" is left over; only {example} would do')


def _known(unit: str, kind: _Kind) -> str | None:
    """The name as the table has it; capitals are forgiven except in one-letter
    units."""
    if unit in kind.factors:
        return unit
    low = unit.lower()
    return low if len(unit) > 1 and low in kind.factors else None


def _factor(unit: str, kind: _Kind, whole_text: str) -> Fraction | float:
    name = _known(unit, kind)
    if name is not None:
        return kind.factors[name]
    if kind.pint_unit is not None and unit not in ("%", "'"):
        import pint

        try:
            registry = pint.get_application_registry()  # type: ignore[no-untyped-call]
            one = registry.Quantity(1.0, unit.rstrip("."))
            root = {"mm": "meter", "rad": "radian"}[kind.pint_unit]
            if str(one.to_root_units().units) == root:
                return float(one.to(kind.pint_unit).magnitude)
        except (pint.PintError, ValueError, TypeError, AttributeError, ArithmeticError):
            pass
    raise UnitsError(
        f'"{whole_text}": "{unit}" is not a unit of {kind.name}; {kind.example} would'
        " do"
    )


def _parse(text: str, kind: _Kind) -> float:
    terms = _terms(_tidy(text, kind.name, kind.example), text, kind.example)
    factors = [_factor(unit, kind, text) for _, unit in terms]
    if len(terms) > 1:
        rank = {n: at for at, names in enumerate(kind.compound) for n in names.split()}
        ranks = [rank.get(_known(unit, kind) or "", -1) for _, unit in terms]
        falling = all(a >= 0 and b > a for a, b in pairwise(ranks))
        if not falling or any(value < 0 for value, _ in terms[1:]):
            rest = " ".join(f"{float(value):g} {unit}" for value, unit in terms[1:])
            raise _left_over(text, rest, kind.example)
    total: float | Fraction = Fraction(0)
    for (value, _), factor in zip(terms, factors, strict=True):
        exact = isinstance(factor, Fraction)
        total = total + (abs(value) if exact else float(abs(value))) * factor
    return -float(total) if terms[0][0] < 0 else float(total)


def parse_length(text: str) -> float:
    """A length in mm: `0.05 mm`, `0,05 mm`, `19 3/4 in`, `1/8"`, `5 thou`, `1 ft
    6 in`."""
    for value, unit in _terms(
        _tidy(text, _LENGTH.name, _LENGTH.example), text, _LENGTH.example
    ):
        if unit == "'":
            raise UnitsError(
                f'"{text}": \' is a minute of arc here; write "{float(value):g} ft" for'
                " feet"
            )
    return _parse(text, _LENGTH)


def parse_angle(text: str) -> float:
    """An angle in rad: `2 deg`, `0.5 mrad`, `2'`, `1° 30'`."""
    return _parse(text, _ANGLE)


def parse_slope(text: str) -> float:
    """A slope in rad (small angles): a length per length, or an angle as it is.

    `0.05 mm per 300 mm`, `0.1 mm/m`, `2 thou per ft`, `0.5 mrad`, `2'`. The ratio
    itself is taken: at 1 mrad it differs from the angle by a third of a millionth part.
    """
    tidy = _tidy(text, "slope", _SLOPE_EXAMPLE)
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
    if _known(terms[0][1], _LENGTH) is not None and terms[0][1] != '"':
        raise UnitsError(
            f'"{text}" is a length, not a slope: say over what; {_SLOPE_EXAMPLE}'
            " would do"
        )
    return parse_angle(text)


def parse_share(text: str) -> float:
    """A relative figure as a plain ratio: `0.1 %`, `500 ppm`."""
    return _parse(text, _SHARE)


def parse_time(text: str) -> float:
    """A short time in s: `0.3 s`, `50 ms`."""
    return _parse(text, _TIME)

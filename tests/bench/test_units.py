"""Lengths, angles and slopes as people write them, beside NIST SP 811's factors and pint."""

from __future__ import annotations

import csv
import math
import subprocess
import sys
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.units.parsing import UnitsError, parse_angle, parse_length, parse_share, parse_slope, parse_time

REFERENCE = Path(__file__).parents[2] / "fixtures" / "reference"


def rows(name: str) -> list[dict[str, str]]:
    with (REFERENCE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


# NIST SP 811 (2008), appendix B.8: how each name of its table is written here.
SP811 = {
    "inch": ("1 in", "length"),
    "foot": ("1 ft", "length"),
    "yard": ("1 yd", "length"),
    "mil (thou, 0.001 inch)": ("1 thou", "length"),
    "microinch": ("1 microinch", "length"),
    "foot, U.S. survey": ("1 survey_foot", None),
    "degree": ("1 deg", "angle"),
    "minute of arc": ("1'", "angle"),
    "second of arc": ('1"', "angle"),
    "degree Fahrenheit (interval)": ("", None),
}


@pytest.mark.parametrize("row", rows("unit_factors.csv"), ids=lambda row: row["from"])
def test_factors_are_those_of_nist_sp_811(row: dict[str, str]) -> None:
    text, kind = SP811[row["from"]]
    if kind is None:
        return
    printed = float(row["sp811_printed"].replace(" ", "").replace("E", "e"))
    ours = parse_length(text) / 1000 if kind == "length" else parse_angle(text)
    assert ours == pytest.approx(float(row["factor"]), rel=1e-15)
    assert ours == pytest.approx(printed, rel=5e-7)


def test_units_that_people_do_not_write_are_refused() -> None:
    with pytest.raises(UnitsError, match="survey_foot"):
        parse_length("1 survey_foot")


# Rows of unit_checks.csv, each with the value worked out through this module.
CHECKS = {
    ("1 in", "mm"): lambda: parse_length("1 in"),
    ("1 ft", "mm"): lambda: parse_length("1 ft"),
    ("1/64 in", "mm"): lambda: parse_length("1/64 in"),
    ("0.001 in", "um"): lambda: parse_length("0.001 in") * 1000,
    ("0.0005 in", "um"): lambda: parse_length("0.0005 in") * 1000,
    ("0.00005 in", "um"): lambda: parse_length("0.00005 in") * 1000,
    ("1 mm", "in"): lambda: 1 / parse_length("1 in"),
    ("0.01 mm", "in"): lambda: parse_length("0.01 mm") / parse_length("1 in"),
    ("0.02 mm", "thou"): lambda: parse_length("0.02 mm") / parse_length("1 thou"),
    ("1 deg", "rad"): lambda: parse_angle("1 deg"),
    ("1 arcmin", "rad"): lambda: parse_angle("1 arcmin"),
    ("1 arcsec", "rad"): lambda: parse_angle("1 arcsec"),
    ("1 arcsec over 100 mm", "um"): lambda: math.tan(parse_angle("1 arcsec")) * 100 * 1000,
    ("1 arcmin over 300 mm", "mm"): lambda: math.tan(parse_angle("1 arcmin")) * 300,
    ("0.1 deg over 600 mm", "mm"): lambda: math.tan(parse_angle("0.1 deg")) * 600,
    ("1 deg over 100 mm", "mm"): lambda: math.tan(parse_angle("1 deg")) * 100,
    ("0.01 mm over 300 mm", "arcsec"): lambda: (
        math.atan(parse_slope("0.01 mm over 300 mm")) / parse_angle("1 arcsec")
    ),
    ("0.001 in per foot", "mm/m"): lambda: parse_slope("0.001 in per foot") * 1000,
    ("0.001 in per foot", "arcsec"): lambda: (
        math.atan(parse_slope("0.001 in per foot")) / parse_angle("1 arcsec")
    ),
    ("0.005 in over 12 in", "deg"): lambda: math.degrees(math.atan(parse_slope("0.005 in over 12 in"))),
}


def test_every_check_row_of_length_and_angle_is_tried() -> None:
    asked = {
        (row["quantity"], row["unit"]) for row in rows("unit_checks.csv") if "degF" not in row["quantity"]
    }
    assert asked == set(CHECKS)


@pytest.mark.parametrize("key", CHECKS, ids=lambda key: f"{key[0]} in {key[1]}")
def test_checks_at_full_precision(key: tuple[str, str]) -> None:
    (value,) = [float(r["value"]) for r in rows("unit_checks.csv") if (r["quantity"], r["unit"]) == key]
    assert CHECKS[key]() == pytest.approx(value, rel=2e-15 if "over" not in key[0] else 1e-9)


@pytest.mark.parametrize(
    ("text", "mm"),
    [
        ("0.05 mm", 0.05),
        ("0,05 mm", 0.05),
        (",5 mm", 0.5),
        ("3/4 in", 19.05),
        ("19 3/4 in", 501.65),
        ("19-3/4 in", 501.65),
        ("19¾ in", 501.65),
        ('1/8"', 3.175),
        ("1/8 ″", 3.175),
        ("5 thou", 0.127),
        ("5 mil", 0.127),
        ("1 ft 6 in", 457.2),
        ("6 ft 2 1/2 in", 1892.3),
        ("25.4mm", 25.4),
        ("5 MM", 5.0),
        ("3 µm", 0.003),
        ("3 μm", 0.003),
        ("3 um", 0.003),
        ("3 microns", 0.003),
        ("1.5 cm", 15.0),
        ("0.5 m", 500.0),
        ("  7 mm ", 7.0),
        ("7\N{NO-BREAK SPACE}mm", 7.0),
        ("\N{MINUS SIGN}0.1 mm", -0.1),
        ("-19 3/4 in", -501.65),
        ("1e-3 mm", 0.001),
        ("0.3 yd", 274.32),
    ],
)
def test_lengths(text: str, mm: float) -> None:
    assert parse_length(text) == pytest.approx(mm, rel=1e-15)


@pytest.mark.parametrize(
    ("text", "rad"),
    [
        ("2 deg", math.radians(2)),
        ("0.5°", math.radians(0.5)),
        ("0.5 mrad", 0.0005),
        ("200 urad", 0.0002),
        ("2'", math.radians(2 / 60)),
        ("2’", math.radians(2 / 60)),
        ('30"', math.radians(30 / 3600)),
        ("1° 30'", math.radians(1.5)),
        ("1 deg 2' 3\"", math.radians(1 + 2 / 60 + 3 / 3600)),
        ("-1° 30'", -math.radians(1.5)),
        ("0.1 rad", 0.1),
    ],
)
def test_angles(text: str, rad: float) -> None:
    assert parse_angle(text) == pytest.approx(rad, rel=1e-14)
    assert parse_slope(text) == pytest.approx(rad, rel=1e-14)


@pytest.mark.parametrize(
    ("text", "slope"),
    [
        ("0.05 mm per 300 mm", 0.05 / 300),
        ("0,05 mm per 300 mm", 0.05 / 300),
        ("0.05 mm/300 mm", 0.05 / 300),
        ("0.05 mm over 300 mm", 0.05 / 300),
        ("2 thou per ft", 2 * 0.0254 / 304.8),
        ("2 thou / ft", 2 * 0.0254 / 304.8),
        ("2 thou per 1 ft", 2 * 0.0254 / 304.8),
        ("1/64 in per 12 in", 1 / 64 / 12),
        ('1/64"/ft', 1 / 64 / 12),
        ("0.1 mm/m", 0.0001),
        ("-0.1 mm per 1 m", -0.0001),
    ],
)
def test_slopes(text: str, slope: float) -> None:
    assert parse_slope(text) == pytest.approx(slope, rel=1e-15)


def test_shares_and_times() -> None:
    assert parse_share("0.1 %") == 0.001
    assert parse_share("0,1%") == 0.001
    assert parse_share("500 ppm") == 0.0005
    assert parse_time("50 ms") == 0.05
    assert parse_time("0.3 s") == 0.3
    for text in ("0.1", "0.1 mm", "0.1 % 2 %", "", "%"):
        with pytest.raises(UnitsError):
            parse_share(text)


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("250", "no unit"),
        ("", "empty"),
        ("   ", "empty"),
        ("mm", '"mm"'),
        ("0.05 mm foo", '"foo" is left over'),
        ("250 mm,", '"," is left over'),
        ("5 mm 3 mm", '"3 mm" is left over'),
        ("5 in 3 ft", '"3 ft" is left over'),
        ("5 ft -3 in", "left over"),
        ("0.05 mm per 300 mm", '"per 300 mm" is left over'),
        ("0.05 0.06 mm", '"0.06 mm"'),
        ("1.2.3 mm", "1.2.3"),
        ("1,250 mm", "1250 or 1.250"),
        ("1,250.5 mm", "1,250.5"),
        ("250 mmm", '"mmm"'),
        ("250 kg", '"kg"'),
        ("250 s", '"s"'),
        ("2 deg", '"deg"'),
        ("2'", "2 ft"),
        ("5 %", '"%"'),
        ("1/0 in", "1/0"),
        ("19 5/4 in", "5/4"),
        ("5. mm", "5."),
        ("nan mm", "nan"),
        ("inf mm", "inf"),
        ("٣ mm", "٣"),
        ("1_000 mm", "_000"),
        ("0x10 mm", '"x"'),
        ("1e400 mm", "1e400"),
        ("--5 mm", "--5"),
        ("9" * 100 + " mm", "too long"),
    ],
)
def test_what_is_not_a_length_is_named(text: str, names: str) -> None:
    with pytest.raises(UnitsError) as caught:
        parse_length(text)
    message = str(caught.value)
    assert names in message
    assert "\n" not in message
    assert any(unit in message for unit in ("mm", " in", "ft")) or "write" in message


@pytest.mark.parametrize(
    ("text", "names"),
    [
        ("0.05 mm", "a length, not a slope"),
        ("0.05", "no unit"),
        ("0.05 mm per 300", "no unit"),
        ("0.05 per 300 mm", "no unit"),
        ("0.05 mm per 0 mm", "more than nothing"),
        ("0.05 mm per -3 mm", "more than nothing"),
        ("0.05 mm per 3 mm per 3 mm", "left over"),
        ("0.05 mm per", "left over"),
        ("0.05 mm per 2 deg", '"deg"'),
        ("5 percent", "percent"),
        ("5 %", "%"),
        ("1 deg per 300 mm", '"deg"'),
        ("1 kg", "kg"),
    ],
)
def test_what_is_not_a_slope_is_named(text: str, names: str) -> None:
    with pytest.raises(UnitsError) as caught:
        parse_slope(text)
    assert names in str(caught.value)


def test_a_number_without_quotes_is_refused() -> None:
    with pytest.raises(UnitsError, match="in quotes"):
        parse_length(250)  # type: ignore[arg-type]


PINT_NAMES = {
    "mm": "mm",
    "in": "inch",
    "thou": "thou",
    "ft": "foot",
    "cm": "cm",
    "m": "m",
    "µm": "um",
    '"': "inch",
}


@given(
    st.decimals(-100_000, 100_000, places=4, allow_nan=False, allow_infinity=False),
    st.sampled_from(sorted(PINT_NAMES)),
)
def test_lengths_agree_with_pint(number: object, unit: str) -> None:
    import pint

    theirs = pint.get_application_registry().Quantity(float(f"{number}"), PINT_NAMES[unit]).to("mm").magnitude
    assert parse_length(f"{number} {unit}") == pytest.approx(theirs, rel=1e-12, abs=1e-12)


@given(st.integers(0, 500), st.integers(0, 63), st.sampled_from([2, 4, 8, 16, 32, 64]))
def test_fractions_of_an_inch_are_exact(whole: int, top: int, bottom: int) -> None:
    top %= bottom
    expected = float((whole + Fraction(top, bottom)) * Fraction("25.4"))
    assert parse_length(f"{whole} {top}/{bottom} in") == expected
    assert parse_length(f'{whole}-{top}/{bottom}"') == expected


@given(
    st.text(max_size=30) | st.from_regex(r"-?[0-9 ./,]{1,8} ?[a-zµ'\"%°]{0,6}( per [0-9]{1,3} [a-z]{1,3})?")
)
def test_any_text_is_a_finite_number_or_a_units_error(text: str) -> None:
    for parse in (parse_length, parse_angle, parse_slope, parse_share, parse_time):
        try:
            assert math.isfinite(parse(text))
        except UnitsError as error:
            assert str(error)


def test_common_units_need_neither_pint_nor_numpy() -> None:
    code = (
        "import sys, bench.settings.settings_file as s, bench.render.settings as w;"
        "import bench.moves.lever, bench.units.parsing as u;"
        "u.parse_length('19 3/4 in'); u.parse_slope('2 thou per ft'); w.settings_lines(s.load());"
        "print([m for m in ('pint', 'numpy', 'tomlkit', 'asyncio', 'serial') if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"

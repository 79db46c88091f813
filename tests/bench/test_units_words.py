"""Lengths and slopes told in words: digits that people read, and the same number when read back."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.units import (
    System,
    across,
    angle_words,
    give_or_take,
    length_words,
    nominal_words,
    share_words,
    slope_words,
    station_words,
    uncertainty_places,
)
from bench.units.parsing import parse_angle, parse_length, parse_share, parse_slope

SYSTEMS = st.sampled_from(["mm", "inch"])


@pytest.mark.parametrize(
    ("mm", "system", "told"),
    [
        (0.05, "mm", "0.05 mm"),
        (0.1, "mm", "0.10 mm"),
        (0.001, "mm", "0.001 mm"),
        (0.0005, "mm", "0.0005 mm"),
        (0.1234, "mm", "0.123 mm"),
        (1.25, "mm", "1.25 mm"),
        (250.0, "mm", "250 mm"),
        (0.0, "mm", "0 mm"),
        (-0.05, "mm", "-0.05 mm"),
        (0.127, "inch", "5 thou"),
        (0.0254, "inch", "1 thou"),
        (0.00127, "inch", "0.05 thou"),
        (501.65, "inch", "19.75 in"),
        (2.54, "inch", "0.1 in"),
        (304.8, "inch", "12 in"),
    ],
)
def test_lengths(mm: float, system: System, told: str) -> None:
    assert length_words(mm, system) == told


@pytest.mark.parametrize(
    ("mm", "system", "told"),
    [
        (600.0, "mm", "600 mm"),
        (482.6, "mm", "482.6 mm"),
        (600.0, "inch", "23 5/8 in"),  # 23.622 in; the marks of a rule are sixteenths
        (400.0, "inch", "15 3/4 in"),
        (304.8, "inch", "12 in"),
        (-300.0, "inch", "-11 13/16 in"),
        (12.7, "inch", "1/2 in"),
        (480.0, "inch", "18.90 in"),  # 18.898 in lies between two marks
        (0.127, "inch", "5 thou"),
        (0.0, "inch", "0 in"),
    ],
)
def test_a_length_that_only_names_a_board_is_told_as_a_rule_shows_it(
    mm: float, system: System, told: str
) -> None:
    assert nominal_words(mm, system) == told


@given(st.floats(100 * 0.0254, 3000.0))
def test_the_name_of_a_length_is_true_to_half_a_hundredth_of_an_inch(mm: float) -> None:
    assert parse_length(nominal_words(mm, "inch")) == pytest.approx(mm, abs=0.005001 * 25.4)


def test_fixed_places_keep_their_zeros_and_no_minus_zero() -> None:
    assert length_words(0.1, "mm", 3) == "0.100 mm"
    assert length_words(-0.00001, "mm", 3) == "0.000 mm"
    assert length_words(0.127, "inch", 1) == "5.0 thou"


def test_slopes_over_what_the_user_is_used_to() -> None:
    assert slope_words(0.05 / 300, "mm") == "0.05 mm per 300 mm"
    assert slope_words(2 * 0.0254 / 304.8, "inch") == "2 thou per ft"
    assert slope_words(0.05 / 150, "mm", 150) == "0.05 mm per 150 mm"
    assert slope_words(0.001 / 6, "inch", 152.4) == "1 thou per 6 in"
    assert slope_words(0.0005, "mm", uncertainty=0.00004) == "0.150 mm give or take 0.012 mm per 300 mm"


def test_across_their_own_board() -> None:
    assert across(0.0003, 400, "mm") == "0.12 mm across 400 mm"
    assert across(0.0003, 400, "mm", 0.000028) == "0.120 mm give or take 0.011 mm across 400 mm"
    assert across(0.0003, 406.4, "inch") == "4.8 thou across 16 in"


@pytest.mark.parametrize(
    ("value", "uncertainty", "system", "told"),
    [
        (0.15, 0.011, "mm", "0.150 mm give or take 0.011 mm"),
        (0.1512, 0.05, "mm", "0.15 mm give or take 0.05 mm"),
        (-0.1512, 0.05, "mm", "-0.15 mm give or take 0.05 mm"),
        (0.15, 0.0111, "inch", "5.9 thou give or take 0.5 thou"),
        (100.0, 0.2, "mm", "100.00 mm give or take 0.20 mm"),
        (0.0, 0.02, "mm", "0.000 mm give or take 0.020 mm"),
        (0.1, 0.0, "mm", "0.100 mm give or take 0.000 mm"),
    ],
)
def test_value_and_give_or_take_share_their_decimals(
    value: float, uncertainty: float, system: System, told: str
) -> None:
    assert give_or_take(value, uncertainty, system) == told


# GUM (JCGM 100:2008) 7.2.6: 10.05762 ohm with u = 27 mohm is told as 10.058 ohm.
def test_digits_of_the_gum_examples() -> None:
    assert give_or_take(10.05762, 0.027, "mm") == "10.058 mm give or take 0.027 mm"
    assert uncertainty_places(0.027) == 3


@given(st.floats(1e-6, 1e3))
def test_a_printed_give_or_take_never_hides_more_than_a_twentieth(uncertainty: float) -> None:
    printed = float(give_or_take(0.0, uncertainty, "mm").split(" give or take ")[1].split()[0])
    # one digit from 3 on: 3.16 would hide more than a twentieth as 3, and is told as 4;
    # what is finer than a shop's indicators read is told as the finest they do
    most = max(0.001, 4 * 0.95 / 3 * uncertainty, 2 * 0.001 if uncertainty > 0.00105 else 0.0)
    assert 0.95 * uncertainty - 1e-15 <= printed <= most + 1e-9


def last_digit(told: str) -> float:
    """Size of the last printed digit, in the unit it is printed in."""
    match = re.match(r"-?\d+(?:\.(\d+))?", told)
    assert match is not None
    return 10.0 ** -len(match[1] or "")


@given(st.floats(-5000, 5000), SYSTEMS)
def test_words_read_back_within_the_printed_digits(mm: float, system: System) -> None:
    told = length_words(mm, system)
    unit = 1.0 if system == "mm" else 0.0254 if told.endswith("thou") else 25.4
    finest = min(last_digit(told), 1e-3 if told.endswith((" mm", " in")) else 0.1)
    assert parse_length(told) == pytest.approx(mm, abs=0.5000001 * finest * unit + 1e-12)


@given(st.floats(1e-7, 0.09), SYSTEMS, st.none() | st.floats(10, 2000).map(lambda x: round(x, 1)))
def test_slopes_read_back(rad: float, system: System, over: float | None) -> None:
    assert parse_slope(slope_words(rad, system, over)) == pytest.approx(rad, rel=0.06)


@given(st.floats(1e-7, 3.0))
def test_angles_and_shares_read_back(value: float) -> None:
    assert parse_angle(angle_words(value)) == pytest.approx(value, rel=0.06)
    assert parse_share(share_words(value)) == pytest.approx(value, rel=0.06)
    assert angle_words(0.03490658503988659) == "2 deg"
    assert share_words(0.001) == "0.1 %"


@pytest.mark.parametrize(
    ("mm", "metric", "inch"),
    [
        (0.0, "0 mm", "0 in"),
        (-299.764, "-300 mm", "-11.8 in"),
        (112.5, "112 mm", "4.4 in"),
        (1.0, "1 mm", "0.0 in"),
    ],
)
def test_a_place_is_told_to_the_millimetre_and_never_in_thou(mm: float, metric: str, inch: str) -> None:
    assert station_words(mm, "mm") == metric
    assert station_words(mm, "inch") == inch

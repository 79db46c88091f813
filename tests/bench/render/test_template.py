"""Templates: lengths and slopes in the reader's units; lists; a missing value is an error."""

from __future__ import annotations

import pytest

from bench.render.template import in_a_row, sentence


@pytest.mark.parametrize(
    ("template", "values", "mm", "inch"),
    [
        ("{play:length} of play", {"play": 0.127}, "0.127 mm of play", "5 thou of play"),
        ("{a:slope+}", {"a": 0.0005}, "+0.15 mm per 300 mm", "+6 thou per ft"),
        ("at {places}", {"places": [25, 50, 75]}, "at 25, 50 and 75", "at 25, 50 and 75"),
        ("{gaps:length}", {"gaps": [25.4, 50.8]}, "25.4 mm and 50.8 mm", "1 in and 2 in"),
        ("{share:.0%}", {"share": 0.5}, "50%", "50%"),
    ],
)
def test_values_are_shown_in_the_readers_units(template: str, values: dict, mm: str, inch: str) -> None:
    assert sentence(template, values, "mm") == mm
    assert sentence(template, values, "inch") == inch


def test_a_missing_value_is_an_error() -> None:
    with pytest.raises(KeyError):
        sentence("{play:length}", {})


def test_words_in_a_row() -> None:
    assert [in_a_row(w) for w in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]


@pytest.mark.parametrize(
    ("template", "value", "mm", "inch"),
    [
        ("{x:length 3}", 0.1, "0.100 mm", "3.9 thou"),
        ("{x:length 3 1}", 0.1016, "0.102 mm", "4.0 thou"),
        ("{x:length 0}", 149.6, "150 mm", "5.89 in"),
        ("{x:length 3}", None, "an unknown length", "an unknown length"),
        ("{x:nominal}", 75.0, "75 mm", "2.95 in"),
        ("{x:nominal}", 600.0, "600 mm", "23 5/8 in"),
        ("{x:distance}", 12.34, "12.3 mm", "0.486 in"),
        ("{x:distance}", 0.1234, "0.12 mm", "4.9 thou"),
        ("{x:rounded 0.012}", 0.1234, "0.12 mm", "4.9 thou"),
        ("{x:rounded {u}}", 0.1234, "0.1 mm", "5 thou"),
        ("{x:way}", "away", "away from you", "away from you"),
    ],
)
def test_lengths_in_the_digits_that_they_support(template: str, value: object, mm: str, inch: str) -> None:
    values = {"x": value, "u": 0.2}
    assert sentence(template, values, "mm") == mm
    assert sentence(template, values, "inch") == inch

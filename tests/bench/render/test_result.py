"""What a result says first: the danger, then what is and how much, in its own terms; a good one opens with Good."""

from __future__ import annotations

import re

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.finding import Finding, Move, Quantity, Remark
from bench.render.finding import quantity_words
from bench.render.printed_result import result_lines
from bench.render.remarks import notes_of
from bench.render.result import (
    act_remark,
    danger,
    figure_parts,
    headline,
    limit,
    next_act,
    opening,
    opposite,
    other_quantities,
    part_size,
    short_move,
    short_sentence,
    surely_closes,
)

PER_300 = 1 / 300


def _finding(verdict: str | None, *quantities: Quantity, check: str = "fence-square") -> Finding:
    return Finding(check=check, quantities=[*quantities], verdict=verdict, at="2026-06-03T10:00:00+02:00")  # type: ignore[arg-type]


def _fence(verdict: str, mm_per_300: float) -> Finding:
    q = Quantity(
        "fence",
        mm_per_300 * PER_300,
        "rad",
        0.006 * PER_300,
        9.0,
        0.05 * PER_300,
        verdict,
        "left end too near you",
    )  # type: ignore[arg-type]
    return _finding(verdict, q)


@given(
    st.floats(0.0005, 3.0), st.floats(0.0002, 0.5), st.sampled_from(["mm", "inch"]),
    st.sampled_from(["mm", "rad"]), st.sampled_from([None, 400.0]), st.sampled_from([None, 160.0]),
)  # fmt: skip
def test_a_value_has_the_same_digits_large_and_in_its_sentence(much, give, units, unit, board, over) -> None:
    """0.10 large stood above 0.096 give or take 0.013: one blade, two numbers."""
    span = 1.0 if unit == "mm" else over or board or 300.0
    q = Quantity(
        "blade", much / span, unit, give / span, 9.0, 0.05 / span, "outside", "rear leans left", over=over
    )
    (figures, unit_told, *_), said = (
        figure_parts(q, units, board),
        short_sentence(_finding("outside", q), units, board),
    )
    assert f": {figures} {unit_told} give or take" in said, (figures, said)


def _rip(verdict: str, way: str, mm_per_300: float, give: float = 0.02) -> Finding:
    """The judged quantity is the second one: how it stands to the blade."""
    leans = Quantity("rip-fence", 0.3 * PER_300, "rad", 0.01 * PER_300, 9.0, way="rear leans left")
    toe = Quantity("toe", mm_per_300 * PER_300, "rad", give * PER_300, 9.0, 0.05 * PER_300, verdict, way)  # type: ignore[arg-type]
    return _finding(verdict, leans, toe, check="rip-fence")


def test_a_rip_fence_that_closes_is_a_danger_before_all_else() -> None:
    said = headline(_rip("outside", "closes at the rear", 0.24), "mm", None)
    assert (
        said.danger
        == "DANGER: the rip fence closes at the rear by 0.240 mm give or take 0.020 mm per 300 mm."
    )
    assert said.lead[0].startswith("Work can bind behind the blade and be thrown back")
    assert short_sentence(_rip("outside", "closes at the rear", 0.24), "mm", None) == said.danger


def test_a_rip_fence_that_may_close_is_told_so() -> None:
    found = _rip("cannot-tell", "closes at the rear", 0.01)
    words = "DANGER: the rip fence may close at the rear: 0.010 mm give or take 0.020 mm per 300 mm."
    assert danger(found, "mm") == words
    assert not surely_closes(found)


@pytest.mark.parametrize(
    ("verdict", "first"), [("inside", "Good: opens at the rear, "), ("outside", "Opens at the rear.")]
)
def test_a_rip_fence_that_opens_leads_with_it(verdict: str, first: str) -> None:
    said = headline(_rip(verdict, "opens at the rear", -0.24), "mm", 600.0)
    assert said.danger is None and said.lead[0].startswith(first)
    assert "rear leans" not in " ".join(said.lead)


def test_an_opening_is_positive_whatever_the_side_of_the_fence() -> None:
    for sign in (1, -1):
        assert opening(_rip("inside", "opens at the rear", sign * 0.03)) == pytest.approx(0.03 * PER_300)
        assert opening(_rip("outside", "closes at the rear", sign * 0.03)) == pytest.approx(-0.03 * PER_300)
    assert opening(_fence("inside", 0.01)) is None


def test_a_good_result_opens_with_good_and_the_figure_that_is_left() -> None:
    said = headline(_fence("inside", 0.012), "mm", 400.0)
    assert said.lead == ["Good: 0.016 mm give or take 0.008 mm across your 400 mm board."]
    assert said.small[0] == "Left end too near you: too little to matter."


def test_a_good_size_names_what_it_is() -> None:
    q = Quantity("side-play", 0.03, "mm", 0.01, 9.0, 0.1, "inside")
    assert headline(_finding("inside", q), "mm", None).lead == [
        "Good: side play 0.030 mm give or take 0.010 mm."
    ]


def test_what_is_out_opens_with_the_whole_direction() -> None:
    assert headline(_fence("outside", 0.09), "mm", 400.0).lead == [
        "Left end too near you.",
        "0.120 mm give or take 0.008 mm across your 400 mm board.",
    ]


def test_only_a_sled_fence_is_told_across_the_board() -> None:
    blade = Quantity(
        "blade", 0.1 * PER_300, "rad", 0.01 * PER_300, 9.0, 0.05 * PER_300, "outside", "rear leans left"
    )
    said = " ".join(headline(_finding("outside", blade, check="slot-blade"), "mm", None).lead)
    assert "board" not in said and "per 300 mm" in said


@pytest.mark.parametrize(("way", "whole"), [("away", "away from you"), ("toward", "toward you")])
def test_a_move_names_the_whole_direction_after_the_number(way: str, whole: str) -> None:
    move = Move("left", way, 0.144, 0.01, [], 0.144, "")  # type: ignore[arg-type]
    assert short_move(move, "mm") == f"Move the left end 0.14 mm {whole}."


@pytest.mark.parametrize(
    ("way", "other"),
    [
        ("left end too near you", "left end too far from you"),
        ("right end too far from you", "right end too near you"),
        ("rear leans left", "rear leans right"),
        ("opens at the rear", "closes at the rear"),
        ("crown", "crown"),
    ],
)
def test_the_other_way(way: str, other: str) -> None:
    assert opposite(way) == other


def test_the_command_line_says_the_danger_first() -> None:
    closing = _rip("outside", "closes at the rear", 0.24)
    assert result_lines(closing, "mm")[0] == danger(closing, "mm")
    assert result_lines(closing, "mm")[2].startswith("Rip fence: out")
    assert result_lines(_fence("outside", 0.09), "mm")[0].startswith("Sled fence square: out")


@pytest.mark.parametrize("way", ["opens at the rear", "closes at the rear"])
def test_no_limit_of_a_rip_fence_lets_it_close(way: str) -> None:
    toe = _rip("outside", way, 0.04).quantities[1]
    assert limit(toe, "mm", None) == "Good enough opening by up to 0.05 mm per 300 mm."
    assert "Out: good enough opening" in quantity_words(toe, "mm")
    assert figure_parts(toe, "mm", None)[3] == "good up to 0.05"


def test_a_limit_is_told_across_the_board_as_its_figure_is() -> None:
    said = headline(_fence("outside", 0.09), "mm", 600.0)
    assert said.small == ["Good enough within 0.10 mm across 600 mm (0.05 mm per 300 mm)."]


def test_what_is_shown_as_zero_has_no_way() -> None:
    slot = Quantity("slot-curvature", 1e-9, "1/mm", 1e-7, 9.0, way="the sled turns left as it is pushed")
    assert quantity_words(slot, "mm") == "Slot's curve: 0.000 mm give or take 0.002 mm over 300 mm."
    curved = msgspec.structs.replace(slot, value=1e-6)
    assert quantity_words(curved, "mm").startswith(
        "Slot's curve: the sled turns left as it is pushed, 0.011 mm"
    )


def test_the_command_line_says_what_to_do_and_which_of_two_is_out() -> None:
    top = Quantity("fence-lean", 1.2e-3, "rad", 5e-5, 8.0, 1e-3, "outside", "top leans away from you")
    lines = result_lines(_finding("outside", top, check="upright"), "mm")
    assert "  Bring the sled fence's top back as much, then check again." in lines
    between = Quantity("between", 9e-5, "rad", 6e-5, 9.0, 1.7e-4, "inside", "fences tighter than square")
    left = Quantity("left", 3e-4, "rad", 4e-5, 9.0, 1.7e-4, "outside", "its outer end too far from you")
    lines = result_lines(_finding("inside", between, left, check="mitre-square"), "mm")
    assert "Out: good enough within 0.051 mm per 300 mm." in lines[3] and "Stop" not in " ".join(lines)


def test_a_length_of_its_own_is_told_to_the_millimetre_and_no_digit_is_finer_than_known() -> None:
    opens = Quantity(
        "rip-fence", 1.92e-4, "rad", 6.8e-6, 9.0, 1.6e-4, "outside", "opens at the rear", over=218.929
    )  # type: ignore[arg-type]
    text = " ".join(headline(_finding("outside", opens, check="rip-fence"), "mm", None).lead)
    assert "0.042 mm give or take 0.002 mm over 219 mm" in text


def test_nothing_to_take_off_is_no_line() -> None:
    play = Quantity("side-play", 0.09, "mm", 0.05, None, 0.15, "inside", None)
    off = Quantity("relief", 0.0, "mm", 0.0)
    found = _finding("inside", play, off, check="runner-fit")
    assert other_quantities(found, "mm") == [] and "take off" not in " ".join(result_lines(found, "mm"))


def test_what_is_said_as_the_act_is_no_note_as_well() -> None:
    good = Remark("play-good", values={"binds": 0.03, "loose": 0.15}, severity="act")
    q = Quantity("side-play", 0.08, "mm", 0.01, 9.0, band=(0.03, 0.15))
    found = msgspec.structs.replace(_finding(None, q), remarks=[good])
    assert next_act(found, "mm") == "Good play: it binds under 0.03 mm and is loose over 0.15 mm."
    assert notes_of(found, "mm", but=[act_remark(found)]) == []
    outside = Quantity("side-play", 0.2, "mm", 0.01, 9.0, 0.15, "outside", band=(0.03, 0.15))
    assert limit(outside, "mm", None) == "Good enough from 0.03 to 0.15 mm."
    wide = msgspec.structs.replace(outside, band=(0.03, 30.0))
    assert re.fullmatch(r"Good enough from [0-9.]+ thou to [0-9.]+ in\.", limit(wide, "inch", None))


@pytest.mark.parametrize(
    ("name", "whose", "act"),
    [
        ("fence-lean", "Sled fence's", "Bring the sled fence's top back as much, then check again."),
        ("blade-lean", "Blade's", "Set the blade upright by the saw's manual, then check again."),
    ],
)
def test_what_leans_is_named(name, whose, act) -> None:
    q = Quantity(name, 1.2e-3, "rad", 5e-5, 8.0, 1e-3, "outside", "top leans away from you")
    found = _finding("outside", q, check="upright")
    assert headline(found, "mm", None).lead[0] == f"{whose} top leans away from you."
    assert short_sentence(found, "mm", None).startswith(f"{whose} top leans away from you: ")
    assert next_act(found, "mm") == act


@pytest.mark.parametrize(
    ("standard", "units", "words"),
    [
        (0.0002, "mm", "under 0.001 mm"),
        (0.0003, "mm", "0.001 mm"),
        (0.0005, "inch", "under 0.1 thou"),
        (0.002, "inch", "0.2 thou"),
    ],
)
def test_a_part_too_small_to_tell_is_no_row_of_zeros(standard: float, units: str, words: str) -> None:
    assert part_size(standard, "mm", units, None) == words

"""Quantities, rows of a budget and set-ups have names that a person reads; none is shown as code has it."""

from __future__ import annotations

import re

import pytest
from source_calls import rows_named

from bench.checks import checks
from bench.finding import BudgetRow, Finding, Quantity, Remark
from bench.render.finding import quantity_words
from bench.render.names import BUDGET_PARTS, LESSENS, QUANTITIES, placement_name, spaced
from bench.render.printed_result import result_lines
from bench.render.remarks import remark_words
from bench.render.result import size_on_board


def test_every_quantity_of_every_check_has_a_name() -> None:
    assert {name for check in checks().values() for name in check.quantities} <= QUANTITIES.keys()


def test_every_row_of_a_budget_has_a_name() -> None:
    found = rows_named()
    assert found and found <= BUDGET_PARTS.keys(), found - BUDGET_PARTS.keys()


def test_a_fence_is_never_just_a_fence() -> None:
    """There are two on a saw: of the sled and of the table."""
    whole = re.compile(r"(sled|rip|mitre) fence")
    assert all(whole.search(spaced(kind)) for kind in checks() if "fence" in spaced(kind))
    assert spaced("fence-square") == "sled fence square" and spaced("handle-left") == "handle left"


def test_what_lessens_a_part_is_said_of_parts_that_there_are() -> None:
    assert LESSENS.keys() <= BUDGET_PARTS.keys()
    for words in LESSENS.values():
        assert words[0].isupper() and words.endswith(".") and len(words.split()) <= 12, words


@pytest.mark.parametrize(
    ("placement", "name"),
    [
        ("handle-left", "handle left"),
        ("turn-135", "135 degrees"),
        ("turn-495", "135 degrees"),  # on the second way round
        ("-", "this set-up"),
        ("as-is", "the first set-up"),
    ],
)
def test_a_set_up_is_named_without_its_identifier(placement: str, name: str) -> None:
    assert placement_name(placement) == name


def test_no_identifier_is_shown() -> None:
    """Neither that of a set-up nor of a pass that was taken live."""
    row = BudgetRow("between sweeps", "A", 1e-5, 5.0, 0.6)
    q = Quantity("yaw-play", 3e-4, "rad", 2e-5, 9.0)
    remarks = [
        Remark("pass-apart", "handle-left", "3f2ab81c9d01", {"apart": 1e-4}),
        Remark("pair-lacking", None, None, {"lacking": "leaned-left", "there": "leaned-right"}),
        Remark("read-once", values={"quantity": "yaw-play"}),
    ]
    said = " ".join(
        result_lines(Finding(check="side-play", quantities=[q], budget=[row], remarks=remarks), "mm")
    )
    for internal in ("3f2ab81c9d01", "handle-left", "leaned-left", "yaw-play", "between sweeps", "side-play"):
        assert internal not in said, said
    assert remark_words(Remark("pass-apart", "handle-left", "3", {"apart": 1e-4}), "mm").startswith(
        "Pass 3 at handle"
    )


def test_an_angle_is_told_over_its_own_length() -> None:
    """A blade between its two spots, and not across a board that it never meets."""
    q = Quantity("blade", 5e-4, "rad", 1e-4, 9.0, 3.3e-4, "outside", "rear leans right", over=160.0)
    assert "0.080 mm give or take 0.016 mm over 160 mm" in quantity_words(q, "mm", 600.0)
    assert size_on_board(q, "mm", 600.0) == "0.080 mm give or take 0.016 mm over 160 mm"
    assert "Out: good enough within 0.053 mm over 160 mm." in quantity_words(q, "mm")
    board = Quantity("fence", 5e-4, "rad", 1e-4, 9.0)
    assert size_on_board(board, "mm", 600.0).endswith("across your 600 mm board")


def test_a_good_result_opens_with_good_and_the_figure_that_is_left() -> None:
    q = Quantity("fence", 2e-5, "rad", 1e-5, 9.0, 1.6e-4, "inside", "left end too near you")
    lines = result_lines(Finding(check="fence-square", quantities=[q], verdict="inside"), "mm", 400.0)
    assert lines[0].startswith("Good: 0.0") and "too near" not in lines[0]

"""What a leaf under the tip proves. The inch is 25.4 mm exactly (NIST SP 811, 2008, appendix B.8)."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.procedure.leaf_proof import allowed, judge_leaf, leaf_remark, too_coarse
from bench.render.notices import text

leaves = st.sampled_from([0.04, 0.05, 0.10, 0.15, 0.25, 0.50, 1.0])
counts = st.sampled_from([0.0005, 0.001, 0.002])


def shows(mm: float, count: float) -> float:
    return round(mm / count) * count


@given(leaves, counts, st.floats(-3.0, 3.0))
def test_the_leaf_itself_is_proved_wherever_the_tip_rests(leaf, count, rest) -> None:
    change = shows(rest + leaf, count) - shows(rest, count)
    assert judge_leaf(change, leaf, count).outcome == "proved"


@given(leaves, counts, st.floats(-3.0, 3.0))
def test_the_other_way_is_never_proved(leaf, count, rest) -> None:
    change = shows(rest - leaf, count) - shows(rest, count)
    assert judge_leaf(change, leaf, count).outcome == ("way" if leaf > allowed(count) / 2 else "proved")


@given(leaves, leaves, counts)
def test_another_leaf_is_not_taken_for_it(leaf, other, count) -> None:
    proof = judge_leaf(other, leaf, count)
    assert (proof.outcome == "proved") == (abs(other - leaf) <= allowed(count))
    assert "kept" in text([leaf_remark(proof, other, leaf)]) or proof.outcome == "proved"


@given(st.sampled_from([0.10, 0.25, 0.50, 1.0]), st.floats(-1.0, 1.0))
def test_inches_taken_for_millimetres_are_named(leaf, rest) -> None:
    """An instrument that counts 0.00005 in, its inches read as millimetres."""
    change = shows((rest + leaf) / 25.4, 5e-5) - shows(rest / 25.4, 5e-5)
    proof = judge_leaf(change, leaf, 5e-5)
    assert proof.outcome == "inches" and "25.4" in text([leaf_remark(proof, change, leaf)])


@given(st.sampled_from([0.05, 0.10, 0.25]), st.floats(-1.0, 1.0))
def test_millimetres_taken_for_inches_are_named(leaf, rest) -> None:
    change = (shows(rest + leaf, 0.001) - shows(rest, 0.001)) * 25.4
    proof = judge_leaf(change, leaf, 0.0254)
    assert proof.outcome == "millimetres" and "25.4" in text([leaf_remark(proof, change, leaf)])


@pytest.mark.parametrize("factor", [0.1, 0.01, 10.0, 100.0, 1000.0])
def test_lost_decimals_are_named(factor) -> None:
    assert judge_leaf(0.5 * factor, 0.5, 0.0005).outcome == "decimals"


@pytest.mark.parametrize("change", [0.0, 0.001, -0.002, 0.004])
def test_no_change_is_no_proof_and_no_contradiction(change) -> None:
    assert judge_leaf(change, 0.10, 0.001).outcome == "nothing"


def test_words_in_thousandths_for_inch_users() -> None:
    proof = judge_leaf(0.1016, 0.1016, 0.00127)
    assert (
        text([leaf_remark(proof, 0.1016, 0.1016)], "inch")
        == "I saw 4.0 thou going in: right unit, right way."
    )


def test_a_leaf_of_a_count_or_two_proves_nothing() -> None:
    assert too_coarse(0.02, 0.01) and too_coarse(0.05, 0.02)
    assert not too_coarse(0.03, 0.01) and not too_coarse(0.10, 0.01)

"""The model of a cut: the worked example, chances and quantiles against the standards' examples, the choice of what
to do first."""

from __future__ import annotations

import json
import math
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.cut.forecast import Term, advice, best_pair, conformance_probability, outcome, share_limit, worth

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"
CONFORMANCE = json.loads((REFERENCE / "conformity_decisions.json").read_text())["conformance_probability"]
UM = 1e-6
TOLERANCE = 0.05 / 300
PER_300 = 300.0

# a 60 +/- 15, c -30 +/- 10, k 20 +/- 10, free play 222 full swing, seat 20, all urad; held to a wall it scatters by 20
FENCE = Term(
    part="fence", check="fence-square", value=60 * UM, uncertainty=15 * UM, best_uncertainty=7.5 * UM
)
BOW = Term(part="bow", check="fence-straight", value=-30 * UM, uncertainty=10 * UM, best_uncertainty=5 * UM)
SLOT = Term(part="slot", check="fence-square", value=20 * UM, uncertainty=10 * UM, best_uncertainty=5 * UM)
PLAY = Term(part="play", check="side-play", scatter=222 * UM / math.sqrt(12), best_scatter=20 * UM)
SEAT = Term(part="seat", check="fence-square", scatter=20 * UM, lasting=True)
EXAMPLE = [FENCE, BOW, SLOT, PLAY, SEAT]


def told(gain: float) -> float:
    """mm per 300, to the digit in which the example is told."""
    return round(gain * PER_300, 3)


def test_the_worked_example() -> None:
    """The design's own example, which was found by simulation of boards (no other source)."""
    after = outcome(EXAMPLE, TOLERANCE)
    assert after.value == pytest.approx(50 * UM)
    assert told(after.within_95) == 0.050
    assert round(after.good_share, 3) == 0.951
    gains = {part: told(worth(EXAMPLE, TOLERANCE, part)) for part in ("play", "fence", "bow")}
    assert gains == {"play": 0.018, "fence": 0.009, "bow": -0.009}
    assert told(worth(EXAMPLE, TOLERANCE, "fence", "bow", "slot", act="measure")) == 0.001
    first = advice(EXAMPLE, TOLERANCE)
    assert first is not None and (first.part, first.act) == ("play", "put-right")


def test_fence_and_wall_together_leave_two_hundredths() -> None:
    """The pair that gains most of all: .050 falls to .020."""
    pair = best_pair(EXAMPLE, TOLERANCE)
    assert pair is not None and set(pair.parts) == {"fence", "play"}
    assert told(pair.worth) == 0.030
    assert told(outcome(EXAMPLE, TOLERANCE).within_95 - pair.worth) == 0.020


@pytest.mark.parametrize("example", CONFORMANCE["examples"], ids=lambda one: one["name"])
def test_conformance_probability_of_the_standard(example: dict) -> None:
    """JCGM 106:2012, clause 7 (inputs and answers from memory of it, recomputed; see the file)."""
    low, high = example.get("TL", -math.inf), example.get("TU", math.inf)
    found = conformance_probability(low, high, example["y"], example["u"])
    assert round(found, 2) == example["published_p"]
    assert found == pytest.approx(example["recomputed_p"], abs=1e-12)


def test_terms_combine_as_the_end_gauge_of_the_guide() -> None:
    """JCGM 100:2008, H.1: the rows of the end gauge, once as biases and once as scatter, give its published total."""
    data = json.loads((REFERENCE / "gum_h1_end_gauge.json").read_text())
    rows = data["first_order_contributions_nm"]
    sizes = [size for name, size in rows.items() if not name.endswith("_dof")]
    total = data["recomputed_unrounded"]["combined_standard_uncertainty_nm"]
    biases = [Term(part="fence", check="fence-square", uncertainty=size) for size in sizes]
    scatters = [Term(part="play", check="side-play", scatter=size) for size in sizes]
    assert outcome(biases, 1.0).standard_uncertainty == pytest.approx(total, abs=0.05)
    assert outcome(biases, 1.0).spread == 0.0
    assert outcome(scatters, 1.0).spread == pytest.approx(total, abs=0.05)
    assert outcome(biases[:2] + scatters[2:], 1.0).standard_uncertainty == pytest.approx(total, abs=0.05)


@given(value=st.floats(-300, 300), standard=st.floats(0.1, 300), share=st.floats(0.5, 0.99))
def test_the_limit_holds_its_share(value: float, standard: float, share: float) -> None:
    """Against SciPy's normal distribution."""
    limit = share_limit(value, standard, share)
    from scipy.special import ndtr  # takes a worker that does not come here no time

    held = ndtr((limit - value) / standard) - ndtr((-limit - value) / standard)
    assert held == pytest.approx(share, abs=1e-9)


def test_without_any_uncertainty_it_is_certain() -> None:
    sure = outcome([Term(part="fence", check="fence-square", value=100 * UM)], TOLERANCE)
    assert (sure.good_share, sure.within_95) == (1.0, pytest.approx(100 * UM))
    assert outcome([Term(part="fence", check="fence-square", value=200 * UM)], TOLERANCE).good_share == 0.0


def only(part: str, value: float, uncertainty: float = 5 * UM, **more: object) -> Term:
    checks = {"fence": "fence-square", "bow": "fence-straight", "slot": "fence-square"}
    return Term(
        part=part,
        check=checks[part],
        value=value,
        uncertainty=uncertainty,
        best_uncertainty=uncertainty / 2,
        **more,
    )


def test_what_makes_up_for_another_is_left_alone() -> None:
    """The bow takes back what the fence is out by: neither alone, and nothing is left to gain by both."""
    terms = [only("fence", 80 * UM), only("bow", -80 * UM)]
    assert worth(terms, TOLERANCE, "bow") < 0 and worth(terms, TOLERANCE, "fence") < 0
    assert advice(terms, TOLERANCE) is None


def test_a_pair_is_advised_where_either_alone_makes_it_worse() -> None:
    terms = [only("fence", 150 * UM), only("bow", -90 * UM), only("slot", 5 * UM)]
    first = advice(terms, TOLERANCE)
    assert first is not None
    assert {first.part, first.together_with} == {"fence", "bow"}
    assert worth(terms, TOLERANCE, first.part) < 0 < first.worth


def test_measuring_better_wins_where_the_measurement_is_what_limits() -> None:
    terms = [only("fence", 1 * UM, 120 * UM), only("bow", 0.0, 20 * UM)]
    first = advice(terms, TOLERANCE)
    assert first is not None and (first.part, first.act) == ("fence", "measure")


def test_what_was_never_measured_is_to_be_checked_first() -> None:
    terms = [only("fence", 0.0, 200 * UM, assumed=True)]
    first = advice(terms, TOLERANCE)
    assert first is not None and (first.part, first.act) == ("fence", "measure")


def test_nothing_is_advised_where_nothing_gains() -> None:
    assert advice([SEAT], TOLERANCE) is None
    assert advice([only("fence", 2 * UM, 2 * UM)], TOLERANCE) is None

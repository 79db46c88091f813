"""What differs between the two set-ups of a square: the stand's place along the arm, and how the sled is drawn back.

Sled, slot and arm are bodies that are moved (fence_bodies); nothing of the program makes them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from everyday import ci
from fence_bodies import Disturbed, Hands, check, draw, truth

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.shared.return_error import ReturnError, split_return_errors
from bench.finding import Finding
from bench.gear import Indicator, Jig
from bench.procedure.conclusion import conclude
from bench.render.remarks import notes_of
from bench.uncertainty.variance_components import SET_UP

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
HANDS = Hands(dust=0.0)


def worked(disturbed: Disturbed, seed: int = 1, hands: Hands = HANDS) -> tuple[Finding, float, float]:
    """Finding, the fence's truth, the square's error."""
    rng = np.random.default_rng([seed, 5])
    saw = draw(rng, hands, disturbed)
    traces = [
        Trace(name, s.tolist(), [round(float(x), 6) for x in r], push, f"{n}", at=t.tolist())
        for n, (name, push, s, r, t) in enumerate(check(rng, saw, hands, disturbed))
    ]
    gear = EvidenceGear(indicator=Indicator(resolution=hands.count), jig=SLED)
    found = conclude(Evidence("fence-square", traces, {}, gear), id="x", at="2026-01-01T00:00:00+00:00")
    return found, truth(saw), saw.e


def parts(finding: Finding) -> dict[str, float]:
    return {row.part: row.standard_uncertainty for row in finding.budget}


@pytest.mark.parametrize("saws", [3, ci(12)])
def test_a_shifted_stand_on_a_bowed_arm_is_seen_and_reckoned_with(saws: int) -> None:
    disturbed = Disturbed(shifted=20.0, bow=0.02)
    told, held, off = 0, 0, []
    for seed in range(saws):
        finding, true, _ = worked(disturbed, seed)
        told += "stand-shifted" in finding.codes
        assert "form of the arm" not in parts(finding)  # both have met the same stretch of it
        off.append(finding.quantities[0].value - true)
        held += abs(off[-1]) <= finding.quantities[0].uncertainty
    assert told >= 0.75 * saws and held >= 0.8 * saws
    assert np.sqrt(np.mean(np.square(off))) < 20e-6  # 34 urad where nothing is made of it


def test_an_arm_without_texture_has_a_row_and_is_told_to_be_pencilled() -> None:
    finding, _, _ = worked(Disturbed(bow=0.02), hands=replace(HANDS, texture=0.0))
    bend = 8 * 0.02 / 220**2
    assert parts(finding)["stand along the arm"] == pytest.approx(bend * 10.0 / 2, rel=0.1)
    assert "stand-unseen" in finding.codes
    assert any("Pencil the start" in note for note in notes_of(finding, "mm"))
    straight, _, _ = worked(Disturbed(), hands=replace(HANDS, texture=0.0))
    assert parts(straight).get("stand along the arm", 0.0) < 2e-6
    assert "stand-unseen" not in straight.codes


def test_a_sled_drawn_back_on_its_other_wall_widens_nothing() -> None:
    calm, _, _ = worked(Disturbed())
    turned, _, _ = worked(Disturbed(back_yaw=2e-4))
    # what the scatter of the cycles hides of creep, and no more
    assert parts(turned).get("closure", 0.0) < 1.5e-5
    assert "return-turned" in turned.codes
    assert turned.codes.isdisjoint({"return-crept", "return-error", "ways-apart"})
    for one, other in zip(turned.quantities[:2], calm.quantities[:2], strict=True):
        assert one.uncertainty == pytest.approx(other.uncertainty, rel=0.2)
    assert any("so the answer stands" in note for note in notes_of(turned, "mm"))


def test_creep_in_both_set_ups_is_the_squares_and_cancels_in_the_fence() -> None:
    finding, true, e = worked(Disturbed(creep=1e-4))
    fence, square = finding.quantities[:2]
    assert parts(finding).get("closure", 0.0) < 1e-5 and "return-crept" in finding.codes
    assert abs(fence.value - true) <= fence.uncertainty < 5e-5
    assert square.uncertainty > 1.3 * fence.uncertainty
    assert abs(square.value - e) <= 1.2e-4  # the creep is in it


def test_creep_in_one_set_up_stands_in_the_fences_budget() -> None:
    finding, true, _ = worked(Disturbed(creep_first=1e-4))
    fence = finding.quantities[0]
    assert "closure" in parts(finding) and "return-unequal" in finding.codes
    assert abs(fence.value - true) <= fence.uncertainty


def test_what_is_gone_on_with_is_set_up_anew_and_averages() -> None:
    """Passes that settle what was too close to call come from two further set-ups, so that what differs between
    set-ups is halved in variance; more passes in the same two leave it."""
    rng = np.random.default_rng([3, 5])
    saw = draw(rng, HANDS, Disturbed())
    twice = [one for _ in range(2) for one in check(rng, saw, HANDS, Disturbed())]
    in_order = [
        Trace(name, s.tolist(), [round(float(x), 6) for x in r], push, f"{n}", at=t.tolist())
        for n, (name, push, s, r, t) in enumerate(twice)
    ]
    by_placement = sorted(in_order, key=lambda trace: trace.placement)
    rows = []
    for traces in (in_order, by_placement):
        evidence = Evidence("fence-square", traces, {}, EvidenceGear(indicator=Indicator(0.001), jig=SLED))
        rows.append(parts(conclude(evidence, id="x", at="2026-01-01T00:00:00+00:00")))
    assert rows[0]["between set-ups"] == pytest.approx(SET_UP / 2)
    assert rows[1]["between set-ups"] == pytest.approx(SET_UP / 2**0.5)


@pytest.mark.parametrize(
    ("first", "second", "common", "alternating"),
    [(0.02, 0.02, 0.02, 0.0), (0.02, -0.02, 0.0, 0.02), (0.02, 0.0, 0.01, 0.01), (0.0, 0.0, 0.0, 0.0)],
)
def test_signs_part_creep_from_a_turned_sled(
    first: float, second: float, common: float, alternating: float
) -> None:
    apart = split_return_errors(*(ReturnError(gap, 0.0, 1e-6) for gap in (first, second)))
    assert apart.likely_unequal == pytest.approx(min(common, alternating), abs=1e-5)
    assert (apart.common or 0.0) == pytest.approx(common) and (apart.alternating or 0.0) == pytest.approx(
        alternating
    )
    assert (apart.unequal or 0.0) == pytest.approx(min(common, alternating))

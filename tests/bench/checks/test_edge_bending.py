"""How far a straightedge gives way, against a beam worked out by finite differences, and its row in the answer."""

from __future__ import annotations

import math
from itertools import product

import numpy as np
import pytest
from everyday import everyday

from bench.checks.model import EvidenceGear
from bench.checks.shared.face_form import BEND, MODULUS, deflection
from bench.gear import Indicator
from bench.render.remarks import notes_of

THICK, HIGH, SPAN = 17.5, 30.0, 600.0


def beam(force: float, span: float, at: float, stiffness: float) -> float:
    """mm under a force at the share `at` of a beam on two supports: E I w'' = M, integrated on 4,000 places."""
    x = np.linspace(0.0, span, 4001)
    a = at * span
    moment = force * np.where(x < a, (1 - at) * x, at * (span - x))
    step = x[1] - x[0]
    slope = np.concatenate([[0.0], np.cumsum((moment[1:] + moment[:-1]) / 2) * step])
    way = np.concatenate([[0.0], np.cumsum((slope[1:] + slope[:-1]) / 2) * step]) / stiffness
    way -= way[-1] * x / span  # both ends rest on their blocks
    return float(-np.interp(a, x, way))


@pytest.mark.parametrize("of", ["steel", "aluminium"])
def test_the_middle_gives_way_as_a_beam_does(of) -> None:
    stiffness = MODULUS[of] * HIGH * THICK**3 / 12
    assert deflection(5.0, SPAN, THICK, HIGH, MODULUS[of]) == pytest.approx(
        beam(5.0, SPAN, 0.5, stiffness), rel=1e-4
    )


@pytest.mark.parametrize("at", [0.1, 0.3, 0.5])
def test_a_force_that_moves_along_it_gives_the_shape(at) -> None:
    shape = 16 * at**2 * (1 - at) ** 2
    assert beam(1.0, 1.0, at, 1.0) == pytest.approx(shape * beam(1.0, 1.0, 0.5, 1.0), rel=1e-4)


def straight_rows(gives: float = 0.0, pressed: float = 0.0, blocks: float = SPAN) -> list[tuple]:
    """pressed: times as hard that two more passes are pressed; 0 for none."""
    rows = []
    for n in range(3):
        for placement, sign in (("as-is", 1), ("pressed", 1), ("rolled-over", -1)):
            if placement == "pressed" and (n == 2 or not pressed):
                continue
            bend = gives * (pressed if placement == "pressed" else 1.0)
            for x in range(-300, 301, 5):
                u = x / blocks + 0.5
                form = sign * 0.01 * (1 - (x / 300) ** 2) + bend * 16 * u**2 * (1 - u) ** 2
                rows.append((n, placement, x, f"{1 + form + 0.0003 * math.sin(7 * x + n):.5f}"))
    return rows


def test_a_straight_fence_under_a_straightedge_that_bends_is_within_its_give_or_take(recorded) -> None:
    gear = EvidenceGear(indicator=Indicator(resolution=0.001))
    size = {"straightedge_thick": THICK, "straightedge_high": HIGH}
    gives = deflection(5.0, SPAN, THICK, HIGH, MODULUS["steel"])
    assert gives == pytest.approx(0.008, rel=0.01)
    found = recorded("fence-straight", straight_rows(gives), gear=gear, options=size)
    for q in found.quantities:
        assert abs(q.value) <= q.uncertainty
    row = {r.part: r for r in found.budget}["straightedge that bends"]
    assert row.standard_uncertainty <= gives / math.sqrt(3) and "straightedge-bends" in found.codes
    stiff = recorded(
        "fence-straight", straight_rows(), gear=gear, options={**size, "straightedge_thick": 60.0}
    )
    assert stiff.quantities[0].uncertainty < found.quantities[0].uncertainty / 3


def test_unsaid_it_bends_as_usual(recorded) -> None:
    found = recorded("fence-straight", straight_rows())
    bow = found.quantities[2]
    assert bow.uncertainty > BEND and "straightedge-bends-usual" in found.codes


def test_aluminium_gives_way_three_times_as_far(recorded) -> None:
    size = {"straightedge_thick": THICK, "straightedge_high": HIGH}
    steel, light = (
        recorded("fence-straight", straight_rows(), options={**size, **of}).remarks
        for of in ({}, {"straightedge_of": "aluminium"})
    )
    gives = [
        next(r for r in some if r.code == "straightedge-bends").values["gives"] for some in (steel, light)
    ]
    assert gives[1] == pytest.approx(3 * gives[0])


@pytest.mark.parametrize(
    ("gives", "times", "blocks"),
    everyday(product((0.008, -0.02), (2.6, 4.0, 7.5), (SPAN, 900.0)), 5),
)
def test_pressed_passes_show_how_far_it_gives_way_under_a_light_hand(recorded, gives, times, blocks) -> None:
    gear = EvidenceGear(indicator=Indicator(resolution=0.001))
    found = recorded("fence-straight", straight_rows(gives, times, blocks), gear=gear)
    assert "straightedge-pressed" in found.codes and "straightedge-bends-usual" not in found.codes
    for q in found.quantities:
        assert abs(q.value) <= q.uncertainty


def test_pressed_passes_show_that_it_does_not_bend(recorded) -> None:
    gear = EvidenceGear(indicator=Indicator(resolution=0.001))
    unsaid, found = (
        recorded("fence-straight", straight_rows(pressed=times), gear=gear) for times in (0.0, 5.0)
    )
    pressed = found.quantities[2]
    assert abs(pressed.value) <= pressed.uncertainty < unsaid.quantities[2].uncertainty / 4
    assert "straightedge-stiff" in found.codes  # "0.000 mm is taken off" says nothing
    assert not any("0.000 mm is taken off" in words for words in notes_of(found, "mm"))

"""The slot's curvature from both set-ups, its sign proved by turning bodies: nothing here repeats the program's formula.

A sled in a slot that is an arc is a rigid body turning about the arc's centre (a circle's tangent turns with the
travel; Euclid III.16-18). The arm is a shapely line in the sled, turned with it by `shapely.affinity`, and met by the
plunger's axis.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from shapely import affinity
from shapely.geometry import LineString

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.finding import Finding
from bench.gear import Indicator, Jig
from bench.procedure.conclusion import conclude
from bench.render.finding import quantity_words
from bench.render.result import other_quantities

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
PLUNGER_Y = 300.0  # mm, of the plunger, from the runners' middle at travel 0
TURNS_LEFT = 1.0e-6  # 1/mm: bows 0.011 mm over 300


def arm_in_sled(a: float, e: float, *, handle_left: bool, bow: float) -> LineString:
    """The ridden edge, in the sled's frame, as a body laid against the fence: handle along the fence, arm off it by
    90 deg + e through the square's body; turned over about the arm's own axis for the other set-up."""
    along = np.arange(0.0, 301.0, 1.0)
    proud = bow * (1 - ((along - 150.0) / 150.0) ** 2)  # a crown of the edge, away from the square's body
    # handle to the left: its face runs to -X, the arm up +Y, the body between them, so that the edge faces +X
    upright = math.pi / 2 - e
    x = along * math.cos(upright) + proud * math.sin(upright)
    y = along * math.sin(upright) - proud * math.cos(upright)
    edge = LineString(np.column_stack([x, y]))
    if not handle_left:
        edge = affinity.scale(edge, xfact=-1.0, origin=(0.0, 0.0))
    return affinity.rotate(edge, a, origin=(0.0, 0.0), use_radians=True)


def swept(
    edge: LineString, curvature: float, *, right: bool, step: float = 4.0
) -> tuple[list[float], list[float]]:
    """Travel and reading as the sled is pushed 220 mm along an arc of that curvature, counter-clockwise positive."""
    # the sled's origin (runners' middle) lies at (0, 0); pushed away along +Y the centre of a path that turns left
    # lies to the left
    centre = (-1.0 / curvature, 0.0)
    travel, reading = [], []
    for s in np.arange(0.0, 220.5, step):
        turned = affinity.rotate(edge, curvature * s, origin=centre, use_radians=True)
        axis = LineString([(-400.0, PLUNGER_Y), (400.0, PLUNGER_Y)])
        x = turned.intersection(axis).x
        travel.append(float(s))
        reading.append(float(2.0 + x) if right else float(2.0 - x))
    return travel, reading


def check(
    curvature: float, *, a: float = 3e-4, e: float = 5e-5, bow: float = 0.02, fence: str = "near"
) -> Finding:
    chance = np.random.default_rng(4)
    traces = []
    for name, left in (("handle-left", True), ("handle-right", False)):
        edge = arm_in_sled(a, e, handle_left=left, bow=bow)
        edge = affinity.translate(
            edge, yoff=PLUNGER_Y - 285.0
        )  # pushed, the plunger goes from the tip to the handle
        travel, reading = swept(edge, curvature, right=left)
        for n in range(3):
            noisy = [r + float(chance.normal(0, 3e-4)) for r in reading]
            traces.append(Trace(name, travel, noisy, True, f"{name}-{n}"))
    gear = EvidenceGear(indicator=Indicator(resolution=0.0001), jig=SLED)
    return conclude(Evidence("fence-square", traces, {}, gear), id="x", at="2026-01-01T00:00:00+00:00")


@pytest.mark.parametrize("curvature", [TURNS_LEFT, -TURNS_LEFT, 3 * TURNS_LEFT])
def test_a_sled_that_turns_in_its_slot(curvature: float) -> None:
    found = check(curvature)
    fence, square, slot = found.quantities
    assert (slot.name, slot.unit, slot.verdict, slot.tolerance) == ("slot-curvature", "1/mm", None, None)
    assert slot.value == pytest.approx(curvature, abs=slot.uncertainty)
    assert 0 < slot.uncertainty < 0.3e-6
    assert slot.way is not None and ("left" if curvature > 0 else "right") in slot.way
    # what a cut would be square to: the tooth's own path through the sled over the same travel, as a line
    tooth = LineString([(0, PLUNGER_Y), (1, PLUNGER_Y)])
    path = [
        affinity.rotate(tooth, -curvature * s, origin=(-1 / curvature, 0), use_radians=True)
        for s in np.arange(0.0, 220.5, 4.0)
    ]
    x, y = np.array([line.coords[0] for line in path]).T
    leans = -float(np.polyfit(y, x, 1)[0])  # counter-clockwise from +Y
    assert fence.value == pytest.approx(3e-4 - leans, abs=3e-6)
    # the square's own error over the stretch that is ridden: the body's edge there, as it lies unturned
    x, y = np.array(arm_in_sled(0.0, 5e-5, handle_left=True, bow=0.02).coords).T
    ridden = (y >= 65.0) & (y <= 285.0)
    assert square.value == pytest.approx(float(np.polyfit(y[ridden], x[ridden], 1)[0]), abs=3e-6)


def test_a_bowed_arm_in_a_straight_slot_is_no_curvature() -> None:
    slot = check(1e-12, bow=0.05).quantities[2]
    assert abs(slot.value) <= slot.uncertainty < 0.3e-6


def test_it_is_told_as_a_bow() -> None:
    found = check(TURNS_LEFT)
    line = quantity_words(found.quantities[2], "mm")
    assert ": the sled turns left as it is pushed, 0.01" in line
    assert line.endswith("over 300 mm.") and "give or take" in line
    assert any(": the sled turns left" in text for text in other_quantities(found, "mm"))


def test_one_set_up_cannot_tell_slot_from_arm() -> None:
    travel = [4.0 * k for k in range(56)]
    traces = [Trace("handle-left", travel, [2 + 1e-4 * s for s in travel], True, str(n)) for n in range(3)]
    gear = EvidenceGear(indicator=Indicator(resolution=0.001), jig=SLED)
    found = conclude(
        Evidence("fence-square", traces, {"placements": "handle-left"}, gear),
        id="x",
        at="2026-01-01T00:00:00+00:00",
    )
    assert [q.name for q in found.quantities] == ["fence"]


def test_identical_passes_in_coarse_counts_do_not_make_it_exact() -> None:
    travel = [25.0 * k for k in range(10)]
    traces = [
        Trace(name, travel, [2.0 + 0.01 * (k // 4) for k in range(10)], True, f"{name}-{n}")
        for name in ("handle-left", "handle-right")
        for n in range(3)
    ]
    gear = EvidenceGear(indicator=Indicator(resolution=0.01), jig=SLED)
    found = conclude(Evidence("fence-square", traces, {}, gear), id="x", at="2026-01-01T00:00:00+00:00")
    # the middle may be off the line through the ends by half a count and more
    assert found.quantities[2].uncertainty * 225.0**2 / 8 > 0.005

"""The sign and size of each term of a cut against a board that is cut as a body: sled, slot, blade and board are
turned and cut in the plane (`cut_shops`), nothing of the formula is used there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from cut_shops import FACE, UM, Shop, bowed, straightness
from hypothesis import given
from hypothesis import strategies as st

from bench.cut.conditions import CutConditions
from bench.cut.document import cut_document
from bench.cut.terms import LoggedFinding
from bench.finding import Finding, Quantity

FLAT = Shop(turned=0.0, face=np.zeros(FACE.size))
PLACES = st.sampled_from(["left", "across", "right"])
CUTS = st.floats(80.0, 400.0)


def angle(name: str, value: float) -> Quantity:
    return Quantity(name, value, "rad", 1e-9, None)


def result(check: str, quantities: list[Quantity], **more: object) -> LoggedFinding:
    return LoggedFinding(
        Finding(id=check, check=check, jig="sled", quantities=quantities, **more), 0, swept=220.0
    )


def forecast(
    shop: Shop, conditions: CutConditions, *, curvature: float = 0.0, blade: float | None = None
) -> float:
    quantities = [angle("fence", shop.sweep(0.0, 0.0)), angle("slot-curvature", curvature)]
    profile, contact = straightness(shop, np.random.default_rng(1), noise=0.0)
    results = [
        result("fence-square", quantities),
        result("fence-straight", [], profile=profile, contact=contact),
        result("side-play", [angle("yaw-play", 0.0)]),
    ]
    if blade is not None:
        results.append(result("slot-blade", [angle("blade", blade)]))
    return cut_document(results, None, conditions)["square"]["value"]


@given(turned=st.floats(-500 * UM, 500 * UM), at=PLACES, cut=CUTS)
def test_a_turned_fence(turned: float, at: str, cut: float) -> None:
    shop, conditions = replace(FLAT, turned=turned), CutConditions(300.0, cut, at)
    assert forecast(shop, conditions) == pytest.approx(shop.cut(conditions, 0.0, 0.0), abs=0.5 * UM)
    assert shop.cut(conditions, 0.0, 0.0) == pytest.approx(turned, abs=0.5 * UM)


@given(bend=st.floats(-0.03, 0.03), at=PLACES, cut=CUTS, swept=st.floats(150.0, 250.0))
def test_a_bent_slot(bend: float, at: str, cut: float, swept: float) -> None:
    shop = replace(FLAT, curvature=8 * bend / 500.0**2, swept=220.0)
    conditions = CutConditions(300.0, cut, at)
    found = forecast(shop, conditions, curvature=shop.curvature)
    assert found == pytest.approx(shop.cut(conditions, 0.0, 0.0), abs=1 * UM)


@given(height=st.floats(-0.05, 0.05), at=PLACES, board=st.floats(150.0, 600.0))
def test_a_bowed_fence(height: float, at: str, board: float) -> None:
    """To what lies between the heights of a profile that is sampled every 50 mm."""
    shop = replace(FLAT, face=bowed(height, 0.0, np.zeros(FACE.size)))
    conditions = CutConditions(board, 300.0, at)
    true = shop.cut(conditions, 0.0, 0.0)
    assert forecast(shop, conditions) == pytest.approx(true, abs=max(2 * UM, 200 * UM * abs(height) / 0.05))


@given(blade=st.floats(-400 * UM, 400 * UM), at=PLACES, cut=st.floats(250.0, 400.0))
def test_a_blade_whose_rear_takes_from_the_kept_part(blade: float, at: str, cut: float) -> None:
    """Stopped with the sled fence half way between front and rear, the whole lean is in the edge; the forecast's
    mean is half of it, and nothing where the rear leans away."""
    shop, conditions = replace(FLAT, blade=blade, stops_at=100.0), CutConditions(300.0, cut, at, clear=False)
    true = shop.cut(conditions, 0.0, 0.0)
    found = forecast(shop, conditions, blade=blade)
    assert found == pytest.approx(true / 2 * (cut - 30.0) / cut, abs=1 * UM)
    pushed_clear = replace(shop, stops_at=400.0)
    assert pushed_clear.cut(conditions, 0.0, 0.0) == pytest.approx(0.0, abs=0.5 * UM)


def test_yaw_and_seat_turn_the_edge_one_for_one() -> None:
    conditions = CutConditions(300.0, 200.0)
    assert FLAT.cut(conditions, 80 * UM, 0.0) == pytest.approx(80 * UM, abs=0.5 * UM)
    assert FLAT.cut(conditions, 0.0, 80 * UM) == pytest.approx(80 * UM, abs=0.5 * UM)

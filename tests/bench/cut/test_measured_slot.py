"""From the passes of a real check over a bent slot to the edge that is cut there: `fence-square` tells the slot's
curvature, and the forecast takes it to where the cut is made. Passes and cuts are made by bodies (`cut_shops`)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from cut_shops import FACE, UM, Shop

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.cut.conditions import CutConditions
from bench.cut.document import cut_document
from bench.cut.terms import LoggedFinding
from bench.finding import Quantity
from bench.gear import Indicator, Jig


def passes(shop: Shop, rng: np.random.Generator) -> list[Trace]:
    """Three pushes a set-up past a tip that stands on the right of the arm, then on its left."""
    turned, touch = shop.rests(-shop.handle, 0.0)
    traces = []
    for placement, side in (("handle-left", 1.0), ("handle-right", -1.0)):
        for number in range(3):
            seat = turned + rng.normal(0.0, 5 * UM)
            travel = np.linspace(-shop.pass_ends - shop.swept, -shop.pass_ends, 120)
            on_sled = shop.on_sled(np.zeros(2), travel, rng.normal(0.0, 5 * UM))
            x = -(on_sled - touch) @ np.array([math.cos(seat), math.sin(seat)])
            reading = side * x + rng.normal(0.0, 0.0005, x.size)
            name = f"{placement}-{number}"
            traces.append(Trace(placement, travel.tolist(), reading.tolist(), True, name))
    return traces


@pytest.mark.parametrize("bend", [0.03, -0.03])
def test_the_measured_curvature_leads_to_the_edge_that_is_cut(bend: float) -> None:
    rng = np.random.default_rng(7)
    shop = Shop(turned=40 * UM, face=np.zeros(FACE.size), curvature=8 * bend / 500.0**2, pass_ends=30.0)
    gear = EvidenceGear(indicator=Indicator(resolution=0.001), jig=Jig("sled"))
    finding = find("fence-square").evaluate(Evidence("fence-square", passes(shop, rng), {}, gear))
    (told,) = [q for q in finding.quantities if q.name == "slot-curvature"]
    assert told.value == pytest.approx(shop.curvature, abs=2 * told.uncertainty) and told.value * bend > 0
    play = finding.__class__(
        id="p", check="side-play", quantities=[Quantity("yaw-play", 0.0, "rad", 1e-9, None)]
    )
    results = [LoggedFinding(finding, 0, swept=shop.swept), LoggedFinding(play, 0)]
    off = []
    for cut in (80.0, 300.0, 400.0):
        conditions = CutConditions(150.0, cut)
        document = cut_document(results, None, conditions)
        true = shop.cut(conditions, 0.0, 0.0)
        off.append(abs(shop.sweep(0.0, 0.0) - true))
        assert document["square"]["value"] == pytest.approx(true, abs=document["square"]["uncertainty"])
        slot = next(row for row in document["rows"] if row["part"] == "slot")
        assert not slot["assumed"]
        assert slot["value"] == pytest.approx(
            true - shop.sweep(0.0, 0.0), abs=2 * slot["standard_uncertainty"]
        )
    assert max(off) > 80 * UM  # what the sled fence showed in the passes is not what is cut

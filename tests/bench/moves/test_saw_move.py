"""A blade or a rip fence that is out is told how to be turned; what the words say is done to a line, and it is true."""

from __future__ import annotations

import math
import re

import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.gear import Indicator, Saw
from bench.procedure.conclusion import conclude
from bench.render.remarks import notes_of

AT = "2026-01-01T00:00:00+00:00"


def work(kind: str, rotation: float, side: str, saw: Saw | None, **options):
    """A surface turned counter-clockwise by `rotation`, met by a carried indicator on that side of it."""
    sign = 1.0 if side == "right" else -1.0  # dX = +dr on the right, -dr on the left
    x = [-math.tan(rotation) * s for s in range(0, 301, 5)]  # the rear goes left

    def rows(places):
        return [sign * x[place // 5] + 2.0 for place in places]

    if kind == "slot-blade":
        traces = [
            Trace(end, [float(place)] * 3, rows([place]) * 3) for end, place in (("front", 0), ("rear", 300))
        ]
    else:
        places = list(range(0, 301, 5))
        # carried: the number rises as the surface comes nearer to the indicator
        traces = [Trace("-", [float(p) for p in places], rows(places), sweep=str(n)) for n in range(3)]
    gear = EvidenceGear(indicator=Indicator(resolution=0.001), saw=saw)
    return conclude(Evidence(kind, traces, options, gear), id="x", at=AT)


def told(finding) -> tuple[float, str]:
    words = next(note for note in notes_of(finding, "mm") if "'s rear" in note)
    assert words.startswith("First unplug the saw") and "manual" in words
    size, way = re.search(r"([\d.]+) mm.*? to the (left|right)", words).groups()
    return float(size), way


@pytest.mark.parametrize("rotation", [0.0012, -0.0012])
def test_the_blade_is_turned_back(rotation: float) -> None:
    finding = work("slot-blade", rotation, "right", Saw("s", parallel=0.0002))
    assert finding.verdict == "outside"
    assert finding.move is None  # that is a sled's
    size, way = told(finding)
    rear = -math.tan(rotation) * 300 + (size if way == "right" else -size)
    assert rear == pytest.approx(0.0, abs=0.01)


@pytest.mark.parametrize("side", ["left", "right"])
@pytest.mark.parametrize("rotation", [0.0012, -0.0012])
def test_the_rip_fence_is_left_a_little_open(rotation: float, side: str) -> None:
    saw = Saw("s", rip_fence=side, toe=0.0002)
    finding = work("rip-fence", rotation, "left" if side == "right" else "right", saw, blade=0.0)
    assert finding.verdict == "outside"
    size, way = told(finding)
    rear = -math.tan(rotation) * 300 + (size if way == "right" else -size)
    opens = rear if side == "right" else -rear
    assert 0.0 <= opens <= 0.0002 * 300
    assert finding.move is None


def test_nothing_is_told_where_it_is_good_or_nothing_judges_it() -> None:
    for finding in (
        work("slot-blade", 0.00001, "right", Saw("s", parallel=0.0005)),
        work("slot-blade", 0.0012, "right", None),
    ):
        assert "turn-saw" not in finding.codes


def test_inch_users_read_it_over_the_same_length_as_the_result() -> None:
    finding = work("slot-blade", 0.0012, "right", Saw("s", parallel=0.0002))
    note = next(note for note in notes_of(finding, "inch") if "'s rear" in note)
    assert " mm" not in note
    assert "to the right. That is for 11.8 in of its length." in note

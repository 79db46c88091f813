"""rip-fence: signs by moving contacts along turned lines with shapely, both sides, both mounts; limits; words."""

from __future__ import annotations

import math
from itertools import product

import pytest
from everyday import everyday
from shapely import affinity
from shapely.geometry import LineString

from bench.checks.model import EvidenceGear, PriorKnowledge
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Saw
from bench.procedure.conclusion import conclude

FINE = Indicator(resolution=0.001)


def surface(rotation: float, x: float) -> LineString:
    return affinity.rotate(LineString([(x, -900), (x, 900)]), rotation, origin=(x, 0), use_radians=True)


def gap(fence: LineString, blade: LineString, y: float) -> float:
    """How far apart they are along X at that place."""
    across = LineString([(-900, y), (900, y)])
    return abs(fence.intersection(across).x - blade.intersection(across).x)


def reads(face: LineString, side: str, y: float) -> float:
    """A plunger on the right of a face points left: it is pushed in as the face comes right."""
    met = face.intersection(LineString([(-900, y), (900, y)])).x
    return met if side == "right" else -met


def rows(b: float, where: str, mount: str, scatter: tuple[float, ...] = (-1e-5, 0.0, 1e-5)) -> list[tuple]:
    x = 200.0 if where == "right" else -200.0
    side = "left" if where == "right" else "right"
    out = []
    for n, off in enumerate(scatter):
        for k in range(61):
            s = 5.0 * k
            face = surface(b + off, x)
            if mount == "carried":
                r = reads(face, side, s)
            else:
                r = reads(affinity.translate(face, yoff=s), side, 0.0)
            out.append((n, "-", s, f"{r - reads(face, side, 0.0) + 2:.6f}"))
    return out


def one(found: Finding, name: str):
    return next(q for q in found.quantities if q.name == name)


TURNED = [(1e-4, -2e-4), (-2e-4, 3e-4), (4e-4, 4.5e-4)]
STANDS = product(("right", "left"), ("carried", "standing"))


@pytest.mark.parametrize(
    ("where", "mount", "b_blade", "b_fence"),
    everyday([(*stands, *turned) for stands, turned in product(STANDS, TURNED)], 2),
)
def test_opening_is_what_two_turned_lines_show(recorded, where, mount, b_blade, b_fence) -> None:
    saw = Saw("saw", rip_fence=where)
    found = recorded(
        "rip-fence",
        rows(b_fence, where, mount),
        gear=EvidenceGear(indicator=FINE, saw=saw),
        options={"blade": b_blade, **({"mount": mount} if mount == "standing" else {})},
    )
    assert one(found, "rip-fence").value == pytest.approx(b_fence, abs=1e-8)
    toe = one(found, "toe")
    assert toe.value == pytest.approx(b_fence - b_blade, abs=1e-8)
    fence, blade = surface(b_fence, 200.0 if where == "right" else -200.0), surface(b_blade, 0.0)
    wider = gap(fence, blade, 300.0) - gap(fence, blade, 0.0)
    assert toe.way == ("opens at the rear" if wider > 0 else "closes at the rear")
    assert abs(toe.value) * 300 == pytest.approx(abs(wider), rel=1e-3)
    assert ("closes" in found.codes) == (wider < 0)


def test_the_worked_toe(recorded) -> None:
    """Fence on the right, b_blade +0.0001, b_fence -0.0002: toe -0.0003, opens 0.090 over 300."""
    saw = Saw("saw", toe=0.12 / 300)
    found = recorded(
        "rip-fence", rows(-2e-4, "right", "carried"), gear=EvidenceGear(indicator=FINE, saw=saw),
        options={"blade": 1e-4},
    )  # fmt: skip
    toe = one(found, "toe")
    assert toe.value == pytest.approx(-3e-4, abs=1e-8) and toe.way == "opens at the rear"
    assert -toe.value * 300 == pytest.approx(0.090, abs=1e-5)
    assert toe.verdict == found.verdict == "inside" and one(found, "rip-fence").verdict is None


@pytest.mark.parametrize(
    ("opening", "said"),
    [(1e-4, "inside"), (0.0, "cannot-tell"), (-1e-4, "outside"), (1.6e-4, "cannot-tell"), (3e-4, "outside")],
)
def test_one_sided_limits(recorded, opening, said) -> None:
    gear = EvidenceGear(indicator=FINE, saw=Saw("saw"))  # opens by up to 0.08 over 500: 160 urad
    found = recorded("rip-fence", rows(-opening, "right", "carried"), gear=gear, options={"blade": 0.0})
    assert found.verdict == said
    assert (found.settle is not None) == (said == "cannot-tell")


def test_without_the_blade_there_is_no_toe(recorded) -> None:
    found = recorded(
        "rip-fence", rows(-1e-4, "right", "carried"), gear=EvidenceGear(indicator=FINE, saw=Saw("saw"))
    )
    assert [q.name for q in found.quantities] == ["rip-fence"]
    assert "blade-not-given" in found.codes
    nothing = recorded("rip-fence", rows(-1e-4, "right", "carried"))
    assert nothing.verdict is None and "no-saw-for-toe" in nothing.codes


def test_the_blades_own_give_or_take_is_a_row(recorded) -> None:
    gear = EvidenceGear(indicator=FINE, saw=Saw("saw"))
    options = {"blade": 0.0, "blade_uncertainty": 6e-5}
    found = recorded("rip-fence", rows(-1e-4, "right", "carried"), gear=gear, options=options)
    row = next(r for r in found.budget if r.part == "blade")
    assert row.standard_uncertainty == pytest.approx(3e-5)
    assert one(found, "toe").uncertainty > one(found, "rip-fence").uncertainty
    alone = recorded("rip-fence", rows(-1e-4, "right", "carried"), gear=gear, options={"blade": 0.0})
    assert "blade-exact" in alone.codes


def test_rows_and_one_pass(recorded) -> None:
    gear = EvidenceGear(indicator=FINE, saw=Saw("saw"))
    found = recorded("rip-fence", rows(-1e-4, "right", "carried"), gear=gear)
    std = {row.part: row.standard_uncertainty for row in found.budget}
    assert std["between sweeps"] == pytest.approx(1e-5 / math.sqrt(3), rel=1e-3)
    assert std["indicator over the span used"] == pytest.approx(0.01 * 0.03 / math.sqrt(3) / 300, rel=0.01)
    assert std["resolution"] == pytest.approx(0.001 / math.sqrt(6) / 300, rel=0.01)
    assert std["travel scale"] == pytest.approx(1e-7 / math.sqrt(3), rel=0.01)
    single = recorded("rip-fence", rows(-1e-4, "right", "carried", (0.0,)), gear=gear, known=PriorKnowledge())
    assert single.single_sweep
    assert {row.part: row.standard_uncertainty for row in single.budget}["between sweeps"] == pytest.approx(
        1e-4
    )
    assert "no-opening-good" not in single.codes


def test_an_indicator_too_coarse_for_the_limit_says_so(recorded) -> None:
    gear = EvidenceGear(indicator=Indicator(resolution=0.05), saw=Saw("saw"))
    found = recorded("rip-fence", rows(-1e-4, "right", "carried"), gear=gear)
    assert "no-opening-good" in found.codes


def test_no_sweep_is_a_message() -> None:
    from bench.checks.model import Evidence

    with pytest.raises(EvidenceError, match="no pass along the rip fence"):
        conclude(Evidence("rip-fence"), id="x", at="2026-01-01T00:00:00+00:00")

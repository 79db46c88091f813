"""Signs of the swept checks, proved on turned lines; vectors worked by independent simulations of surfaces
being swept (as given with the frame: standing right/left +0.0003/-0.0003 for a rise of 0.090 over 300)."""

from __future__ import annotations

import pytest
from everyday import everyday
from shapely import affinity
from shapely.geometry import LineString

from bench.checks.model import EvidenceGear, PriorKnowledge, SquareHistory
from bench.checks.shared.placement_fit import turn_factor
from bench.finding import EvidenceError
from bench.gear import Indicator, Jig, Saw, Square

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
SAW = Saw("saw")


def read_by_shapely(rotation: float, side: str, mount: str, s: float) -> float:
    """What a plunger along X reads of a surface along Y turned by `rotation`, the sled pushed by s.

    Standing: the surface goes by s, the plunger's axis stays at y = 0. Carried: the axis goes by s.
    """
    surface = affinity.rotate(LineString([(0, -2000), (0, 2000)]), rotation, origin=(0, 0), use_radians=True)
    at = 0.0
    if mount == "standing":
        surface = affinity.translate(surface, yoff=s)
    else:
        at = s
    met = surface.intersection(LineString([(-500, at), (500, at)]))
    return met.x if side == "right" else -met.x


@pytest.mark.parametrize("mount", ["standing", "carried"])
@pytest.mark.parametrize("side", ["right", "left"])
@pytest.mark.parametrize("rotation", [3e-4, -7e-4])
def test_turn_factor_by_a_turned_line(mount: str, side: str, rotation: float) -> None:
    rise = read_by_shapely(rotation, side, mount, 300.0) - read_by_shapely(rotation, side, mount, 0.0)
    assert turn_factor(mount, side) * rise / 300 == pytest.approx(rotation, rel=1e-6)


@pytest.mark.parametrize(
    ("mount", "side", "b"),
    [
        ("standing", "right", 3e-4),
        ("standing", "left", -3e-4),
        ("carried", "right", -3e-4),
        ("carried", "left", 3e-4),
    ],
)
def test_worked_rises(recorded, line, mount, side, b) -> None:
    found = recorded("rip-fence", line(1, "-", 0.090 / 300), options={"mount": mount, "side": side})
    assert found.quantities[0].value == pytest.approx(b, abs=1e-8)


@pytest.mark.parametrize(
    ("fence", "a", "e"),
    everyday(
        [(f, *pair) for pair in ((3e-4, 5e-5), (-4e-4, 8e-5), (1e-4, -9e-5)) for f in ("near", "far")], 3
    ),
)
def test_square_turned_over(recorded, line, fence, a, e) -> None:
    """The arm by hand: a square of 90 deg + e between handle and arm, through the square's body.

    On a near fence the arm points away; handle left, the body lies left of the arm, so an opening of e turns the
    arm clockwise, by -e; turned over, counter-clockwise. On a far fence it points toward the operator, and both
    change places.
    """
    sense = 1.0 if fence == "near" else -1.0
    left, right = a - sense * e, a + sense * e
    rows = []
    for n in range(3):
        for placement, b, side in (("handle-left", left, "right"), ("handle-right", right, "left")):
            places = [i * 5.0 for i in range(61)]
            reads = [read_by_shapely(b, side, "standing", s) for s in places]
            rows += [(n, placement, s, f"{2.5 + r:.6f}") for s, r in zip(places, reads, strict=True)]
    jig = Jig("sled", fence=fence, pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
    found = recorded("fence-square", rows, gear=EvidenceGear(jig=jig))
    fence_, square = found.quantities[:2]
    assert fence_.value == pytest.approx(a, abs=1e-7)
    assert square.value == pytest.approx(e, abs=1e-7)
    assert fence_.way == ("left end too near you" if a > 0 else "left end too far from you")
    assert found.move is None or (found.move.end, found.move.way) == ("left", "away" if a > 0 else "toward")


def test_the_slip_that_looks_dead_square_is_remarked_with_a_history(recorded, line) -> None:
    """Nothing turned over, the second side declared left: a = 0, e = -0.00025; the square's history tells."""
    rows = line(1, "handle-left", 2.5e-4) + line(2, "handle-right", 2.5e-4)
    known = PriorKnowledge(square=SquareHistory(5e-5, 1e-5, 10))
    found = recorded("fence-square", rows, known=known, gear=EvidenceGear(jig=SLED))
    assert found.quantities[0].value == pytest.approx(0, abs=1e-9)
    assert found.quantities[1].value == pytest.approx(-2.5e-4, abs=1e-9)
    assert "square-not-turned" in found.codes


def test_one_placement_by_history_or_tolerance(recorded, line) -> None:
    rows = [row for n in range(3) for row in line(n, "handle-left", 2.5e-4)]
    known = PriorKnowledge(square=SquareHistory(5e-5, 1e-5, 10))
    by_history = recorded("fence-square", rows, known=known)
    assert by_history.quantities[0].value == pytest.approx(3e-4, abs=1e-8)
    assert [q.name for q in by_history.quantities] == ["fence"]
    square = Square("shop", arm=250.0, tolerance=0.02)
    by_tolerance = recorded("fence-square", rows, gear=EvidenceGear(square=square))
    assert by_tolerance.quantities[0].value == pytest.approx(2.5e-4, abs=1e-8)
    row = next(r for r in by_tolerance.budget if r.part == "square")
    assert row.standard_uncertainty == pytest.approx(0.02 / 250 / 3**0.5)  # GUM 4.3.7
    alone = recorded("fence-square", rows)
    assert "square-unknown" in alone.codes
    assert alone.verdict is None and alone.move is None


def test_seats_declared_are_a_row(recorded, line) -> None:
    header = "sweep,placement,travel_mm,reading_mm,seat"
    rows = [
        (*row, placement[-1])
        for placement in ("handle-left", "handle-right")
        for n in range(3)
        for row in line(n, placement, 1e-4)
    ]
    found = recorded("fence-square", rows, header)
    seat = next(r for r in found.budget if r.part == "seat")
    assert seat.standard_uncertainty == pytest.approx(30e-6 / 2**0.5)  # 30 urad each, half and half


@pytest.mark.parametrize("side", ["right", "left"])
def test_toe_opens_or_closes(recorded, line, side) -> None:
    """Fence right of the blade: b_blade +0.0001, b_fence -0.0002: toe -0.0003, opens 0.090 over 300."""
    b = -2e-4 if side == "right" else 4e-4
    slope = b if side == "right" else -b  # carried: the indicator left of a right-hand fence reads +b
    saw = Saw("saw", rip_fence=side, toe=0.12 / 300)
    rows = [row for n in range(3) for row in line(n, "-", slope)]
    found = recorded("rip-fence", rows, gear=EvidenceGear(saw=saw), options={"blade": 1e-4})
    fence, toe = found.quantities
    assert fence.value == pytest.approx(b, abs=1e-8)
    assert toe.value == pytest.approx(b - 1e-4, abs=1e-8)
    assert toe.way == "opens at the rear" and toe.verdict == "inside" and found.verdict == "inside"
    closing = recorded("rip-fence", rows, gear=EvidenceGear(saw=saw), options={"blade": 2 * b})
    assert closing.quantities[1].way == "closes at the rear" and closing.verdict == "outside"
    assert "closes" in closing.codes


def test_slot_blade_one_spot(recorded) -> None:
    """A spot 0.03 further right at the rear, 200 mm on: the rear leans right, clockwise, b = -0.00015."""
    for slot, sign in (("right", 1), ("left", -1)):
        rows = [(1, "front", 0, 1.000)] * 3 + [(1, "rear", 200, 1.000 + sign * 0.030)] * 3
        found = recorded("slot-blade", rows, options={"slot": slot}, gear=EvidenceGear(saw=SAW))
        (blade,) = found.quantities
        assert blade.value == pytest.approx(-1.5e-4, abs=1e-9)
        assert blade.way == "rear leans right, toward the rip fence"
        assert found.verdict == "inside"
        assert any(r.part == "arbor end float" for r in found.budget)
    with pytest.raises(EvidenceError, match="3 touches"):
        recorded("slot-blade", [(1, "front", 0, 1), (1, "rear", 200, 1)])


def test_slot_blade_by_a_turned_line(recorded) -> None:
    rows = []
    for turn, tilt in ((0, 2e-4), (90, 0.0), (180, -2e-4), (270, 0.0)):
        for s in range(0, 205, 5):
            r = read_by_shapely(-3e-4 + tilt, "right", "carried", float(s))
            rows.append((turn, f"turn-{turn}", s, f"{1 + r:.6f}"))
    found = recorded("slot-blade", rows)
    assert found.quantities[0].value == pytest.approx(-3e-4, abs=1e-7)
    two = recorded("slot-blade", [r for r in rows if r[0] in (0, 180)])
    assert any(r.part == "plate warp" for r in two.budget)


def test_coarse_counts_and_no_settings(recorded, line) -> None:
    rows = []
    for n in range(3):
        for placement, slope in (("handle-left", 2.5e-4), ("handle-right", -3.5e-4)):
            for sweep, name, s, r in line(n, placement, slope, n=241):
                rows.append((sweep, name, s, f"{round(float(r) + 0.0013 * n, 2):.2f}"))
    found = recorded("fence-square", rows, gear=EvidenceGear(indicator=Indicator(resolution=0.01)))
    fence = found.quantities[0]
    assert abs(fence.value - 3e-4) <= fence.uncertainty < 1e-4

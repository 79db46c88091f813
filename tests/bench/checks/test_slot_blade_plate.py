"""slot-blade on a plate that is out in every way: turned, tilted on its arbor, warped and dished, touched in space.

The plate is a surface over its own polar coordinates that is spun about the arbor; what a plunger reads is where
its axis (along X) meets it. No formula of the check is used to make the readings.
"""

from __future__ import annotations

import math
import random
import statistics

import msgspec
import pytest
from shapely import affinity
from shapely.geometry import LineString

from bench.checks import find
from bench.checks.model import EvidenceGear, PriorKnowledge
from bench.finding import EvidenceError
from bench.gear import Indicator, Saw

FINE = Indicator(resolution=0.001)
SAW = Saw("saw")
HEIGHT = 20.0  # mm of the contact above the arbor


def plate(
    b: float, y: float, turn: float, *, tilt: float = 0.0, warp: float = 0.0, dish: float = 0.0
) -> float:
    """X of the plate at (y, HEIGHT), spun by `turn` rad: its mean plane is a line turned by b, seen from above."""
    line = affinity.rotate(LineString([(0, -500), (0, 500)]), b, origin=(0, 0), use_radians=True)
    mean = line.intersection(LineString([(-50, y), (50, y)])).x
    r, own = math.hypot(y, HEIGHT), math.atan2(HEIGHT, y) - turn
    return mean + tilt * r * math.cos(own - 0.7) + warp * math.cos(2 * own + 0.3) + dish * (r / 100) ** 2


def swept(
    b: float, slot: str, turns: int, *, reach: float = 90.0, centre: float = 0.0, **form: float
) -> list[tuple]:
    sign = 1 if slot == "right" else -1
    rows = []
    for k in range(turns):
        turn = 2 * math.pi * k / turns
        for i in range(61):
            y = centre - reach + 2 * reach * i / 60
            rows.append(
                (k, f"turn-{360 * k / turns:g}", f"{y:.3f}", f"{2 + sign * plate(b, y, turn, **form):.6f}")
            )
    return rows


@pytest.mark.parametrize("slot", ["right", "left"])
@pytest.mark.parametrize("b", [3e-4, -2e-4])
def test_four_turns_cancel_tilt_warp_and_a_dish(recorded, slot, b) -> None:
    rows = swept(b, slot, 4, tilt=4e-4, warp=0.03, dish=0.05)
    found = recorded("slot-blade", rows, options={"slot": slot}, gear=EvidenceGear(indicator=FINE, saw=SAW))
    (blade,) = found.quantities
    assert blade.value == pytest.approx(b, abs=2e-7)
    assert found.single_sweep
    assert not any(row.part.startswith("plate") or row.part == "turns not even" for row in found.budget)


def test_two_turns_leave_warp_in_and_say_so(recorded) -> None:
    rows = swept(1e-4, "right", 2, tilt=4e-4, warp=0.02)
    found = recorded("slot-blade", rows, gear=EvidenceGear(indicator=FINE, saw=Saw("saw", wobble=0.05)))
    row = next(r for r in found.budget if r.part == "plate warp")
    assert row.standard_uncertainty == pytest.approx(0.05 / 2 / math.sqrt(3) / 180, rel=0.02)
    assert "two-turns" in found.codes
    blade = found.quantities[0]
    assert abs(blade.value - 1e-4) <= blade.uncertainty
    assert abs(blade.value - 1e-4) > 1e-5  # the warp is really in it


def test_one_turn_has_the_tilt_and_says_so(recorded) -> None:
    found = recorded(
        "slot-blade", swept(1e-4, "right", 1, tilt=2e-4), gear=EvidenceGear(indicator=FINE, saw=SAW)
    )
    parts = [r.part for r in found.budget]
    assert "plate tilt" in parts and "turns not even" not in parts
    assert abs(found.quantities[0].value - 1e-4) <= found.quantities[0].uncertainty


def test_turns_that_are_not_even(recorded) -> None:
    rows = [r for r in swept(1e-4, "right", 4, tilt=2e-4) if r[0] != 3]
    found = recorded("slot-blade", rows, gear=EvidenceGear(indicator=FINE, saw=SAW))
    assert any(r.part == "turns not even" for r in found.budget)
    assert abs(found.quantities[0].value - 1e-4) <= found.quantities[0].uncertainty


def spots(
    b: float,
    slot: str,
    *,
    at: tuple[float, float] = (0.0, 170.0),
    scatter: float = 0.0,
    touches: int = 3,
    **form,
):
    """The same spot of the plate, at the front and, half a turn on (its angle mirrored), at the rear."""
    sign, chance, rows = (1 if slot == "right" else -1), random.Random(5), []
    half = (at[1] - at[0]) / 2
    front, rear = math.atan2(HEIGHT, -half), math.atan2(HEIGHT, half)
    for name, y, turn, place in (("front", -half, 0.0, at[0]), ("rear", half, rear - front, at[1])):
        for n in range(touches):
            r = 2 + sign * plate(b, y, turn, **form) + chance.gauss(0, scatter)
            rows.append((n, name, place, f"{r:.6f}"))
    return rows


@pytest.mark.parametrize("slot", ["right", "left"])
@pytest.mark.parametrize("b", [3e-4, -2e-4])
@pytest.mark.parametrize("rip", ["right", "left"])
def test_one_spot_knows_nothing_of_tilt_warp_and_dish(recorded, slot, b, rip) -> None:
    rows = spots(b, slot, tilt=4e-4, warp=0.05, dish=0.1)
    gear = EvidenceGear(indicator=FINE, saw=Saw("saw", rip_fence=rip))
    found = recorded("slot-blade", rows, options={"slot": slot}, gear=gear)
    (blade,) = found.quantities
    assert blade.value == pytest.approx(b, abs=1e-8)
    leans = "left" if plate(b, 100, 0) < plate(b, -100, 0) else "right"
    assert blade.way == f"rear leans {leans}, {'toward' if leans == rip else 'away from'} the rip fence"


def test_the_side_may_be_said_and_the_mount(recorded) -> None:
    rows = spots(3e-4, "left")
    assert recorded("slot-blade", rows, options={"side": "left"}).quantities[0].value == pytest.approx(
        3e-4, abs=1e-8
    )
    stood = recorded("slot-blade", spots(3e-4, "right"), options={"mount": "standing"})
    assert stood.quantities[0].value == pytest.approx(-3e-4, abs=1e-8)


def test_rows_of_one_spot(recorded) -> None:
    rows = spots(1e-4, "right", scatter=0.002, touches=5)
    gear = EvidenceGear(indicator=FINE, saw=SAW)
    found = recorded("slot-blade", rows, gear=gear, options={"end_float": 0.01})
    std = {r.part: r.standard_uncertainty for r in found.budget}
    # at either end
    assert std["arbor end float"] == pytest.approx(0.01 / math.sqrt(3) * math.sqrt(2) / 170)
    assert std["carriage float"] == pytest.approx(0.01 / math.sqrt(3) * math.sqrt(2) / 170)
    ends = [[float(r[3]) for r in rows if r[1] == name] for name in ("front", "rear")]
    pooled = math.sqrt(sum(statistics.variance(e) for e in ends) / 2)
    assert std["touches"] == pytest.approx(pooled * math.sqrt(2 / 5) / 170, rel=1e-3)
    assert std["indicator over the span used"] == pytest.approx(
        math.hypot(0.001 / math.sqrt(6), 0.01 * 0.017 / math.sqrt(3)) / 170, rel=0.05
    )
    assert "resolution" not in std
    default = recorded("slot-blade", spots(1e-4, "right"), gear=gear)
    std = {r.part: r.standard_uncertainty for r in default.budget}
    assert std["arbor end float"] == pytest.approx(0.005 / math.sqrt(3) * math.sqrt(2) / 170)
    assert std["resolution"] == pytest.approx(0.0005 / math.sqrt(3) * math.sqrt(2) / 170)
    assert {"end-float-usual", "carriage-float-usual", "spots-not-by-turns"} <= set(default.codes)
    assert "end-float-usual" not in found.codes
    of_saw = EvidenceGear(indicator=FINE, saw=msgspec.structs.replace(SAW, end_float=0.01))
    once = recorded("slot-blade", rows, gear=of_saw)
    assert once.quantities == found.quantities and "end-float-usual" not in once.codes


def by_turns(b: float, numbers: list[int], visits: list[float], touch: float = 0.0) -> list[tuple]:
    """Front and rear in turn, two touches a visit; visits: where each comes to rest, mm."""
    rows = []
    for number, (place, rest) in zip(numbers, enumerate(visits), strict=True):
        name, at = ("front", 10.0) if place % 2 == 0 else ("rear", 170.0)
        for k in (-1, 1):
            rows.append((number, name, at, f"{2 - b * at + rest + k * touch:.6f}"))
    return rows


@pytest.mark.parametrize("numbers", [[1, 2, 3, 4, 5, 6], [1, 2, 1, 2, 1, 2], [1, 1, 2, 2, 3, 3]])
def test_slid_anew_the_visits_scatter_and_no_float_is_stated(recorded, numbers) -> None:
    """Whatever the sweeps are numbered, the order of the file tells the visits."""
    rests = [0.004, -0.002, -0.003, 0.005, -0.001, -0.003]
    found = recorded("slot-blade", by_turns(2e-4, numbers, rests), gear=EvidenceGear(indicator=FINE))
    front, rear = rests[::2], rests[1::2]
    assert found.quantities[0].value == pytest.approx(
        2e-4 - (statistics.mean(rear) - statistics.mean(front)) / 160, abs=1e-7
    )
    rows = {r.part: r for r in found.budget}
    u = math.sqrt((statistics.variance(front) + statistics.variance(rear)) / 2 * (2 / 3)) / 160
    assert rows["touches"].standard_uncertainty == pytest.approx(u, rel=1e-3)
    assert rows["touches"].degrees_of_freedom == pytest.approx(4)
    assert not {"arbor end float", "carriage float"} & set(rows)
    assert "spots-not-by-turns" not in found.codes


def test_seats_tell_the_visits_too(recorded) -> None:
    header = "sweep,placement,travel_mm,reading_mm,seat"
    rows = [(*row, f"s{row[0]}") for row in by_turns(2e-4, [1, 2, 3, 4], [0.004, -0.002, -0.003, 0.005])]
    sorted_rows = sorted(rows, key=lambda row: row[1])
    found = recorded("slot-blade", sorted_rows, header, gear=EvidenceGear(indicator=FINE))
    assert "spots-not-by-turns" not in found.codes
    assert {r.part: r for r in found.budget}["touches"].degrees_of_freedom == pytest.approx(2)


def test_four_turns_once_are_judged_by_their_own_scatter(recorded) -> None:
    """What is left about the tilt's sine, by numpy, pooled with the usual scatter of a pass."""
    import numpy as np

    from bench.checks.shared.mean_turn import USUAL_PASS, WORTH

    swings, rows = [3e-4, 1e-4, -2.6e-4, -1.2e-4], []
    for k, more in enumerate(swings):
        rows += [(k, f"turn-{90 * k}", s, f"{2 - (1e-4 + more) * s:.6f}") for s in range(0, 141, 5)]
    found = recorded("slot-blade", rows, gear=EvidenceGear(indicator=FINE))
    turn = np.radians([0, 90, 180, 270])
    design = np.column_stack([np.ones(4), np.cos(turn), np.sin(turn)])
    left = float(np.linalg.lstsq(design, np.array(swings), rcond=None)[1][0])
    row = {r.part: r for r in found.budget}["between sweeps"]
    assert row.degrees_of_freedom == pytest.approx(1 + WORTH)
    pooled = (left + WORTH * USUAL_PASS**2) / (1 + WORTH)
    assert row.standard_uncertainty == pytest.approx(math.sqrt(pooled) / 2, rel=1e-3)
    assert "turns-once" in found.codes and "one-pass" not in found.codes


def test_verdicts_by_how_parallel_it_should_be(recorded) -> None:
    gear = EvidenceGear(indicator=FINE, saw=SAW)  # 0.05 over 150: 333 urad
    for b, said in ((1e-4, "inside"), (6e-4, "outside"), (3.2e-4, "cannot-tell")):
        found = recorded("slot-blade", spots(b, "right"), gear=gear)
        assert found.verdict == said and (found.settle is not None) == (said == "cannot-tell")
    assert found.settle.part == "carriage float" and found.settle.sweeps is None
    alone = recorded("slot-blade", spots(6e-4, "right"))
    assert alone.verdict is None and alone.quantities[0].tolerance is None
    assert "no-saw-blade" in alone.codes
    assert alone.quantities[0].way == "rear leans left"
    later = recorded("slot-blade", spots(1e-4, "right"), gear=gear, known=PriorKnowledge(looks=1))
    assert later.confidence == 0.99


def test_more_touches_are_asked_for_where_they_would_tell(recorded) -> None:
    """The number named is the least with which U, worked by scipy from the same rows, is clear of the limit."""
    from scipy.special import stdtrit

    gear = EvidenceGear(indicator=FINE, saw=SAW)
    rows = spots(1.5e-4, "right", scatter=0.01)
    found = recorded("slot-blade", rows, gear=gear, options={"end_float": 0.002, "carriage_float": 0.002})
    (blade,) = found.quantities
    assert found.verdict == "cannot-tell" and found.settle.part == "touches"
    each = found.settle.sweeps / 2
    clear = SAW.parallel - abs(blade.value)
    others = sum(r.standard_uncertainty**2 for r in found.budget if r.part != "touches")
    (touches,) = [r.standard_uncertainty for r in found.budget if r.part == "touches"]

    def expanded(n: float) -> float:
        u2 = touches**2 * 3 / n
        dof = (u2 + others) ** 2 / (u2**2 / (2 * (n - 1)))
        return stdtrit(dof, 0.995) * math.sqrt(u2 + others)

    assert expanded(each) <= clear < expanded(each - 1)


@pytest.mark.parametrize(
    ("rows", "said"),
    [
        ([(1, "front", 0, 1)] * 3, "front and rear"),
        ([(1, "front", 0, 1)] * 2 + [(1, "rear", 160, 1)] * 3, "front was touched 2 times"),
        ([(1, "front", 5, 1)] * 3 + [(1, "rear", 6, 1)] * 3, "mm apart"),
    ],
)
def test_what_one_spot_lacks_is_said(recorded, rows, said) -> None:
    with pytest.raises(EvidenceError, match=said):
        recorded("slot-blade", rows)


def test_spots_and_turns_do_not_mix(recorded) -> None:
    with pytest.raises(EvidenceError, match="nothing beside them"):
        recorded("slot-blade", spots(1e-4, "right") + swept(1e-4, "right", 2))


def test_what_is_asked_for_live() -> None:
    check = find("slot-blade")
    steps = check.plan({"slot": "left", "front_at": 10.0, "rear_at": 150.0}, EvidenceGear())
    assert [s.placement for s in steps] == ["front", "rear"] * 3
    front, rear = steps[:2]
    assert (front.placement, front.gather, front.repeat, front.at) == ("front", "spot", 1, 10.0)
    assert (rear.placement, rear.gather, rear.repeat, rear.at) == ("rear", "spot", 1, 150.0)
    assert {s.side for s in (front, rear)} == {"left"} and {s.mount for s in (front, rear)} == {"carried"}
    turns = check.plan({"turns": 4}, EvidenceGear())
    assert [s.placement for s in turns] == ["turn-0", "turn-90", "turn-180", "turn-270"]
    assert {s.gather for s in turns} == {"sweep"}
    assert check.accepts("turn-137.5", {}, EvidenceGear()).gather == "sweep"
    for rubbish in ("turn-", "turn-nan", "turn", "middle", "turn-inf"):
        assert check.accepts(rubbish, {}, EvidenceGear()) is None
    assert {c.name for c in check.cautions} >= {"unplug", "still-teeth", "count-off", "manual"}

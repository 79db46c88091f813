"""plate-wobble against numpy's FFT and statsmodels' regression on sine and cosine, and what it says of itself."""

from __future__ import annotations

import math
import random
from collections.abc import Iterable

import numpy as np
import pytest

from bench.checks import find
from bench.checks.model import EvidenceGear
from bench.cli.csv_rows import RecordedError
from bench.finding import EvidenceError
from bench.gear import Indicator, Saw
from bench.render.remarks import notes_of

GEAR = EvidenceGear(indicator=Indicator(resolution=0.001), saw=Saw("saw", wobble=0.05))


def rows(reads: dict[float, list[float]]) -> list[tuple]:
    return [(n, f"turn-{t:g}", 0, f"{r:.6f}") for t, each in reads.items() for n, r in enumerate(each)]


def wobbling(turns, half: float, where: float, warp: float = 0.0, times: int = 1, noise: float = 0.0) -> dict:
    chance = random.Random(1)
    return {
        t: [
            1
            + half * math.cos(math.radians(t - where))
            + warp * math.cos(math.radians(2 * t - 40))
            + chance.gauss(0, noise)
            for _ in range(times)
        ]
        for t in turns
    }


def twice_round(turns: Iterable[int]) -> list[int]:
    return [turn + again for again in (0, 360) for turn in turns]


@pytest.mark.parametrize("where", [0.0, 75.0, 200.0, 350.0])
def test_first_harmonic_by_fft(recorded, where) -> None:
    reads = wobbling(range(0, 360, 45), 0.012, where, 0.003)
    first = np.fft.rfft([r[0] for r in reads.values()])[1] * 2 / 8
    found = recorded("plate-wobble", rows(reads), gear=GEAR)
    value = {q.name: q for q in found.quantities}
    assert [q.name for q in found.quantities] == ["total", "tilt", "warp", "phase"]
    assert value["tilt"].value == pytest.approx(2 * abs(first), abs=2e-6)
    apart = (value["phase"].value + np.angle(first)) % (2 * math.pi)
    assert min(apart, 2 * math.pi - apart) < 2e-4
    assert 0 <= value["phase"].value < 2 * math.pi and value["phase"].unit == "rad"
    assert {value[n].unit for n in ("total", "tilt", "warp")} == {"mm"}
    everything = [
        r for each in wobbling([t / 10 for t in range(3600)], 0.012, where, 0.003).values() for r in each
    ]
    assert value["total"].value == pytest.approx(max(everything) - min(everything), abs=2e-6)


@pytest.mark.ci  # the import alone takes a second
def test_uneven_turns_and_scatter_by_regression(recorded) -> None:
    import statsmodels.api as sm

    reads = wobbling([0, 30, 90, 160, 200, 270, 300], 0.02, 100, times=4, noise=0.001)
    turn = np.radians([t for t, each in reads.items() for _ in each])
    y = np.array([r for each in reads.values() for r in each])
    fit = sm.OLS(y, sm.add_constant(np.column_stack((np.cos(turn), np.sin(turn))))).fit()
    found = recorded("plate-wobble", rows(reads), gear=GEAR)
    tilt = found.quantities[1]
    assert tilt.value == pytest.approx(2 * np.hypot(fit.params[1], fit.params[2]), rel=0.001)
    assert abs(tilt.value - 0.04) <= tilt.uncertainty
    assert any(row.part == "scatter of the readings" for row in found.budget)


def test_read_from_the_left_it_is_largest_half_a_turn_on(recorded) -> None:
    reads = wobbling(range(0, 360, 60), 0.02, 30)
    right = recorded("plate-wobble", rows(reads), gear=GEAR)
    left = recorded("plate-wobble", rows(reads), gear=GEAR, options={"side": "left"})
    turned = (left.quantities[3].value - right.quantities[3].value) % (2 * math.pi)
    assert turned == pytest.approx(math.pi, abs=1e-3)
    assert left.quantities[0].value == pytest.approx(right.quantities[0].value)


def test_verdict_is_by_the_total(recorded) -> None:
    for half, said in ((0.01, "inside"), (0.05, "outside"), (0.025, "cannot-tell")):
        found = recorded("plate-wobble", rows(wobbling(range(0, 360, 30), half, 0)), gear=GEAR)
        assert found.verdict == found.quantities[0].verdict == said
        assert all(q.verdict is None and q.tolerance is None for q in found.quantities[1:])
    nothing = recorded("plate-wobble", rows(wobbling(range(0, 360, 30), 0.01, 0)))
    assert nothing.verdict is None and "no-saw-wobble" in nothing.codes


def test_rows_and_radius(recorded) -> None:
    found = recorded(
        "plate-wobble", rows(wobbling(range(0, 360, 30), 0.02, 0)), gear=GEAR, options={"radius": 80.0}
    )
    std = {row.part: row.standard_uncertainty for row in found.budget}
    assert std["indicator over the span used"] == pytest.approx(0.01 * 0.04 / math.sqrt(3), rel=0.01)
    assert std["resolution"] == pytest.approx(0.0005 / math.sqrt(3) * math.sqrt(2))
    assert "rim-unknown" in found.codes


def test_the_tilt_at_the_rim_as_a_tilted_disc_has_it(recorded) -> None:
    """A disc tilted by 0.25 mrad swings by its diameter times that: 0.04 at 80 mm, 0.0625 at 125 mm out."""
    tilt = 0.25e-3
    read = {t: [1 + 80.0 * math.tan(tilt) * math.cos(math.radians(t))] for t in range(0, 360, 30)}
    found = recorded("plate-wobble", rows(read), gear=GEAR, options={"radius": 80.0, "rim": 125.0})
    note = next(n for n in notes_of(found, "mm") if "At the rim" in n)
    there = 2 * 125.0 * math.tan(tilt)
    assert f"125 mm out, the tilt is {there:.3f} mm" in note
    assert ("over what was set" in note) == (there > GEAR.saw.wobble)


def test_a_full_turn_is_a_second_look_and_two_turns_are_too_few(recorded) -> None:
    reads = wobbling([0, 120, 240], 0.02, 0) | {360: [1.022]}
    found = recorded("plate-wobble", rows(reads), gear=GEAR)
    assert found.quantities[1].value == pytest.approx(0.04, abs=0.002)
    three = recorded("plate-wobble", rows(wobbling([0, 120, 240], 0.02, 0)), gear=GEAR)
    assert "three-turns" in three.codes
    for few in ([0, 180], [0, 180, 360]):
        with pytest.raises(EvidenceError, match="2 different turns"):
            recorded("plate-wobble", rows(wobbling(few, 0.02, 0)), gear=GEAR)


def test_what_is_asked_for_live() -> None:
    check = find("plate-wobble")
    steps = check.plan({"turns": 6}, EvidenceGear())
    assert [s.placement for s in steps] == [f"turn-{60 * k}" for k in range(12)]
    assert {(s.gather, s.repeat, s.side, s.mount) for s in steps} == {("spot", 1, "right", "still")}
    assert [s.focus for s in steps[:6]] == [s.focus for s in steps[6:]]
    assert len(check.plan({}, EvidenceGear())) == 16
    assert {c.name for c in check.cautions} >= {"unplug", "still-teeth"}


@pytest.mark.parametrize("turns", [range(0, 80, 10), range(100, 290, 30), (0, 120, 240)])
def test_marks_that_leave_much_of_the_turn_unread_do_not_call_a_plate_good(recorded, turns) -> None:
    """A plate that swings by 0.06 in all: what was read of it swings less, and the limit is 0.05."""
    reads = wobbling(turns, 0.03, 0.0, times=2)
    read = [r for each in reads.values() for r in each]
    assert max(read) - min(read) < 0.05 - 0.004
    found = recorded("plate-wobble", rows(reads), gear=GEAR)
    total = found.quantities[0]
    assert total.value + total.uncertainty >= 0.06
    assert total.verdict == found.verdict == "cannot-tell"
    assert found.settle is not None and found.settle.part == "unread part of the turn"
    assert "turn-unread" in found.codes


def test_marks_all_round_leave_nothing_unread(recorded) -> None:
    for count in (4, 8, 12):
        found = recorded(
            "plate-wobble", rows(wobbling([360 * i / count for i in range(count)], 0.03, 20.0)), gear=GEAR
        )
        assert "turn-unread" not in found.codes
        assert "unread part of the turn" not in {row.part for row in found.budget}


@pytest.mark.parametrize("name", ["turn-1_0", "turn-1e2", "turn- 45", "turn-\u0663", "turn-nan", "turn-+45"])
def test_a_turn_is_written_in_plain_digits(recorded, name: str) -> None:
    reads = rows(wobbling(range(0, 360, 45), 0.012, 0.0))
    with pytest.raises(RecordedError, match="unknown placement"):
        recorded("plate-wobble", [*reads, (9, name, 0, "1.0")], gear=GEAR)


def test_of_four_marks_one_more_is_read_between() -> None:
    asked = [s.placement for s in find("plate-wobble").plan({"turns": 4}, EvidenceGear())]
    assert asked == [f"turn-{d + again}" for again in (0, 360) for d in (0, 45, 90, 180, 270)]


@pytest.mark.parametrize("count", [3, 7, 11, 13])
def test_the_second_way_round_meets_the_same_marks(recorded, count: int) -> None:
    asked = [s.placement for s in find("plate-wobble").plan({"turns": count}, EvidenceGear())]
    reads = wobbling([float(name.removeprefix("turn-")) for name in asked], 0.02, 30)
    found = recorded(
        "plate-wobble", [(n, p, 0, r[0]) for n, (p, r) in enumerate(zip(asked, reads.values(), strict=True))]
    )
    assert len(asked) == 2 * count and "turning by hand" not in {row.part for row in found.budget}


def test_four_marks_alone_leave_a_warp_open_and_one_between_does_not(recorded) -> None:
    four, five = (
        recorded("plate-wobble", rows(wobbling(twice_round(turns), 0.02, 30, 0.01, 1, 0.0005)), gear=GEAR)
        for turns in ((0, 90, 180, 270), (0, 45, 90, 180, 270))
    )
    assert "few-marks" in four.codes and "few-marks" not in five.codes
    warp = {name: q for name, q in (("four", four.quantities[2]), ("five", five.quantities[2]))}
    assert abs(warp["four"].value - 0.02) <= warp["four"].uncertainty
    assert abs(warp["five"].value - 0.02) <= warp["five"].uncertainty < warp["four"].uncertainty / 3

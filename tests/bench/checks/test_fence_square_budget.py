"""fence-square: rows of the budget, present and absent, with their figures worked by hand; verdicts; settle; notes.

The figures are half-widths over the root of three (GUM 4.3.7) and standard uncertainties in quadrature (GUM 5.1.2),
recomputed here from lengths of the invented sweeps, not taken from the program.
"""

from __future__ import annotations

import math
import random

import msgspec
import pytest

from bench.checks.model import EvidenceGear, Pool, PriorKnowledge, SetUpScatter, SquareHistory
from bench.finding import BudgetRow, EvidenceError, Finding
from bench.gear import Indicator, Jig, Square
from bench.render.finding import settle_words
from bench.render.remarks import notes_of

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
FINE = EvidenceGear(indicator=Indicator(resolution=0.001), jig=SLED)
LENGTH = 300.0
BOTH = ("handle-left", "handle-right")


def rows_of(
    b: dict[str, list[float]], *, length: float = LENGTH, start: dict[str, float] | None = None,
    noise: float = 0.0005, seed: int = 1, step: float = 1.25,
) -> list[tuple[object, ...]]:  # fmt: skip
    """Sweeps by the rotation of the arm in every placement: indicator right of it, then left."""
    chance, rows, n = random.Random(seed), [], 0
    for placement, rotations in b.items():
        sign = 1 if placement == "handle-left" else -1
        begin = (start or {}).get(placement, 0.0)
        for rotation in rotations:
            n += 1
            for k in range(int(length / step) + 1):
                s = begin + k * step
                rows.append((n, placement, s, f"{2 + sign * rotation * s + chance.gauss(0, noise):.5f}"))
    return rows


def part(found: Finding, name: str) -> BudgetRow | None:
    return next((row for row in found.budget if row.part == name), None)


def std(found: Finding, name: str) -> float:
    row = part(found, name)
    assert row is not None, f"no row {name!r} in {[r.part for r in found.budget]}"
    return row.standard_uncertainty


def test_the_rows_of_a_plain_check(recorded) -> None:
    from scipy.special import stdtrit

    a, e = 6e-4, 1e-4
    b = {
        "handle-left": [a - e + d for d in (-2e-5, 0, 2e-5)],
        "handle-right": [a + e + d for d in (-2e-5, 0, 2e-5)],
    }
    found = recorded("fence-square", rows_of(b), gear=FINE)
    fence, square = found.quantities[:2]
    assert fence.value == pytest.approx(a, abs=3e-6) and square.value == pytest.approx(e, abs=3e-6)
    # scatter of 20 urad in either placement, three pushes each: 20 sqrt(1/4 (1/3 + 1/3)), and a little noise
    assert std(found, "between sweeps") == pytest.approx(2e-5 / math.sqrt(6), rel=0.05)
    assert part(found, "between sweeps").degrees_of_freedom == pytest.approx(4, rel=0.02)
    used = math.hypot(0.001 / math.sqrt(6), 0.01 * (5e-4 + 7e-4) / 2 * LENGTH / math.sqrt(3))
    assert std(found, "indicator over the span used") == pytest.approx(used / LENGTH / math.sqrt(2), rel=0.02)
    assert std(found, "travel scale") == pytest.approx(0.001 * a / math.sqrt(3), rel=0.01)
    assert std(found, "plunger tilt") == pytest.approx(
        (1 - math.cos(math.radians(2))) * a / math.sqrt(3), rel=0.01
    )
    for absent in (
        "seat", "contact away from the teeth", "resolution", "reading age", "square",
        "closure", "form of the arm", "fence form",
    ):  # fmt: skip
        assert part(found, absent) is None
    assert sum(row.share for row in found.budget) == pytest.approx(1)
    assert [r.share for r in found.budget] == sorted((r.share for r in found.budget), reverse=True)
    u = math.sqrt(sum(row.standard_uncertainty**2 for row in found.budget))
    assert fence.uncertainty == pytest.approx(stdtrit(fence.degrees_of_freedom, 0.975) * u, rel=1e-4)
    assert found.verdict == "outside" and found.confidence == 0.95 and not found.single_sweep
    assert len(found.sweeps) == 6 and found.sweeps[3].slope == pytest.approx(-(a + e - 2e-5), abs=5e-6)


def test_declared_span_error_and_coarse_counts(recorded) -> None:
    b = {p: [1e-4, 1e-4, 1e-4] for p in BOTH}
    gear = EvidenceGear(indicator=Indicator(resolution=0.01, short_span_error=0.004), jig=SLED)
    found = recorded("fence-square", rows_of(b), gear=gear)
    assert std(found, "indicator over the span used") == pytest.approx(
        0.004 / math.sqrt(3) / LENGTH / math.sqrt(2), rel=0.02
    )
    # half a count, rectangular, at each end; half and half of two placements
    assert std(found, "resolution") == pytest.approx(
        0.005 / math.sqrt(3) * math.sqrt(2) / LENGTH / math.sqrt(2), rel=0.02
    )


def test_contact_away_from_the_teeth_is_in_a_not_in_e(recorded) -> None:
    b = {p: [1e-4, 1.1e-4, 0.9e-4] for p in BOTH}
    options = {"touch_away": 60.0, "slot_straight": 0.1, "runner_length": 400.0}
    found = recorded("fence-square", rows_of(b), gear=FINE, options=options)
    assert std(found, "contact away from the teeth") == pytest.approx(8 * 0.1 * 60 / 400**2 / math.sqrt(3))
    fence, square = found.quantities[:2]
    assert square.uncertainty < fence.uncertainty / 2


def test_a_rolling_sled_where_both_lengths_are_told(recorded) -> None:
    b = {p: [1e-4, 1.1e-4, 0.9e-4] for p in BOTH}
    options = {"touch_high": 20.0, "roll": 150e-6}
    found = recorded("fence-square", rows_of(b), gear=FINE, options=options)
    # the size is told, the sign is not
    assert std(found, "sled rolling") == pytest.approx(20.0 * 150e-6 / LENGTH)
    fence, square = found.quantities[:2]
    assert square.uncertainty < fence.uncertainty  # both set-ups roll alike: the square does not feel it
    assert part(recorded("fence-square", rows_of(b), gear=FINE), "sled rolling") is None


def test_to_know_the_play_never_widens_and_the_wall_is_said_once(recorded) -> None:
    b = {p: [1e-4, 1.1e-4, 0.9e-4] for p in BOTH}
    unknown = recorded("fence-square", rows_of(b), gear=FINE)
    loose = recorded("fence-square", rows_of(b), gear=FINE, known=PriorKnowledge(yaw_play=3.56e-4))
    assert loose.quantities[0].uncertainty <= unknown.quantities[0].uncertainty
    assert "yaw-unknown" in unknown.codes and "hold-unsaid" in loose.codes
    assert any("0.107 mm per 300 mm" in note for note in notes_of(loose, "mm"))
    by_option = recorded(
        "fence-square", rows_of(b), gear=FINE, known=PriorKnowledge(yaw_play=2e-4), options={"hold": "left"}
    )
    once = EvidenceGear(indicator=FINE.indicator, jig=msgspec.structs.replace(SLED, hold="left"))
    by_sled = recorded("fence-square", rows_of(b), gear=once)
    for held in (by_option, by_sled):
        assert "wall" in held.codes and held.codes.isdisjoint({"hold-unsaid", "yaw-unknown"})
    one = {p: [1e-4] for p in BOTH}
    single, known = (
        recorded("fence-square", rows_of(one), gear=FINE, known=k)
        for k in (PriorKnowledge(), PriorKnowledge(yaw_play=9e-4))
    )
    assert known.quantities[0].uncertainty <= single.quantities[0].uncertainty


@pytest.mark.parametrize(
    ("known", "each", "kind", "word"),
    [
        (PriorKnowledge(pool=Pool(4e-10, 12)), 2e-5, "A", "How earlier passes in the log differ"),
        (PriorKnowledge(yaw_play=1.2e-4), 1.2e-4 / math.sqrt(12), "B", "The twist that the slots allow"),
        (PriorKnowledge(), 1e-4, "B", "A generous figure"),
    ],
)
def test_one_push_a_set_up_adds_what_was_not_seen(recorded, known, each, kind, word) -> None:
    found = recorded("fence-square", rows_of({p: [1e-4] for p in BOTH}), gear=FINE, known=known)
    row = part(found, "between sweeps")
    assert row.standard_uncertainty == pytest.approx(each / math.sqrt(2)) and row.type == kind
    assert found.single_sweep and any(word in note for note in notes_of(found, "mm"))


def test_history_sharpens_few_pushes_unless_today_looks_worse(recorded) -> None:
    quiet = rows_of({p: [1e-4 - 1e-5, 1e-4 + 1e-5] for p in BOTH})
    wild = rows_of({p: [1e-4 - 9e-5, 1e-4 + 9e-5] for p in BOTH})
    own = 2e-10 / 6
    pool = PriorKnowledge(pool=Pool(2e-10, 30), set_ups=SetUpScatter(own, 19, own, 30, 20))
    alone, with_log = (recorded("fence-square", quiet, gear=FINE, known=k) for k in (PriorKnowledge(), pool))
    assert with_log.quantities[0].uncertainty < 0.7 * alone.quantities[0].uncertainty
    worse = recorded("fence-square", wild, gear=FINE, known=pool)
    assert "scatter-grew" in worse.codes
    assert worse.quantities[0].uncertainty > 5 * with_log.quantities[0].uncertainty


def test_one_seat_by_the_logs_scatter(recorded) -> None:
    rows = [(*row, row[1][-1]) for row in rows_of({p: [1e-4, 1.1e-4, 0.9e-4] for p in BOTH})]
    header = "sweep,placement,travel_mm,reading_mm,seat"
    default = recorded("fence-square", rows, header, gear=FINE)
    assert std(default, "seat") == pytest.approx(30e-6 / math.sqrt(2))
    logged = recorded("fence-square", rows, header, gear=FINE, known=PriorKnowledge(seat_scatter=5e-5))
    assert std(logged, "seat") == pytest.approx(5e-5 / math.sqrt(2))
    alone = [row for row in rows if row[1] == "handle-left"]
    assert std(recorded("fence-square", alone, header, gear=FINE), "seat") == pytest.approx(30e-6)


def test_verdicts_and_what_would_settle(recorded) -> None:
    scatter = (-3e-5, 0.0, 3e-5)
    # a log whose set-ups differ by no more than their passes explain
    quiet = PriorKnowledge(set_ups=SetUpScatter((3e-5) ** 2 / 6, 60, (3e-5) ** 2 / 6, 60, 61))
    for a, said in ((0.0, "inside"), (6e-4, "outside"), (1.34e-4, "cannot-tell"), (-6e-4, "outside")):
        rows = rows_of({p: [a + d for d in scatter] for p in BOTH})
        found = recorded("fence-square", rows, gear=FINE, known=quiet)
        assert found.verdict == found.quantities[0].verdict == said
        assert (found.settle is not None) == (said == "cannot-tell")
        assert (found.move is None) == (said == "inside")
        if found.settle is not None:
            assert found.settle.part == "between sweeps" and found.settle.sweeps % 2 == 0
            assert found.settle.sweeps > 6
    # without one no number of passes shows how set-ups differ; whole checks do
    steady = {p: [1.3e-4 + d for d in (-3e-6, 0.0, 3e-6)] for p in BOTH}
    found = recorded("fence-square", rows_of(steady), gear=FINE)
    assert found.verdict == "inside" or found.settle.part == "between set-ups"
    close = {p: [1.4e-4 + d for d in (-3e-6, 0.0, 3e-6)] for p in BOTH}
    found = recorded("fence-square", rows_of(close), gear=FINE)
    assert found.settle.part == "between set-ups" and 2 <= found.settle.checks <= 20
    assert "whole checks in the log" in settle_words(found, "mm")
    coarse = EvidenceGear(indicator=Indicator(resolution=0.05, short_span_error=0.05), jig=SLED)
    found = recorded("fence-square", rows_of({p: [1.3e-4] * 3 for p in BOTH}), gear=coarse, known=quiet)
    assert found.verdict == "cannot-tell"
    assert (
        found.settle.sweeps is None and found.settle.resolution is not None and found.settle.resolution < 0.05
    )
    options = {"touch_away": 200.0, "slot_straight": 0.1, "runner_length": 400.0}
    far = recorded("fence-square", rows_of({p: [1.66e-4] * 3 for p in BOTH}), gear=FINE, options=options)
    assert far.settle.part == "contact away from the teeth"
    assert (far.settle.sweeps, far.settle.length, far.settle.resolution) == (None, None, None)
    assert "limit-too-fine" in far.codes


def test_a_later_look_uses_ninety_nine(recorded) -> None:
    from scipy.special import stdtrit

    rows = rows_of({p: [1e-4 - 1e-5, 1e-4, 1e-4 + 1e-5] for p in BOTH})
    first, later = (recorded("fence-square", rows, gear=FINE, known=PriorKnowledge(looks=n)) for n in (0, 1))
    assert (first.confidence, later.confidence) == (0.95, 0.99)
    dof = first.quantities[0].degrees_of_freedom
    ratio = stdtrit(dof, 0.995) / stdtrit(dof, 0.975)
    assert later.quantities[0].uncertainty == pytest.approx(ratio * first.quantities[0].uncertainty, rel=1e-3)


def test_no_settings_no_verdict(recorded) -> None:
    found = recorded("fence-square", rows_of({p: [6e-4] * 3 for p in BOTH}))
    assert found.verdict is None and found.move is None and found.jig is None and found.settle is None
    assert found.quantities[0].tolerance is None
    assert "no-sled" in found.codes


def test_one_set_up_says_so(recorded) -> None:
    left = rows_of({"handle-left": [2.5e-4] * 3})
    right = rows_of({"handle-right": [3.5e-4] * 3})
    known = PriorKnowledge(square=SquareHistory(5e-5, 1e-5, 10))
    for rows in (left, right):
        found = recorded("fence-square", rows, gear=FINE, known=known)
        assert found.quantities[0].value == pytest.approx(3e-4, abs=2e-6)
        assert std(found, "square") == pytest.approx(1e-5) and part(found, "square").type == "A"
        assert len(found.quantities) == 1
    far = EvidenceGear(jig=Jig("sled", fence="far"), indicator=Indicator(resolution=0.001))
    assert recorded("fence-square", left, gear=far, known=known).quantities[0].value == pytest.approx(
        2e-4, abs=2e-6
    )
    # the side said is that of the one set-up taken
    told = recorded("fence-square", right, gear=FINE, known=known, options={"side": "left"})
    assert told.quantities[0].value == pytest.approx(3e-4, abs=2e-6)
    other = recorded("fence-square", right, gear=FINE, known=known, options={"side": "right"})
    assert other.quantities[0].value == pytest.approx(-3.5e-4 - 5e-5, abs=2e-6)


def test_both_sides_swapped_turns_every_sign(recorded) -> None:
    rows = rows_of({"handle-left": [2.5e-4] * 2, "handle-right": [3.5e-4] * 2})
    plain = recorded("fence-square", rows, gear=FINE)
    for options in ({"side": "left"}, {"mount": "carried"}):
        swapped = recorded("fence-square", rows, gear=FINE, options=options)
        assert swapped.quantities[0].value == pytest.approx(-plain.quantities[0].value)
        assert swapped.quantities[1].value == pytest.approx(-plain.quantities[1].value)


def test_pushed_in_or_pulled_out(recorded) -> None:
    rows = rows_of({p: [6e-4] * 2 for p in BOTH})
    gear = EvidenceGear(indicator=Indicator(resolution=0.001, grows="pulled-out"), jig=SLED)
    assert recorded("fence-square", rows, gear=gear).quantities[0].value == pytest.approx(-6e-4, abs=2e-6)


def test_no_push_is_a_message(recorded) -> None:
    rows = [row for row in rows_of({"handle-left": [1e-4]})][::-1]
    with pytest.raises(EvidenceError, match="no push at handle-left"):
        recorded("fence-square", rows, gear=FINE)


def test_square_tolerance_over_its_arm_or_the_sweep(recorded) -> None:
    rows = rows_of({"handle-left": [1e-4] * 3})
    for arm, over in ((250.0, 250.0), (None, LENGTH)):
        gear = EvidenceGear(indicator=Indicator(resolution=0.001), square=Square("shop", arm, 0.02))
        row = part(recorded("fence-square", rows, gear=gear), "square")
        assert (
            row.standard_uncertainty == pytest.approx(0.02 / over / math.sqrt(3), rel=0.01)
            and row.type == "B"
        )


def test_of_a_square_of_which_nothing_is_known_is_said_what_it_may_do(recorded) -> None:
    found = recorded(
        "fence-square", rows_of({"handle-left": [2e-4 + d for d in (-5e-6, 0, 5e-6)]}), gear=FINE
    )
    assert any(
        "fence and the square together" in note and "0.10 mm per 300 mm" in note
        for note in notes_of(found, "mm")
    )

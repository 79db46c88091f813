"""fence-straight against exact straightness sets, linear programming and many faces whose form is known."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import numpy as np
import pytest
from everyday import ci, everyday

from bench.checks.fence_straight import CHECK, evaluate
from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig
from bench.procedure.conclusion import conclude
from bench.procedure.prompt import ProcedureState, advance, ask
from bench.render.remarks import notes_of

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"
EXACT = json.loads((REFERENCE / "straightness_minimum_zone_exact.json").read_text())["cases"]
CLASSIC = json.loads((REFERENCE / "minimum_zone_classic.json").read_text())["cases"]
AUTOCOLLIMATOR = json.loads((REFERENCE / "straightness_autocollimator.json").read_text())
REVERSAL = json.loads((REFERENCE / "reversal_equations.json").read_text())
SLED = Jig("sled", widest_board=400.0)


def find_straight(traces, *, jig: Jig | None = SLED, resolution: float | None = 0.001, **options) -> Finding:
    gear = EvidenceGear(Indicator(resolution=resolution), jig=jig)
    return evaluate(Evidence("fence-straight", traces, options, gear))


def both(x, face, edge=0.0, passes: int = 1, noise=None) -> list[Trace]:
    """As it lies and rolled over: the face plus, and less, the straightedge; every pass with a line of its own."""
    traces = []
    for placement, sign in (("as-is", 1.0), ("rolled-over", -1.0)):
        for n in range(passes):
            heights = (
                np.asarray(face) + sign * np.asarray(edge) + 1e-4 * (1 + 2 * n % 3) * np.asarray(x) + 0.3
            )
            if noise is not None:
                heights = noise(heights, np.asarray(x))
            traces.append(Trace(placement, list(map(float, x)), list(map(float, heights)), True, str(n)))
    return traces


def values(found: Finding) -> dict[str, float]:
    return {q.name: q.value for q in found.quantities}


def zone_by_linear_programme(x, y) -> float:
    """Least width of two parallel lines along y: minimise b - a with a <= y - m x <= b."""
    from scipy.optimize import linprog

    one = np.ones_like(x)
    rows = np.vstack((np.column_stack((-x / 100, 0 * one, -one)), np.column_stack((x / 100, one, 0 * one))))
    found = linprog([0, -1, 1], rows, np.concatenate((-y, y)), bounds=[(None, None)] * 3, method="highs")
    return float(found.fun)


def contact_by_linear_programme(x, y, start, stop, pushed) -> float:
    """Slope of the lowest line above y over [start, stop] where it is pushed."""
    from scipy.optimize import linprog

    inside = (x >= start - 1e-9) & (x <= stop + 1e-9)
    above = -np.column_stack((np.ones(inside.sum()), (x[inside] - pushed) / 100))
    found = linprog([1, 0], A_ub=above, b_ub=-y[inside], bounds=[(None, None)] * 2, method="highs")
    return float(found.x[1]) / 100


# ---- reference data, row by row --------------------------------------------------------------------------------


@pytest.mark.parametrize("case", [c for c in EXACT if len(c.get("x", [])) > 2], ids=lambda c: c["name"])
def test_the_exact_sets_read_at_stations(case) -> None:
    """Sets given at even stations, micrometres to mm; answers by exact rational arithmetic."""
    x = np.array(case["x"], float)
    y = np.array(case["y"], float) / 1000.0
    if np.ptp(np.diff(x)) > 1e-9:
        pytest.skip("not at even stations: the profile is then drawn between them")
    found = values(find_straight(both(x, y, edge=0.02 * np.sin(x)), resolution=1e-9))
    size = float(np.ptp(y)) or 1.0
    assert found["minimum-zone"] == pytest.approx(
        case["minimum_zone"]["straightness"] / 1000, rel=1e-6, abs=1e-6 * size
    )
    assert found["least-squares"] == pytest.approx(
        case["least_squares"]["straightness"] / 1000, rel=1e-6, abs=1e-6 * size
    )


def test_the_autocollimator_table() -> None:
    """Seven stations of 100 mm; published 3.0 um about the end points, recomputed about the other lines."""
    with (REFERENCE / AUTOCOLLIMATOR["data_file"]).open() as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    name = next(k for k in rows[0] if "height" in k or k.startswith("y"))
    place = next(k for k in rows[0] if "position" in k or k.startswith("x"))
    x = np.array([float(r[place]) for r in rows])
    y = np.array([float(r[name]) for r in rows]) / 1000.0
    found = values(find_straight(both(x, y), resolution=1e-9))
    answers = AUTOCOLLIMATOR["recomputed"]
    assert found["minimum-zone"] == pytest.approx(answers["straightness_minimum_zone_um"] / 1000, rel=1e-6)
    assert found["least-squares"] == pytest.approx(85 / 28 / 1000, rel=1e-6)


@pytest.mark.parametrize("case", everyday(CLASSIC, 2), ids=lambda c: c["name"])
def test_curves_whose_closest_lines_are_known_in_closed_form(case) -> None:
    """The curve drawn over 600 mm, 0.1 mm high a unit, swept every 2 mm: what is averaged shifts it by w^2 k/24."""
    name = case["name"]
    low, high = (-1.0, 1.0) if "[-1,1]" in name else (0.0, 1.0)
    curve = np.exp if "exp" in name else np.square
    x = np.arange(0.0, 601.0, 2.0)
    u = low + (high - low) * x / 600.0
    found = values(find_straight(both(x, 0.1 * curve(u), edge=0.03 * np.cos(x / 90)), resolution=1e-7))
    bend = 0.1 * float(np.max(curve(u) if "exp" in name else 2.0)) * ((high - low) / 600.0) ** 2
    slack = bend * 45.0**2 / 6.0  # an eighth, and cells that are not infinitely narrow
    exact = case["exact"].get("minimum_zone_width") or 2 * case["exact"]["minimax_error"]
    assert found["minimum-zone"] == pytest.approx(0.1 * exact, abs=slack)
    # the same by linear programming, whatever the closed form says
    assert found["minimum-zone"] == pytest.approx(zone_by_linear_programme(x, 0.1 * curve(u)), abs=slack)


def test_the_worked_reversal() -> None:
    """p1 = f + g, p2 = f - g tell the two apart; a face that is the straightedge's mirror is still the face."""
    assert REVERSAL  # form of the equations as published; the numbers below are by hand
    x = np.arange(-300.0, 301.0, 5.0)
    face, edge = 0.08 * (1 - (x / 300) ** 2), -0.08 * (1 - (x / 300) ** 2)
    found = values(find_straight(both(x, face, edge)))
    assert found["bow"] == pytest.approx(0.08, abs=5e-4)
    assert found["minimum-zone"] == pytest.approx(0.08, abs=5e-4)
    away = values(find_straight(both(x, 0 * x, edge)))
    assert away["bow"] == pytest.approx(0.0, abs=5e-4) and away["minimum-zone"] == pytest.approx(
        0.0, abs=5e-4
    )


@pytest.mark.parametrize(
    "row",
    everyday(
        json.loads((REFERENCE / "conformity_decisions.json").read_text())["iso_14253_1"][
            "examples_constructed_here"
        ],
        2,
    ),
    ids=lambda r: f"{r['y']}-{r['U']}",
)
def test_verdicts_are_the_standards_decisions(row) -> None:
    """A face as crooked as the example's value with that interval (ISO 14253-1)."""
    if row["LSL"] is not None:
        pytest.skip("two limits; a straightness has one")
    x = np.arange(-300.0, 301.0, 5.0)
    found = find_straight(both(x, row["y"] * (1 - (x / 300) ** 2), passes=3), straight=row["USL"])
    zone = found.quantities[0]
    given = {"conforms": "inside", "undecided": "cannot-tell", "does not conform": "outside"}
    # its own interval is another one: the decision is worked again with it, and with the example's where they agree
    own = (
        "inside"
        if zone.value + zone.uncertainty <= row["USL"]
        else "outside"
        if zone.value - zone.uncertainty > row["USL"]
        else "cannot-tell"
    )
    assert zone.verdict == found.verdict == own
    if row["decision"] != "undecided":
        assert zone.verdict == given[row["decision"]]


# ---- contact -------------------------------------------------------------------------------------------------


def test_the_worked_crown() -> None:
    """f = 0.05 (1 - (x/450)^2), board -400 to 50 pushed at -180: +0.000089, worked by independent simulation."""
    from bench.geometry.contact import contact_line

    x = np.arange(-450.0, 451.0, 1.0)
    found = find_straight(both(x, 0.05 * (1 - (x / 450) ** 2)))
    assert found.profile is not None
    places, heights = (np.array(c) for c in zip(*found.profile, strict=True))
    assert contact_line(places, heights, -400, 50, -180).rotation == pytest.approx(8.9e-5, abs=3e-6)


@pytest.mark.parametrize("fence", ["near", "far"])
@pytest.mark.parametrize(
    "wide", [None, pytest.param(400.0, marks=pytest.mark.ci), pytest.param(1200.0, marks=pytest.mark.ci)]
)
def test_contact_lines_are_the_lowest_lines_under_the_push(fence, wide) -> None:
    x = np.arange(-400.0, 301.0, 4.0)
    face = 0.06 * np.sin(x / 130) + 0.05 * (1 - (x / 350) ** 2)
    found = find_straight(
        both(x, face, edge=0.03 * np.cos(x / 100)), jig=Jig("sled", fence=fence, widest_board=wide)
    )
    assert found.contact and found.profile is not None
    places, heights = (np.array(c) for c in zip(*found.profile, strict=True))
    sign = 1.0 if fence == "near" else -1.0
    for line in found.contact:
        # beyond a near fence the board lies above the face; on the near side of a far one below it, which is
        # the same with both turned upside down
        expected = sign * contact_by_linear_programme(places, heights, line.from_, line.to, line.pushed_at)
        assert line.rotation == pytest.approx(expected, abs=line.uncertainty / 2 + 2e-6)
        assert line.pushed_at == pytest.approx((line.from_ + line.to) / 2)
    spans = [(line.from_, line.to) for line in found.contact]
    if wide is None:
        assert spans == [(-400.0, 300.0), (-400.0, -50.0), (-50.0, 300.0)]
    elif wide == 400.0:
        assert spans == [(-400.0, 0.0), (-200.0, 200.0), (0.0, 300.0)]
    else:
        assert spans == [(-400.0, 300.0)] and "profile-ends" in found.codes


def test_a_crown_says_how_the_board_turns_with_the_push() -> None:
    x = np.arange(-300.0, 301.0, 4.0)
    found = find_straight(both(x, 0.3 * (1 - (x / 300) ** 2)))
    assert "board-turns" in found.codes


# ---- dirt, slips, instruments ----------------------------------------------------------------------------------


def crowned(seed: int, passes: int, spoil, n: int = 400) -> list[Trace]:
    rng = np.random.default_rng(seed)
    traces = []
    for placement, sign in (("as-is", 1.0), ("rolled-over", -1.0)):
        for number in range(passes):
            x = np.sort(rng.uniform(-300, 300, n))
            x[[0, -1]] = -300, 300
            r = 0.06 * (1 - (x / 300) ** 2) + sign * 0.04 * np.sin(x / 80) + 0.0015 * rng.standard_normal(n)
            r = spoil(placement, number, x, r, rng)
            traces.append(Trace(placement, x.tolist(), np.round(r, 3).tolist(), True, str(number)))
    return traces


@pytest.mark.parametrize("dirt", ["dust", "kerf", ci("missed digit"), ci("off the end")])
def test_dirt_is_set_aside_and_told(dirt) -> None:
    def spoil(placement, number, x, r, rng):
        if dirt == "dust":
            return r + 0.12 * (np.abs(x - rng.uniform(-250, 250)) < 2.0)
        if dirt == "kerf":
            return r - 2.0 * (np.abs(x) < 1.7)
        if dirt == "missed digit":
            return r + 10.0 * (rng.random(x.size) < 0.01)
        return r - np.where(x > 285, 1.0 + 0.02 * (x - 285), 0.0)

    found = find_straight(crowned(5, 3, spoil))
    zone, _, arch = found.quantities
    assert found.profile is not None
    crown = 0.06 * ((found.profile[-1][0] - found.profile[0][0]) / 600) ** 2  # of the part that is a face
    assert crown > 0.054
    assert abs(zone.value - crown) <= zone.uncertainty + 0.0005
    assert abs(arch.value - crown) <= arch.uncertainty + 0.0005
    assert all(row.set_aside < row.readings / 3 for row in found.sweeps)
    assert sum(row.set_aside for row in found.sweeps) > 6
    assert "set-aside" in found.codes


def test_a_clean_face_loses_nothing() -> None:
    found = find_straight(crowned(6, 3, lambda p, n, x, r, rng: r))
    assert sum(row.set_aside for row in found.sweeps) <= 1
    assert "set-aside" not in found.codes or sum(r.set_aside for r in found.sweeps)


def test_what_stands_proud_in_every_pass_is_the_fence() -> None:
    found = find_straight(crowned(7, 3, lambda p, n, x, r, rng: r + 0.08 * (np.abs(x - 120) < 9)))
    assert any("stands proud from 1" in note for note in notes_of(found, "mm"))
    assert found.profile is not None
    heights = dict(found.profile)
    assert heights[120.0] > 0.06 * (1 - (120 / 300) ** 2) - 0.04 + 0.01  # it is still there, averaged


def test_a_bumped_pass_is_left_out_of_three() -> None:
    bump = find_straight(
        crowned(8, 3, lambda p, n, x, r, rng: r + 0.08 * (x > 40) * (n == 1 and p == "as-is"))
    )
    assert any(
        "Pass 1 at the first set-up is not used. It differs from the others" in note
        for note in notes_of(bump, "mm")
    )
    assert abs(bump.quantities[2].value - 0.06) <= bump.quantities[2].uncertainty
    of_two = find_straight(
        crowned(8, 2, lambda p, n, x, r, rng: r + 0.08 * (x > 40) * (n == 1 and p == "as-is"))
    )
    assert "two-differ" in of_two.codes


def test_pull_backs_do_not_count_where_there_are_pushes() -> None:
    traces = crowned(9, 2, lambda p, n, x, r, rng: r)
    back = [
        Trace(
            t.placement,
            t.travel[::-1],
            [r + 0.1 * (x / 300) ** 2 for x, r in zip(t.travel[::-1], t.reading[::-1], strict=True)],
            False,
            "9",
        )
        for t in traces[::2]
    ]
    plain, with_back = find_straight(traces), find_straight(traces + back)
    assert values(with_back) == values(plain)
    assert "ways-differ" in with_back.codes
    assert len(with_back.sweeps) == 6
    only = find_straight(back)
    assert "both-ways" in only.codes


UNITS = {"of-inches", "finer", "grid-finer", "short"}


@pytest.mark.parametrize("column", ["travel", "reading"])
def test_inches_in_a_column_of_mm_are_remarked_on(column) -> None:
    traces = crowned(14, 3, lambda p, n, x, r, rng: r + 2.0)
    assert not find_straight(traces).codes & UNITS
    inches = [
        Trace(
            t.placement,
            [x / 25.4 for x in t.travel] if column == "travel" else t.travel,
            [round(r / 25.4, 5) for r in t.reading] if column == "reading" else t.reading,
            True,
            t.sweep,
        )
        for t in traces
    ]
    gear = EvidenceGear(Indicator(resolution=0.001), jig=SLED)
    found = conclude(Evidence("fence-straight", inches, {}, gear), id="x", at="2026-01-01T00:00:00+00:00")
    assert found.codes & UNITS


def test_one_set_up_is_as_good_as_the_straightedge() -> None:
    x = np.arange(-300.0, 301.0, 4.0)
    one = [t for t in both(x, 0.05 * (1 - (x / 300) ** 2), passes=3) if t.placement == "as-is"]
    found = find_straight(one, straightedge=0.02)
    zone = found.quantities[0]
    row = next(r for r in found.budget if r.part == "straightedge")
    assert row.standard_uncertainty == pytest.approx(0.02 / 3**0.5)  # GUM 4.3.7
    assert zone.verdict == "cannot-tell" and found.settle is not None and found.settle.part == "straightedge"
    assert zone.uncertainty > 0.02


def test_one_set_up_that_was_chosen_answers_with_what_a_straightedge_may_be() -> None:
    """A forgotten one is asked for; whoever takes one on purpose is not sent away after the last pass."""
    x = np.arange(-300.0, 301.0, 4.0)
    one = [t for t in both(x, 0.2 * (1 - (x / 300) ** 2), passes=3) if t.placement == "as-is"]
    with pytest.raises(EvidenceError, match=r"no pass rolled-over.*--straightedge"):
        find_straight(one)
    with pytest.raises(EvidenceError, match="no pass rolled-over"):
        find_straight(one, placements="both")
    found = find_straight(one, placements="as-is")
    row = next(r for r in found.budget if r.part == "straightedge")
    assert row.standard_uncertainty == pytest.approx(0.05 / 3**0.5)  # 0.05 mm over 600, either way
    assert "straightedge-unknown" in found.codes
    assert found.quantities[0].uncertainty > 0.05 and found.verdict == "outside"
    fine = [t for t in both(x, 0 * x, passes=3) if t.placement == "as-is"]
    assert find_straight(fine, placements="as-is").verdict == "cannot-tell"


@pytest.mark.parametrize(
    "crown", [pytest.param(0.09, marks=pytest.mark.ci), 0.1, pytest.param(0.14, marks=pytest.mark.ci)]
)
def test_a_straightedge_more_crooked_than_the_limit_beside_a_good_fence_is_remarked_on(crown) -> None:
    """An indicator turned round in the second set-up shows the face as the straightedge and the other way about."""
    x = np.arange(-300.0, 301.0, 4.0)
    traces = both(x, crown * (1 - (x / 300) ** 2), edge=0.03 * np.sin(x / 60), passes=3)
    slipped = [
        t if t.placement == "as-is" else Trace(t.placement, t.travel, [-r for r in t.reading], True, t.sweep)
        for t in traces
    ]
    found = find_straight(slipped, straight=0.066)
    assert found.verdict == "inside"  # wrong, and no arithmetic can tell
    assert "straightedge-crooked" in found.codes
    assert "straightedge-crooked" not in find_straight(traces, straight=0.066).codes


def test_the_limit_is_the_users() -> None:
    x = np.arange(-300.0, 301.0, 4.0)
    traces = both(x, 0.08 * (1 - (x / 300) ** 2), passes=3)
    assert find_straight(traces).verdict == "outside"
    assert find_straight(traces, straight=0.2).verdict == "inside"
    assert find_straight(traces, jig=None).verdict is None
    hollow = find_straight(both(x, -0.08 * (1 - (x / 300) ** 2), passes=3))
    assert hollow.quantities[0].way == hollow.quantities[2].way == "hollow"
    assert hollow.quantities[2].value == pytest.approx(-0.08, abs=5e-4)


# ---- intervals ---------------------------------------------------------------------------------------------------


def faces(seed: int, trials: int, passes: int, *, noise: float, count: float, size: float, bend: float = 0.0):
    """Share of intervals that hold the truth, and their half-width over the ideal one, by quantity."""
    rng = np.random.default_rng(seed)
    fine = np.arange(-300.0, 301.0, 3.0)
    held: dict[str, list[bool]] = {}
    wide: dict[str, list[float]] = {}
    off: dict[str, list[float]] = {}
    for _ in range(trials):
        a, b, c, d = size * rng.standard_normal(4)
        ways = rng.uniform(0, 6, 2)

        def face(x, a=a, b=b, c=c, ways=ways):
            u = x / 300
            return a * (1 - u * u) + 0.4 * b * np.sin(2 * u + ways[0]) + 0.15 * c * np.sin(6 * u + ways[1])

        def spoil(heights, x):
            heights = (
                heights
                + noise * rng.standard_normal(x.size)
                + bend * rng.standard_normal() * (1 - (x / 300) ** 2)
            )
            return np.round(heights / count) * count

        x = np.linspace(-300, 300, 200)
        found = find_straight(both(x, face(x), d * np.sin(x / 120), passes, spoil), resolution=count)
        y = face(fine)
        line = np.polynomial.polynomial.polyfit(fine, y, 1)
        left = y - np.polynomial.polynomial.polyval(fine, line)
        truth = {
            "minimum-zone": zone_by_linear_programme(fine, left),
            "least-squares": float(np.ptp(left)),
            "bow": -float(np.polynomial.polynomial.polyfit(fine / 300, y, 2)[2]),
        }
        for q in found.quantities:
            held.setdefault(q.name, []).append(abs(q.value - truth[q.name]) <= q.uncertainty)
            wide.setdefault(q.name, []).append(q.uncertainty)
            off.setdefault(q.name, []).append(q.value - truth[q.name])
        for line_ in found.contact or []:
            rotation = contact_by_linear_programme(fine, left, line_.from_, line_.to, line_.pushed_at)
            held.setdefault("contact", []).append(abs(line_.rotation - rotation) <= line_.uncertainty)
            wide.setdefault("contact", []).append(line_.uncertainty)
            off.setdefault("contact", []).append(line_.rotation - rotation)
    return {
        name: (
            float(np.mean(held[name])),
            float(np.median(wide[name]) / (1.96 * np.sqrt(np.mean(np.square(off[name]))))),
        )
        for name in held
    }


@pytest.mark.ci
def test_the_intervals_hold_the_form() -> None:
    """The indicator's own error, which these faces do not have, is in the interval: it holds more than 95 %."""
    shares = faces(11, 12, 3, noise=0.003, count=0.001, size=0.04, bend=0.003)
    assert min(share for share, _ in shares.values()) >= 10 / 12  # the many below are the sharp ones


@pytest.mark.slow
@pytest.mark.parametrize(
    ("passes", "noise", "count", "size", "bend", "least"),
    [
        (3, 0.003, 0.001, 0.04, 0.0, 0.92),
        # two passes a set-up that are bent three times as much as they are noisy: in one of ten cases the two agree
        # by chance, and then only their noise is seen (two degrees of freedom: 1 - exp(-w^2/s^2))
        (2, 0.003, 0.001, 0.04, 0.003, 0.87),
        (3, 0.003, 0.001, 0.04, 0.004, 0.92),
        (3, 0.003, 0.001, 0.003, 0.0, 0.92),
        (1, 0.003, 0.001, 0.04, 0.002, 0.92),
    ],
)
def test_the_intervals_hold_the_form_of_many_faces(passes, noise, count, size, bend, least) -> None:
    shares = faces(12, 300, passes, noise=noise, count=count, size=size, bend=bend)
    print({name: (round(share, 3), round(width, 2)) for name, (share, width) in shares.items()})
    assert min(share for share, _ in shares.values()) >= least


# ---- the guide ---------------------------------------------------------------------------------------------------


def test_the_guide_asks_for_all_set_ups_and_for_the_cautions_first() -> None:
    steps = CHECK.plan({}, EvidenceGear())
    facts = ProcedureState()
    assert ask(CHECK.cautions, steps, facts).phase == "cautions"
    facts.acknowledged = True
    asked = []
    for _ in range(3):
        advance(steps, facts)
        asked.append(ask(CHECK.cautions, steps, facts).placement)
        facts.accepted[facts.step] = 3
    assert asked == ["as-is", "pressed", "rolled-over"]
    advance(steps, facts)
    assert ask(CHECK.cautions, steps, facts).phase == "working-out"
    assert [s.placement for s in CHECK.plan({"placements": "as-is"}, EvidenceGear())] == ["as-is"]
    size = {"straightedge_thick": 40.0, "straightedge_high": 30.0}
    assert "pressed" not in {s.placement for s in CHECK.plan(size, EvidenceGear())}

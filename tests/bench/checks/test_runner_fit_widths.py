"""runner-fit against linear programming at every position, the standard's decisions, and widths with errors."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.runner_fit import CHECK, evaluate
from bench.finding import Finding
from bench.gear import Caliper, Jig
from bench.geometry.runner_play import Widths, runner_fit
from bench.procedure.prompt import ProcedureState, advance, ask
from bench.render.remarks import notes_of
from bench.uncertainty.verdicts import verdict_between

REFERENCE = Path(__file__).parents[3] / "fixtures" / "reference"
DECISIONS = json.loads((REFERENCE / "conformity_decisions.json").read_text())["iso_14253_1"][
    "examples_constructed_here"
]
SLED = Jig("sled")
Columns = dict[str, tuple[list[float], list[float]]]


def fit(columns: Columns, *, caliper: Caliper | None = None, jig: Jig | None = SLED, **options) -> Finding:
    traces = [Trace(name, list(map(float, s)), list(map(float, w))) for name, (s, w) in columns.items()]
    gear = EvidenceGear(caliper=caliper or Caliper(), jig=jig)
    return evaluate(Evidence("runner-fit", traces, options, gear))


def straight(slot: float = 19.10, runner: float = 19.00, length: float = 500.0) -> Columns:
    return {"slot-left": ([0, 350, 700], [slot] * 3), "runner-left": ([0, length / 2, length], [runner] * 3)}


def values(found: Finding) -> dict[str, float]:
    return {q.name: q.value for q in found.quantities}


def by_linear_programme(columns: Columns, at: float) -> tuple[float | None, float | None, float]:
    """Yaw play, side play at the runners' middle and relief at one place, from the conditions themselves.

    |x - t (u - middle) - centre| + q/2 <= w/2 + relief/2 at runner stations in the slot and slot stations under it,
    x the offset at the middle; t in 1e-4 rad.
    """
    from scipy.optimize import linprog

    sides = [s for s in ("left", "right") if f"runner-{s}" in columns]
    rows, ends = [], []
    middle = (
        min(min(columns[f"runner-{s}"][0]) for s in sides)
        + max(max(columns[f"runner-{s}"][0]) for s in sides)
    ) / 2
    for side in sides:
        rs, rw = columns[f"runner-{side}"]
        ss, sw = columns[f"slot-{side}"]
        places = [u for u in rs if ss[0] <= at + u <= ss[-1]]
        places += [s - at for s in ss if rs[0] <= s - at <= rs[-1]]
        if side == "right":  # a spacing bends where it was measured
            for name, shift in (("runner-spacing", 0.0), ("slot-spacing", at)):
                places += [
                    s - shift
                    for s in columns[name][0]
                    if rs[0] <= s - shift <= rs[-1] and ss[0] <= s - shift + at <= ss[-1]
                ]
        for u in places:
            centre = 0.0
            if side == "right":
                centre = np.interp(at + u, *columns["slot-spacing"]) - np.interp(
                    u, *columns["runner-spacing"]
                )
            room = (np.interp(at + u, ss, sw) - np.interp(u, rs, rw)) / 2
            for sign in (1.0, -1.0):
                rows.append([sign, -sign * (u - middle) * 1e-4, -0.5])
                ends.append(room + sign * centre)

    def least(c, free_relief=False):
        bounds = [(None, None), (None, None), (0, None) if free_relief else (0, 1e-12)]
        found = linprog(c, A_ub=rows, b_ub=ends, bounds=bounds, method="highs")
        return None if found.status == 3 else float(found.fun) if found.status == 0 else math.nan

    relief = least([0, 0, 1], free_relief=True)
    assert relief is not None
    if relief > 1e-9:
        return 0.0, 0.0, relief

    def reach(k):
        c = [0.0, 0.0, 0.0]
        c[k] = 1.0
        low, high = least(c), least([-v for v in c])
        return None if low is None or high is None else -high - low

    yaw, side_ = reach(1), reach(0)
    return (None if yaw is None else yaw * 1e-4), side_, 0.0


def random_columns(seed: int, two: bool) -> Columns:
    rng = np.random.default_rng(seed)
    columns: Columns = {}
    for side in ("left", "right") if two else ("left",):
        columns[f"slot-{side}"] = (
            [0, *np.sort(rng.choice(np.arange(40, 600, 20), 4, replace=False)).tolist(), 600],
            (19.06 + 0.02 * rng.standard_normal(6)).tolist(),
        )
        columns[f"runner-{side}"] = ([0, 130, 300, 420], (19.0 + 0.015 * rng.standard_normal(4)).tolist())
    if two:
        columns["slot-spacing"] = ([0, 600], (300 + 0.02 * rng.standard_normal(2)).tolist())
        columns["runner-spacing"] = ([0, 420], (300 + 0.02 * rng.standard_normal(2)).tolist())
    return columns


@pytest.mark.parametrize(
    ("seed", "two"),
    [(1, True), *(pytest.param(*case, marks=pytest.mark.ci) for case in [(1, False), (2, False), (2, True)])],
)
def test_every_position_is_the_linear_programme_s(seed, two) -> None:
    columns = random_columns(seed, two)
    found = fit(columns)
    assert found.positions
    whole_yaw, whole_side, relief = [], [], []
    for p in found.positions:
        yaw, side, off = by_linear_programme(columns, p.at)
        assert p.relief == pytest.approx(off, abs=2e-6)
        for mine, theirs in ((p.yaw_play, yaw), (p.side_play, side)):
            if mine is None or theirs is None:
                assert mine is theirs or abs(mine or theirs or 0.0) > 1e6 or p.at in (-420.0, 600.0)
            else:
                assert mine == pytest.approx(theirs, rel=1e-5, abs=3e-7)
        relief.append(off)
        if -1e-9 <= p.at <= 600 - 420 + 1e-9:
            whole_yaw.append(yaw)
            whole_side.append(side)
    assert values(found) == {
        "yaw-play": pytest.approx(max(whole_yaw), rel=1e-5, abs=1e-9),
        "side-play": pytest.approx(max(whole_side), rel=1e-5, abs=1e-8),
        "relief": pytest.approx(max(relief), abs=2e-6),
    }


def test_the_worked_runner_and_the_pinch() -> None:
    """19.00 x 500 in 19.10: yaw play 0.000400, side play 0.100; pinched to 18.99 between its ends: relief 0.01."""
    plain = fit(straight())
    assert values(plain) == {"yaw-play": pytest.approx(4e-4), "side-play": pytest.approx(0.1), "relief": 0.0}
    ends = plain.positions
    assert ends is not None and (ends[0].at, ends[-1].at) == (-500.0, 700.0)
    assert ends[0].yaw_play is None and ends[0].side_play is None and ends[0].relief == 0.0
    pinched = fit(
        {
            "slot-left": ([0, 300, 350, 400, 700], [19.1, 19.1, 18.99, 19.1, 19.1]),
            **{"runner-left": ([0, 500], [19.0, 19.0])},
        }
    )
    assert values(pinched)["relief"] == pytest.approx(0.01)
    assert values(pinched)["yaw-play"] == 0.0 and values(pinched)["side-play"] == 0.0
    assert pinched.quantities[2].way == "binds"
    words = "Tight 350 mm from the front edge of the table."
    assert any(note.startswith(words) for note in notes_of(pinched, "mm"))


def test_places_are_counted_from_what_can_be_seen() -> None:
    steps = CHECK.plan({"runner": "both"}, EvidenceGear())
    for step in steps:
        near = "the front edge of the table" if step.placement.startswith("slot") else "the runner's near end"
        where = f" from {near}." if step.at else f" Measure at {near}."
        assert step.words.endswith(where), step.words


def test_tight_from_here_to_there_and_how_much_to_take_off() -> None:
    columns: Columns = {
        "slot-left": ([0, 100, 150, 250, 300, 700], [19.1, 19.1, 18.96, 18.96, 19.1, 19.1]),
        "runner-left": ([0, 250, 500], [19.0] * 3),
    }
    found = fit(columns)
    assert found.verdict == "outside"  # -0.04 +- 0.04 is surely under the 0.03 it takes
    assert any(
        "Tight 150 mm to 250 mm from the front edge of the table. Take 0.04 mm off in all" in n
        for n in notes_of(found, "mm")
    )
    sure = fit(columns, caliper=Caliper(0.001, 0.002), slot_straight=0.005)
    assert sure.verdict == "outside" and sure.quantities[1].way == "binds"
    # what is said to be taken off is what opens it
    columns["runner-left"] = ([0, 250, 500], [18.96] * 3)
    assert values(fit(columns))["relief"] == 0.0


def test_loose_and_tight_in_words() -> None:
    loose = fit(straight(slot=19.30))
    assert loose.verdict == "outside" and loose.quantities[1].way == "loose"
    assert any(n.startswith("Loose: 0.30 mm of play") for n in notes_of(loose, "mm"))
    tight = fit(straight(slot=19.01))
    assert tight.quantities[1].way == "tight" and "nearly-tight" in tight.codes
    good = fit(straight(slot=19.085), caliper=Caliper(0.001, 0.003), slot_straight=0.01)
    assert good.verdict == "inside" and good.quantities[1].tolerance == 0.15
    asked = fit(straight(slot=19.085), caliper=Caliper(0.001, 0.003), slot_straight=0.01, clearance_most=0.05)
    assert asked.verdict == "outside"
    assert fit(straight(), jig=None).verdict is None
    assert fit(straight(), jig=None, clearance_least=0.05, clearance_most=0.2).verdict is not None
    assert fit(straight()).verdict == "inside"  # 0.10 +- 0.04
    undecided = fit(straight(slot=19.06))
    assert undecided.verdict == "cannot-tell" and undecided.settle is not None
    assert "measure-the-play" in undecided.codes


def test_a_runner_longer_than_what_was_measured_of_the_slot() -> None:
    found = fit({"slot-left": ([0, 300], [19.1, 19.1]), "runner-left": ([0, 500], [19.0, 19.0])})
    assert values(found)["side-play"] > 0.0
    assert "runner-longer" in found.codes


@pytest.mark.parametrize(
    "row", [r for r in DECISIONS if r["USL"] is not None], ids=lambda r: f"{r['y']}-{r['U']}"
)
def test_two_limits_decide_as_the_standard_does(row) -> None:
    """ISO 14253-1: the tightest place against the lower limit, the loosest against the upper, one value for both."""
    lower = -math.inf if row["LSL"] is None else row["LSL"]
    said = {"conforms": "inside", "undecided": "cannot-tell", "does not conform": "outside"}[row["decision"]]
    assert verdict_between(row["y"], row["U"], lower, row["USL"], row["y"]) == said


# ---- uncertainty -------------------------------------------------------------------------------------------------


def test_rows_of_the_budget() -> None:
    found = fit(straight(), slot_straight=0.0)
    u = {r.part: r.standard_uncertainty for r in found.budget}
    # both ends of the runner: what is common to all widths moves each by half of it, each way
    assert u["inside against outside jaws"] == pytest.approx(2 * 0.02 * math.sqrt(2 / 3) / 500, rel=0.25)
    assert u["bow that no width shows"] == 0.0
    assert "spacing" not in u
    two = fit(random_columns(3, True))
    assert {r.part for r in two.budget} == {
        "widths as read",
        "inside against outside jaws",
        "spacing",
        "bow that no width shows",
    }


def test_widths_read_again_speak_for_themselves() -> None:
    rng = np.random.default_rng(4)

    def repeated(scatter: float) -> Finding:
        columns = {
            name: (list(np.repeat(s, 4)), list(np.repeat(w, 4) + scatter * rng.standard_normal(4 * len(s))))
            for name, (s, w) in straight().items()
        }
        return fit(columns, slot_straight=0.0)

    calm, restless = repeated(0.001), repeated(0.05)
    row = {r.part: r for r in restless.budget}["widths as read"]
    assert row.type == "A" and row.degrees_of_freedom == 18.0  # three more at each of six stations
    assert (
        row.standard_uncertainty > 5 * {r.part: r for r in calm.budget}["widths as read"].standard_uncertainty
    )


def _bodies(columns: Columns):
    """Runners and slots as they are, without a caliper; side by side by their spacing."""
    sides = [s for s in ("left", "right") if f"runner-{s}" in columns]
    bodies = [[Widths(*columns[f"{what}-{s}"]) for s in sides] for what in ("runner", "slot")]
    if len(sides) == 2:
        for what, pair in zip(("runner", "slot"), bodies, strict=True):
            places, apart = columns[f"{what}-spacing"]
            pair[1] = pair[1].shifted(places, [a - 300.0 for a in apart])
    return bodies


def measured_with_errors(seed: int, trials: int, clearance: float, two: bool = False) -> dict[str, float]:
    """Share of intervals that hold the truth: jaws off by up to the caliper's limit, each width felt differently."""
    rng = np.random.default_rng(seed)
    held = {"yaw-play": 0, "side-play": 0, "relief": 0}
    for _ in range(trials):
        columns = random_columns(int(rng.integers(1 << 30)), two)
        for name in list(columns):
            if name.startswith("runner-") and "spacing" not in name:
                columns[name] = (columns[name][0], [w + 0.06 - clearance for w in columns[name][1]])
        exact = runner_fit(*_bodies(columns))
        inside, outside = rng.uniform(-0.02, 0.02, 2)
        read: Columns = {}
        for name, (stations, widths) in columns.items():
            jaws = (
                rng.uniform(-0.02, 0.02)
                if "spacing" in name
                else inside
                if name.startswith("slot")
                else outside
            )
            felt = np.array(widths) + jaws + 0.006 * rng.standard_normal(len(widths))
            read[name] = (stations, (np.round(felt / 0.01) * 0.01).tolist())
        found = fit(read)
        truth = (exact.yaw_play, exact.side_play, exact.relief)
        for q, t in zip(found.quantities, truth, strict=True):
            assert t is not None
            held[q.name] += abs(q.value - t) <= q.uncertainty + 1e-12
    return {name: count / trials for name, count in held.items()}


@pytest.mark.ci
def test_the_intervals_hold_the_play() -> None:
    assert min(measured_with_errors(5, 6, 0.04).values()) >= 5 / 6  # the many are below


@pytest.mark.slow
@pytest.mark.parametrize(("clearance", "two"), [(0.08, False), (0.03, False), (0.0, False), (0.08, True)])
def test_the_intervals_hold_the_play_of_many_runners(clearance, two) -> None:
    shares = measured_with_errors(6, 200, clearance, two)
    print(clearance, two, shares)
    assert min(shares.values()) >= 0.92


# ---- the guide ---------------------------------------------------------------------------------------------------


def test_a_set_up_is_asked_once_for_all_its_stations() -> None:
    steps = CHECK.plan({"runner": "both", "stations": 3, "slot_length": 600.0}, EvidenceGear())
    facts = ProcedureState(acknowledged=True)
    places, stations = [], []
    while True:
        advance(steps, facts)
        said = ask(CHECK.cautions, steps, facts)
        if said.phase == "working-out":
            break
        if said.phase == "place":
            places.append(said.placement)
            facts.placed = True
            continue
        assert said.phase == "width"
        stations.append((said.placement, said.at))
        facts.accepted[facts.step] += 1
    assert places == [
        "slot-left",
        "slot-right",
        "slot-spacing",
        "runner-left",
        "runner-right",
        "runner-spacing",
    ]
    assert stations[:3] == [("slot-left", 0.0), ("slot-left", 300.0), ("slot-left", 600.0)]
    assert len(stations) == 4 * 3 + 2 * 2
    # what the guide gathers is what can be worked out
    widths = {"slot": 19.1, "runner": 19.0, "slot-spacing": 300.0, "runner-spacing": 300.0}
    traces = [Trace(p, [at], [widths[p] if p in widths else widths[p.split("-")[0]]]) for p, at in stations]
    found = evaluate(Evidence("runner-fit", traces, {}, EvidenceGear()))
    assert values(found)["side-play"] == pytest.approx(0.1)


@pytest.mark.parametrize("side", ["left", "right"])
def test_one_runner_alone(side) -> None:
    steps = CHECK.plan({"runner": side}, EvidenceGear())
    assert {s.placement for s in steps} == {f"slot-{side}", f"runner-{side}"}
    assert all(s.gather == "width" and s.repeat == 1 and s.at is not None for s in steps)

"""test-board against boards that a geometry library turns and cuts, with play, slips and a caliper's errors."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import shapely
import shapely.affinity

from bench.checks.model import Evidence, EvidenceGear, Pool, PriorKnowledge, SweepHistory, Trace
from bench.checks.options import understood
from bench.checks.shared.cut_board import cut_scatter, likely_causes
from bench.checks.test_board import CHECK, evaluate
from bench.finding import EvidenceError, Finding
from bench.gear import Caliper, Jig
from bench.procedure.conclusion import conclude
from bench.procedure.prompt import ProcedureState, advance, ask
from bench.render.printed_result import result_lines
from bench.render.remarks import move_words
from bench.render.result import headline
from bench.uncertainty.verdicts import agreement

EN = json.loads(
    (Path(__file__).parents[3] / "fixtures" / "reference" / "conformity_decisions.json").read_text()
)["en_number"]["examples_constructed_here"]
SLED = Jig("sled", pivot="right")


def cut_strip(rotations, kept: str = "left", size: float = 440.0, strip: float = 26.0):
    """A board turned and cut once for each of `rotations` (the fence as it happened to stand at that cut), seen
    from above: the blade cuts along x = 0, the fence runs through the origin. The last cut takes the strip;
    returns the function that tells its width so far from the fence.
    """
    side = -1.0 if kept == "left" else 1.0
    kept_half = shapely.box(-5000, -5000, 0, 5000) if kept == "left" else shapely.box(0, -5000, 5000, 5000)
    board = shapely.Polygon([(0, 0), (size, 1.0), (size - 2, size + 3), (4, size)])
    edge = np.array([[0.0, 0.0], [size, 1.0]])
    off = board
    for cut, rotation in enumerate(rotations):
        along = np.array([np.cos(rotation), np.sin(rotation)])
        run = edge[1] - edge[0]
        angle = np.arctan2(along[1], along[0]) - np.arctan2(run[1], run[0])
        board = shapely.affinity.rotate(board, angle, origin=tuple(edge[0]), use_radians=True)
        board = shapely.affinity.translate(board, -edge[0][0], -edge[0][1])
        trim = strip if cut == len(rotations) - 1 else 12.0
        overhang = board.bounds[2] if kept == "left" else board.bounds[0]
        slide = (-side * trim - overhang) / along[0]
        board = shapely.affinity.translate(board, slide * along[0], slide * along[1])
        off, board = board.difference(kept_half), board.intersection(kept_half)
        fresh = sorted(y for x, y in set(board.exterior.coords) if abs(x) < 1e-9)
        ends = [[0.0, fresh[0]], [0.0, fresh[-1]]]
        edge = np.array(ends if kept == "left" else ends[::-1])

    def width(y: float) -> float:
        return float(shapely.intersection(off, shapely.LineString([(-5000, y), (5000, y)])).length)

    return width


def board(
    near,
    far,
    *,
    known: PriorKnowledge | None = None,
    caliper: Caliper | None = None,
    jig: Jig | None = SLED,
    **options,
) -> Finding:
    traces = [Trace("near", [0.0] * len(near), list(near)), Trace("far", [0.0] * len(far), list(far))]
    gear = EvidenceGear(caliper=caliper or Caliper(), jig=jig)
    return evaluate(
        Evidence("test-board", traces, {"apart": 370.0, **options}, gear, known or PriorKnowledge())
    )


@pytest.mark.parametrize("kept", ["left", "right"])
@pytest.mark.parametrize("pivot", ["left", "right"])
@pytest.mark.parametrize("a", [8e-4, -3e-4])
def test_a_board_really_cut_tells_the_fence_and_its_way(kept, pivot, a) -> None:
    width = cut_strip([a] * 5, kept)
    found = board([width(15.0)], [width(385.0)], kept=kept, jig=Jig("sled", pivot=pivot))
    assert found.quantities[0].value == pytest.approx(a, abs=3e-8)
    # turned counter-clockwise the left end has come nearer and the right end has gone away
    end = "right" if pivot == "left" else "left"
    near = (a > 0) == (end == "left")
    assert found.quantities[0].way == f"{end} end too {'near' if near else 'far from'} you"


def test_turns_that_do_not_bring_the_first_edge_back_are_remarked_on() -> None:
    found = board([25.1], [25.0], turns=3)
    assert found.quantities[0].value == pytest.approx(0.1 / (3 * 370))
    assert "turns-not-four" in found.codes
    assert "turns-not-four" not in board([25.1], [25.0]).codes


def test_a_chip_under_the_board_in_one_cut_is_not_called_good_in_silence() -> None:
    """0.32 mm at the end of 400 in the third cut makes a fence that is out look square."""
    a = 2e-4
    strip = cut_strip([a, a, a - 0.32 / 400, a, a])
    near, far = ([round(strip(at) + 0.01 * k, 2) for k in range(3)] for at in (15.0, 385.0))
    known = PriorKnowledge(passes=Pool(2e-5**2, 34.0))
    jig = Jig("sled", tolerance=1e-4)
    assert "one-strip" in board(near, far, known=known, jig=jig).codes
    beside = PriorKnowledge(passes=known.passes, sweep=SweepHistory(a, 3e-5))
    traces = [Trace(end, [0.0] * 3, widths) for end, widths in (("near", near), ("far", far))]
    evidence = Evidence("test-board", traces, {"apart": 370.0}, EvidenceGear(jig=jig), beside)
    found = conclude(evidence, id="x", at="2026-01-01T00:00:00+00:00")
    assert abs(found.quantities[0].value) < 5e-5 and found.verdict == "cannot-tell"
    assert [doubt.code for doubt in found.doubts] == ["board-unlike"]
    assert found.settle is not None and found.settle.part == "why board and passes differ"


@pytest.mark.parametrize("chip", [0.0, 0.3])
def test_a_second_strip_shows_the_chip_and_the_give_or_take_holds(chip) -> None:
    """Nine cuts of one board: the strip is cut off its first edge after four turns, and after eight."""
    a, cuts = 2e-4, [2e-4] * 9
    cuts[6] -= chip / 400
    traces = []
    for cut in (5, 9):
        strip = cut_strip(cuts[:cut])
        traces += [
            Trace(end, [at] * 3, [round(strip(at), 2)] * 3) for end, at in (("near", 15.0), ("far", 385.0))
        ]
    options = {"apart": 370.0, "strips": 2}
    known = PriorKnowledge(passes=Pool(2e-5**2, 34.0))
    found = evaluate(Evidence("test-board", traces, options, EvidenceGear(), known))
    (q,) = found.quantities
    assert abs(q.value - a) <= q.uncertainty and "one-strip" not in found.codes
    assert ("strips-apart" in found.codes) == (chip > 0)
    steps = CHECK.plan({"strips": 2}, EvidenceGear())
    assert [step.placement for step in steps] == ["near", "far"] * 2
    with pytest.raises(EvidenceError, match="near and far of each"):
        evaluate(Evidence("test-board", traces[:2], options, EvidenceGear(), known))


def test_more_turns_than_the_edges_are_refused() -> None:
    """The fifth cuts the strip's first edge anew: eight turns told half of the fence without a word."""
    _, wrong = understood(CHECK, {"turns": 8})
    assert wrong and "from 1 to 4" in wrong[0].problem


def test_play_and_seat_of_every_cut_are_in_the_interval() -> None:
    """Each cut falls anywhere in the yaw play and on its own seating; widths are read three times by caliper."""
    rng = np.random.default_rng(3)
    play, held, trials = 3e-4, 0, 60
    for _ in range(trials):
        a = rng.uniform(-5e-4, 5e-4)
        width = cut_strip(a + play * rng.uniform(-0.5, 0.5, 5) + 30e-6 * rng.standard_normal(5))
        read = [
            [round((width(at) + 0.004 * rng.standard_normal()) * 1.0005, 2) for _ in range(3)]
            for at in (15.0, 385.0)
        ]
        found = board(*read, known=PriorKnowledge(yaw_play=play))
        held += abs(found.quantities[0].value - a) <= found.quantities[0].uncertainty
    assert held / trials >= 0.9


def test_the_rows_are_those_of_n_cuts() -> None:
    near, far = [25.01, 25.02, 25.03], [24.00, 24.01, 24.02]
    found = board(near, far, known=PriorKnowledge(yaw_play=4e-4, seat_scatter=2e-5))
    u = {r.part: r for r in found.budget}
    cut = math.hypot(4e-4 / math.sqrt(12), 2e-5)
    assert u["scatter of the cuts"].standard_uncertainty == pytest.approx(cut / 2)
    assert u["edge of the strip"].standard_uncertainty == pytest.approx(math.sqrt(2) * 0.01 / (4 * 370))
    width = u["width repeatability"]
    # three readings an end: the standard uncertainty of either mean is 0.01 / sqrt 3
    assert width.standard_uncertainty == pytest.approx(math.sqrt(2) * 0.01 / math.sqrt(3) / (4 * 370))
    assert width.type == "A" and width.degrees_of_freedom == 4
    assert "resolution" not in u
    equal = {r.part: r for r in board([25.01] * 3, [24.0] * 3).budget}
    assert equal["resolution"].standard_uncertainty == pytest.approx(
        0.005 / math.sqrt(3) * math.sqrt(2) / (4 * 370)
    )
    once = board([25.01], [24.0])
    row = {r.part: r for r in once.budget}["width repeatability"]
    assert row.type == "B" and row.standard_uncertainty == pytest.approx(
        math.sqrt(2) * 0.02 / math.sqrt(3) / (4 * 370)
    )
    assert "one-width" in once.codes


def test_unknown_play_is_not_taken_for_none() -> None:
    unknown, none = (
        board([25.0] * 3, [25.0] * 3),
        board([25.0] * 3, [25.0] * 3, known=PriorKnowledge(yaw_play=0.0)),
    )
    assert unknown.quantities[0].uncertainty > 2 * none.quantities[0].uncertainty
    assert "cuts-unknown" in unknown.codes
    assert "cuts-unknown" not in none.codes


@pytest.mark.parametrize(
    ("known", "options", "cut", "dof", "code"),
    [
        (PriorKnowledge(passes=Pool(25e-6**2, 34.0), yaw_play=6e-4), {}, 25e-6, 34.0, "cuts-as-passes"),
        (PriorKnowledge(passes=Pool(25e-6**2, 34.0)), {"cut_scatter": 1e-5}, 1e-5, None, None),
        (PriorKnowledge(), {"hold": "left"}, 60e-6, None, "cuts-held-usual"),
        (
            PriorKnowledge(yaw_play=3e-4),
            {},
            math.hypot(3e-4 / math.sqrt(12), 30e-6),
            None,
            "cuts-in-the-play",
        ),
        (PriorKnowledge(), {}, math.hypot(100e-6, 30e-6), None, "cuts-unknown"),
    ],
)
def test_the_best_that_is_known_of_a_cut_counts(known, options, cut, dof, code) -> None:
    found = board([25.01, 25.02, 25.03], [25.0, 25.01, 25.02], known=known, **options)
    row = {r.part: r for r in found.budget}["scatter of the cuts"]
    assert row.standard_uncertainty == pytest.approx(cut / 2) and row.degrees_of_freedom == dof
    assert {c for c in found.codes if c.startswith("cuts-")} == ({code} if code else set())


def test_agreement_is_said_before_all_else() -> None:
    day = SweepHistory(fence=2e-4, expanded=3e-5, at="2026-02-03T10:00:00+00:00")
    known = PriorKnowledge(sweep=day, passes=Pool(2e-5**2, 30.0))
    same = board([25.3] * 3, [25.0] * 3, known=known, jig=None)
    assert same.remarks[0].code == "agrees-with-passes"
    assert result_lines(same, "mm")[0].startswith("It agrees with the passes of 2026-02-03")
    assert headline(same, "mm", None).lead[0].startswith("It agrees with the passes of 2026-02-03")
    beside = same.comparison
    assert beside is not None and beside.agrees and beside.at == day.at and beside.value == 2e-4
    off = board([25.9] * 3, [25.0] * 3, known=known)
    assert off.remarks[0].code == "differs-from-passes" and off.comparison is not None
    a = off.quantities[0]
    e_n = abs(a.value - 2e-4) / math.hypot(a.uncertainty, 3e-5)  # ISO 13528:2022, 9.7
    assert off.comparison.e_n == pytest.approx(e_n) and not off.comparison.agrees
    assert board([25.3], [25.0]).comparison is None


def test_a_scale_error_of_the_caliper_and_its_zero_cancel() -> None:
    plain = board([25.392] * 2, [23.914] * 2).quantities[0].value
    shifted = board([25.392 + 0.3] * 2, [23.914 + 0.3] * 2).quantities[0].value
    assert shifted == pytest.approx(plain, abs=1e-12)


def test_verdicts() -> None:
    tight = {"known": PriorKnowledge(yaw_play=5e-5, seat_scatter=1e-5), "caliper": Caliper(0.001, 0.002)}
    assert board([25.0] * 3, [25.0] * 3, **tight).verdict == "inside"
    assert board([25.5] * 3, [25.0] * 3, **tight).verdict == "outside"
    near = board([25.25] * 3, [25.0] * 3, **tight)
    assert (
        near.verdict == "cannot-tell" and near.settle is not None and near.settle.part == near.budget[0].part
    )
    assert board([25.5], [25.0], jig=None).verdict is None


# ---- beside the sweep --------------------------------------------------------------------------------------------


@pytest.mark.parametrize("row", EN, ids=lambda r: f"{r['x']}")
def test_e_n_examples(row) -> None:
    """E_n scores, ISO 13528:2022, 9.7; without their sign."""
    e_n = agreement(row["x"], row["U"], row["x_ref"], row["U_ref"])
    assert e_n == pytest.approx(abs(row["E_n"]), rel=1e-9)
    assert (e_n <= 1.0) is row["satisfactory"]


@pytest.mark.parametrize(
    ("slip", "first"),
    [
        ("ends", "cause-ends-mixed"),
        ("side", "cause-ends-mixed"),
        ("turns", "cause-turns"),
        ("fence moved", "cause-wall"),
    ],
)
def test_slips_with_a_board_really_cut_are_named_first(slip, first) -> None:
    a = 1.2e-3
    width = cut_strip([a] * 5)
    near, far = [width(15.0)] * 3, [width(385.0)] * 3
    options: dict[str, object] = {"sweep_fence": a, "sweep_fence_uncertainty": 3e-5}
    known = PriorKnowledge(yaw_play=1e-4)
    assert "agrees-with-passes" in board(near, far, known=known, **options).codes
    if slip == "ends":
        near, far = far, near
    elif slip == "side":
        options["kept"] = "right"
    elif slip == "turns":
        options["turns"] = 3
    else:
        options["sweep_fence"] = 5e-4
    codes = [r.code for r in board(near, far, known=known, **options).remarks]
    assert codes[codes.index("differs-from-passes") + 1] == first


def test_a_square_fence_says_nothing_of_swapped_ends() -> None:
    named = likely_causes(2e-4, 0.0, both=2.8e-5)
    assert not {c.code for c in named} & {"cause-ends-mixed", "cause-turns"}


# ---- refused, and asked ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("options", "says"),
    [
        ({"apart": None}, "--apart"),
        ({"apart": -370.0}, "--apart"),
        ({"board": 200.0}, "read 370 mm apart, the board is 200 mm"),
    ],
)
def test_what_cannot_be_is_refused(options, says) -> None:
    with pytest.raises(EvidenceError, match=says):
        board([25.0], [25.0], **options)


@pytest.mark.parametrize(
    ("options", "apart"), [({}, 370.0), ({"board": 600.0}, 570.0), ({"apart": 200.0}, 200.0)]
)
def test_the_guide_asks_where_the_widths_are_read_and_that_is_how_far_apart_they_are(options, apart) -> None:
    steps = CHECK.plan(options, EvidenceGear())
    facts = ProcedureState(acknowledged=False)
    cautions = ask(CHECK.cautions, steps, facts).cautions
    assert any("two" not in c and "blade stands still" in c for c in cautions)
    assert any("exit block" in c.lower() for c in cautions) and any("eye and ear" in c for c in cautions)
    facts.acknowledged = True
    traces = []
    while True:
        advance(steps, facts)
        said = ask(CHECK.cautions, steps, facts)
        if said.phase == "working-out":
            break
        if said.phase == "place":
            facts.placed = True
            continue
        assert said.gather == "width" and said.at is not None
        taper = 0.5 if said.placement == "near" else 0.0
        traces.append(Trace(said.placement or "", [said.at], [25.0 + taper]))
        facts.accepted[facts.step] += 1
    assert len(traces) == 6
    found = evaluate(Evidence("test-board", traces, options, EvidenceGear()))
    assert found.quantities[0].value == pytest.approx(0.5 / (4 * apart))


def test_the_words_turn_the_board_the_right_way() -> None:
    """Left of the blade the freshly cut edge goes onto the fence clockwise, right of it counter-clockwise."""
    left = CHECK.plan({}, EvidenceGear())[0].words
    right = CHECK.plan({"kept": "right", "turns": 3}, EvidenceGear())[0].words
    assert "LEFT of the blade" in left and "board clockwise" in left and "4 turns" in left
    assert "RIGHT of the blade" in right and "board counter-clockwise" in right and "3 turns" in right


# ---- the move ----------------------------------------------------------------------------------------------------


def concluded(width, *, known: PriorKnowledge | None = None, jig: Jig | None, kept: str = "left") -> Finding:
    traces = [Trace(end, [at] * 3, [width(at)] * 3) for end, at in (("near", 15.0), ("far", 385.0))]
    gear = EvidenceGear(caliper=Caliper(0.001, 0.002), jig=jig, leaves=(0.05, 0.1))
    evidence = Evidence("test-board", traces, {"kept": kept}, gear, known or QUIET)
    return conclude(evidence, id="x", at="2026-01-01T10:00:00+00:00")


QUIET = PriorKnowledge(yaw_play=2e-5, seat_scatter=1e-5)


@pytest.mark.parametrize("pivot", ["left", "right"])
@pytest.mark.parametrize("a", [8e-4, -6e-4])
@pytest.mark.parametrize("kept", ["left", "right"])
def test_the_move_makes_the_next_board_good(a: float, pivot, kept: str) -> None:
    """The free end goes by as much and that way on a fence that is a line turned about its pivot; then a board is
    really cut again."""
    jig = Jig("sled", pivot=pivot, pivot_to_blade=250.0, pivot_to_stop=480.0)
    found = concluded(cut_strip([a] * 5, kept), jig=jig, kept=kept)
    assert found.verdict == "outside" and found.move is not None and found.move.end != pivot
    told = move_words(found.move, "mm")
    assert "another board" in told and "verifying passes" not in told
    pivot_x = 250.0 if pivot == "right" else -250.0
    free_x = pivot_x + (-480.0 if pivot == "right" else 480.0)
    fence = np.array([[pivot_x, math.tan(a) * pivot_x], [free_x, math.tan(a) * free_x]])
    fence[1, 1] += found.move.distance * (1.0 if found.move.way == "away" else -1.0)
    run = fence[1] - fence[0]
    after = math.atan(run[1] / run[0])
    again = concluded(cut_strip([after] * 5, kept), jig=jig, kept=kept)
    assert abs(after) < abs(a) / 50 and again.verdict == "inside" and again.move is None


def test_where_there_is_no_move_it_is_said_why() -> None:
    width = cut_strip([8e-4] * 5)
    bare = concluded(width, jig=Jig("sled", pivot="right"))
    assert bare.verdict == "outside" and bare.move is None
    assert "no-lever" in bare.codes
    jig = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_stop=480.0)
    other = PriorKnowledge(yaw_play=2e-5, seat_scatter=1e-5, sweep=SweepHistory(1e-5, 2e-5))
    differs = concluded(width, jig=jig, known=other)
    assert differs.verdict == "cannot-tell" and differs.move is None
    assert "no-move-in-doubt" in differs.codes
    agrees = PriorKnowledge(yaw_play=2e-5, seat_scatter=1e-5, sweep=SweepHistory(8e-4, 2e-5))
    assert concluded(width, jig=jig, known=agrees).move is not None
    assert concluded(width, jig=None).move is None


def test_the_wall_that_the_sled_is_always_held_to_counts_in_its_cuts() -> None:
    said = Evidence("test-board", gear=EvidenceGear(jig=Jig("sled", hold="left")))
    assert cut_scatter(said).source == "held"
    assert cut_scatter(Evidence("test-board", gear=EvidenceGear(jig=Jig("sled")))).source == "usual"

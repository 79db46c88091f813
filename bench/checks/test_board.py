"""Does a board agree? It is turned and cut n times, and the strip cut along its first
edge is measured.

a = (w_near - w_far) / (n L), w_near where the strip touched the fence, the board kept
left of the blade; kept right the sign flips, and it flips where the fence stands beyond
the board: the cut edge then comes to it by the other turn. mm and rad.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Literal

from bench.checks.fence_square import fence_way
from bench.checks.model import Check, Evidence, EvidenceGear, Focus, Step
from bench.checks.options import (
    HOLD,
    STEEPEST,
    Option,
    OptionValues,
    angle,
    choice,
    given_number,
    length,
    number,
)
from bench.checks.shared.cautions import (
    BOARD_HELD,
    COUNT_OFF,
    CUT_CLEAR,
    EXIT_BLOCK,
    MANUAL,
)
from bench.checks.shared.cut_board import compare_with_passes, cut_remarks, cut_scatter
from bench.checks.shared.plausibility import strip_doubts, strip_remarks
from bench.checks.shared.results import budget_of, finding, quantity
from bench.finding import EvidenceError, Finding, Remark, act, note, warning
from bench.uncertainty.budget import Part, rectangular, resolution

if TYPE_CHECKING:
    from bench.geometry.board import BoardRotation

NEAR, FAR = "near", "far"
READINGS = 3  # an end
TURNS = 4
TEST_BOARD, IN_FROM_END = (
    400.0,
    15.0,
)  # mm, live, unless said; common practice, no source
APART_ERROR = 0.5  # mm, half-width: taken with a rule; common practice, no source
MOST_TURNS = 24
# mm, standard uncertainty by which a sawn edge stands off its line where the jaws meet
# it; common practice, no source
STRIP_EDGE = 0.01


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    apart = number(
        options, "apart", number(options, "board", TEST_BOARD) - 2 * IN_FROM_END
    )
    turns = int(number(options, "turns", TURNS))
    right = options.get("kept") == "right"
    side = "RIGHT" if right else "LEFT"
    way = "clockwise" if _clockwise(options, gear) else "counter-clockwise"
    near = (
        f"Board on the {side} of the blade. Pencil 1 on its first edge and cut it."
        f" Turn the board {way}: the edge just cut onto the sled fence. Cut the next,"
        f" {turns} turns in all. The last cut takes a strip off edge 1. It is 25 to 30"
        " mm wide. Before lifting it, pencil N on its end at the sled fence. Pencil F"
        " on the other end. Unplug the saw. Caliper across the strip, {at:station} from"
        " N."
    )
    there = IN_FROM_END + apart
    far = "Caliper across the strip, {at:station} from N, near F."

    def step(name: str, words: str, at: float) -> Step:
        return Step(
            name,
            words,
            "width",
            READINGS,
            at=at,
            picture="test-board",
            reseat="Open the caliper and close it on the same place again.",
            focus=Focus("place", at),
        )

    return step(NEAR, near, IN_FROM_END), step(FAR, far, there)


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.board import board_rotation

    options = evidence.options
    near, far = (_widths(evidence, end) for end in (NEAR, FAR))
    apart, turns = _apart(evidence), int(number(options, "turns", TURNS))
    remarks: list[Remark] = []
    if len(near) + len(far) == 2:
        remarks.append(note("one-width"))
    if turns % 4:
        remarks.append(warning("turns-not-four", turns=turns))
    if hold := options.get("hold"):
        remarks.append(note("wall", wall=str(hold)))
    side: Literal["left", "right"] = "right"
    if _clockwise(options, evidence.gear):
        side = "left"
    board = board_rotation(near, far, apart, turns, side)
    cuts = cut_scatter(evidence)
    every = [cuts.row(turns), *_rows(evidence, board, 1 / len(near) + 1 / len(far))]
    rows = [row for row in every if row is not None and row.standard_uncertainty > 0.0]
    budget = budget_of(evidence, rows)
    remarks += cut_remarks(cuts, turns, rows, budget)
    gear, a = evidence.gear, float(board.rotation)
    turned = quantity("board", a, budget, gear.tolerance, fence_way(a, gear.jig))
    doubts = strip_doubts(near, far)
    if not doubts:
        remarks += strip_remarks(near, far, budget.expanded * turns * apart)
    beside, comparison = compare_with_passes(evidence, a, budget.expanded, turns)
    width = given_number(options, "board")
    remarks.append(
        note("boards-of-that-width", board=width)
        if width is not None
        else note("boards-as-wide")
    )
    return finding(
        evidence,
        [turned],
        budget,
        comparison=comparison,
        remarks=[*beside, *remarks],
        doubts=doubts,
    )


def _clockwise(options: OptionValues, gear: EvidenceGear) -> bool:
    """How the edge just cut comes onto the sled fence, from above: left of the blade
    clockwise, if that is near."""
    return (options.get("kept") == "right") == gear.far


def _widths(evidence: Evidence, end: str) -> list[float]:
    found = [width for trace in evidence.at(end) for width in trace.reading]
    if not found:
        raise EvidenceError(f"no width at the {end} end of the strip")
    return found


def _apart(evidence: Evidence) -> float:
    """How far apart the widths were read, as said; else as they were asked for at their
    places along the strip."""
    given = given_number(evidence.options, "apart")
    if given is None:
        at = {t.placement: t.travel[0] for t in evidence.traces if t.travel}
        given = at.get(FAR, 0.0) - at.get(NEAR, 0.0)
    if not given > 0.0:
        raise EvidenceError(
            "give --apart: how far apart along the strip the widths were read"
        )
    board = given_number(evidence.options, "board")
    if board is not None and given > board:
        raise EvidenceError(
            f"the widths were read {given:g} mm apart, the board is {board:g} mm:"
            " correct one of them"
        )
    return given


def _rows(evidence: Evidence, board: BoardRotation, share: float) -> list[Part | None]:
    """The rows of the widths, at either end. share: of one width's variance in the
    taper's. The caliper's count stands there where the readings are closer together
    than it can show. Source: JCGM 100:2008, 4.3.7 and 5.1."""
    options, caliper = evidence.options, evidence.gear.caliper
    apart = _apart(evidence)
    reach = int(number(options, "turns", TURNS)) * apart
    seen = board.degrees_of_freedom
    edge = number(options, "edge", STRIP_EDGE) * math.sqrt(2.0)
    reading = board.reading if seen else caliper.max_error / math.sqrt(3.0)
    repeats = reading * math.sqrt(share) / reach
    return [
        Part("edge of the strip", "B", edge / reach),
        Part("width repeatability", "A" if seen else "B", repeats, seen or None),
        rectangular("length between widths", board.rotation * APART_ERROR / apart),
        resolution(caliper.resolution, reach, reading),
    ]


def holds_back(evidence: Evidence, finding: Finding) -> Remark | None:
    """One of the two is wrong where board and passes differ, and nothing should be
    moved by either."""
    if finding.comparison is None or finding.comparison.agrees:
        return None
    return act("no-move-while-differing")


CHECK = Check(
    kind="test-board",
    question="Does a test board agree?",
    plan=plan,
    evaluate=evaluate,
    quantities=("board",),
    turns_fence=True,
    holds_back=holds_back,
    verified_by=("check again by passes, or cut another board, to see what is left"),
    cautions=(COUNT_OFF, BOARD_HELD, EXIT_BLOCK, CUT_CLEAR, MANUAL),
    options=(
        length(
            "apart", "How far apart along the strip the widths are read", (1.0, 5000.0)
        ),
        Option(
            "turns",
            "count",
            "How often the board is turned",
            TURNS,
            low=1,
            high=MOST_TURNS,
        ),
        choice(
            "kept",
            "On which side of the blade the board lies",
            ("left", "right"),
            default="left",
        ),
        length("board", "Width of the board", (2 * IN_FROM_END + 1.0, 5000.0)),
        HOLD,
        angle(
            "cut_scatter",
            "How much one cut's direction scatters; else from the log",
            0.0,
        ),
        length(
            "edge",
            f"How far the strip's edge is off line ({STRIP_EDGE:g} mm unless said)",
            (0.0, 1.0),
        ),
        angle(
            "sweep_fence",
            "What the passes found for the sled fence, to compare",
            -STEEPEST,
        ),
        angle(
            "sweep_fence_uncertainty", "Give or take of that", 0.0, needs="sweep_fence"
        ),
    ),
    needs=("jig", "caliper"),
    rank=8,
    takes=("fence",),
    columns=("end", "width"),
)

"""Does a board agree? It is turned and cut n times, and the strip cut along its first
edge is measured. A chip under the board in one cut displaces a strip, which cannot show
it: a second strip does, or the passes.

a = (w_near - w_far) / (n L), w_near where the strip touched the fence, the board kept
left of the blade; kept right the sign flips, and it flips where the fence stands beyond
the board: the cut edge then comes to it by the other turn. mm and rad.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from itertools import chain, groupby
from typing import Literal

import msgspec

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
from bench.checks.shared.cut_board import (
    MOST_TURNS,
    compare_with_passes,
    cut_remarks,
    cut_scatter,
)
from bench.checks.shared.plausibility import strip_doubts, strip_remarks
from bench.checks.shared.results import budget_of, finding, quantity
from bench.checks.shared.traces import spread_of
from bench.finding import EvidenceError, Finding, Remark, doubt, note, warning
from bench.uncertainty.budget import Part, combine, rectangular, resolution
from bench.uncertainty.sweeps import scatter_within

NEAR, FAR = "near", "far"
READINGS = 3  # an end
TURNS = 4
TEST_BOARD, IN_FROM_END = (
    400.0,
    15.0,
)  # mm, live, unless said; common practice, no source
APART_ERROR = 0.5  # mm, half-width: taken with a rule; common practice, no source
MOST_STRIPS = 6
# standard deviations of one strip by which two are remarked on
STRIPS_APART = 4.2
# mm, standard uncertainty by which a sawn edge stands off its line where the jaws meet
# it; common practice, no source
STRIP_EDGE = 0.01
Strip = tuple[list[float], list[float]]  # mm, widths near the sled fence, and far


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    apart = number(
        options, "apart", number(options, "board", TEST_BOARD) - 2 * IN_FROM_END
    )
    turns = int(number(options, "turns", TURNS))
    right = options.get("kept") == "right"
    side = "RIGHT" if right else "LEFT"
    way = "clockwise" if _clockwise(options, gear) else "counter-clockwise"
    strips = int(number(options, "strips", 1.0))
    more = f" Go on to {strips} strips and number them." if strips > 1 else ""
    cut = (
        f"Board on the {side} of the blade. Pencil 1 on its first edge and cut it."
        f" Turn the board {way}: the edge just cut onto the sled fence. Wipe both"
        f" before every cut. Cut the next, {turns} turns in all. The last cut takes a"
        " strip off edge 1. It is 25 to 30 mm wide. Before lifting it, pencil N on its"
        f" end at the sled fence. Pencil F on the other end.{more} Unplug the saw. "
    )
    spots = ((NEAR, IN_FROM_END, ""), (FAR, IN_FROM_END + apart, ", near F"))
    return tuple(
        Step(
            name,
            f"{'' if n or beside else cut}Caliper across"
            f" {f'strip {n + 1}' if strips > 1 else 'the strip'},"
            f" {{at:station}} from N{beside}.",
            "width",
            READINGS,
            at=at,
            picture="test-board",
            reseat="Open the caliper and close it on the same place again.",
            focus=Focus("place", at),
        )
        for n in range(strips)
        for name, at, beside in spots
    )


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.board import board_rotation

    options, gear = evidence.options, evidence.gear
    strips, apart = _strips(evidence), _apart(evidence)
    turns = int(number(options, "turns", TURNS))
    remarks: list[Remark] = []
    if sum(map(len, strips[0])) == 2:
        remarks.append(note("one-width"))
    if turns % 4:
        remarks.append(warning("turns-not-four", turns=turns))
    if hold := options.get("hold"):
        remarks.append(note("wall", wall=str(hold)))
    side: Literal["left", "right"] = "left" if _clockwise(options, gear) else "right"
    rotations = [board_rotation(*one, apart, turns, side) for one in strips]
    a, cuts = statistics.fmean(rotations), cut_scatter(evidence)
    of_widths = _rows(evidence, a, strips, turns * apart)
    number_of = turns * len(strips)
    scatter, told = _scatter(cuts.row(number_of), of_widths, rotations)
    rows = [row for row in (scatter, *of_widths) if row.standard_uncertainty > 0.0]
    budget = budget_of(evidence, rows)
    remarks += told or cut_remarks(cuts, number_of, rows, budget)
    turned = quantity("board", a, budget, gear.tolerance, fence_way(a, gear.jig))
    near, far = ([w for strip in strips for w in strip[end]] for end in (0, 1))
    doubts = strip_doubts(near, far)
    if not doubts:
        give = budget.expanded * turns * apart
        remarks += [one for strip in strips for one in strip_remarks(*strip, give)]
    beside, comparison = compare_with_passes(evidence, a, budget.expanded, turns)
    if comparison is None and len(strips) == 1:
        remarks.append(warning("one-strip"))
    elif comparison is not None and not comparison.agrees:
        doubts.append(doubt("board-unlike"))
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


def _scatter(
    of_cuts: Part, of_widths: Sequence[Part], rotations: Sequence[float]
) -> tuple[Part, list[Remark]]:
    """The row of the cuts in the mean of all strips: as they are known to differ, but
    no less than the strips do; and what is said of strips that differ by more."""
    if len(rotations) == 1:
        return of_cuts, []
    root, by = math.sqrt(len(rotations)), spread_of(rotations)
    one = root * combine([of_cuts, *of_widths]).standard_uncertainty
    u = max(of_cuts.standard_uncertainty, statistics.stdev(rotations) / root)
    told = [warning("strips-apart", apart=by)] if by > STRIPS_APART * one else []
    return msgspec.structs.replace(of_cuts, standard_uncertainty=u), told


def _strips(evidence: Evidence) -> list[Strip]:
    """In the order they came."""
    strips = int(number(evidence.options, "strips", 1.0))
    runs = groupby(evidence.traces, key=lambda trace: trace.placement)
    read = [(end, [w for trace in run for w in trace.reading]) for end, run in runs]
    ends = [[widths for end, widths in read if end == one] for one in (NEAR, FAR)]
    if strips == 1:
        ends = [[list(chain(*widths))] for widths in ends]
    for end, widths in zip((NEAR, FAR), ends, strict=True):
        if not any(widths):
            raise EvidenceError(f"no width at the {end} end of the strip")
        if len(widths) != strips:
            raise EvidenceError(
                f"{strips} strips: give near and far of each before the next"
            )
    return list(zip(*ends, strict=True))


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


def _rows(
    evidence: Evidence, rotation: float, strips: Sequence[Strip], reach: float
) -> list[Part]:
    """The rows of the widths, at either end, in the mean of all strips. The caliper's
    count stands there where the readings are closer together than it can show. Source:
    JCGM 100:2008, 4.3.7 and 5.1. reach: mm, by which a strip's taper is divided."""
    caliper, columns = evidence.gear.caliper, list(chain(*strips))
    squares, seen = scatter_within(columns)
    reading = math.sqrt(squares / seen) if seen else caliper.max_error / math.sqrt(3.0)
    edge = number(evidence.options, "edge", STRIP_EDGE) * math.sqrt(len(columns))
    repeats = reading * math.sqrt(sum(1 / len(widths) for widths in columns))
    given, mean = _apart(evidence), reach * len(strips)
    rows = [
        Part("edge of the strip", "B", edge / mean),
        Part("width repeatability", "A" if seen else "B", repeats / mean, seen or None),
        rectangular("length between widths", rotation * APART_ERROR / given),
        resolution(caliper.resolution, reach, reading),
    ]
    return [row for row in rows if row is not None]


CHECK = Check(
    kind="test-board",
    question="Does a test board agree?",
    plan=plan,
    evaluate=evaluate,
    quantities=("board",),
    turns_fence=True,
    verified_by=("check again by passes, or cut another board, to see what is left"),
    cautions=(COUNT_OFF, BOARD_HELD, EXIT_BLOCK, CUT_CLEAR, MANUAL),
    options=(
        length(
            "apart", "How far apart along the strip the widths are read", (1.0, 5000.0)
        ),
        Option(
            "turns", "count", "How often the board is turned", TURNS, (), 1, MOST_TURNS
        ),
        Option(
            "strips",
            "count",
            "How many strips are cut off edge 1",
            1,
            (),
            1,
            MOST_STRIPS,
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

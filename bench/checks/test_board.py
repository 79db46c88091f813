"""Does a board agree? It is turned and cut n times, and the strip cut along its first
edge is measured.

a = (w_near - w_far) / (n L), w_near where the strip touched the fence, the board kept
left of the blade; kept right the sign flips, and it flips where the fence stands beyond
the board: the cut edge then comes to it by the other turn. mm and rad.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from bench.checks.fence_square import fence_way
from bench.checks.model import (
    Check,
    Evidence,
    EvidenceError,
    EvidenceGear,
    Step,
    SweepHistory,
)
from bench.checks.options import STEEPEST, Option, OptionValue, given_number, number
from bench.checks.shared.board_agreement import agreement_words, compare
from bench.checks.shared.cautions import (
    BOARD_HELD,
    COUNT_OFF,
    CUT_CLEAR,
    EXIT_BLOCK,
    MANUAL,
)
from bench.checks.shared.width_doubts import of_strip
from bench.finding import Finding, Quantity, Settle

if TYPE_CHECKING:
    from bench.geometry.board import BoardRotation
    from bench.uncertainty import Part

NEAR, FAR = "near", "far"
READINGS = 3  # an end
TURNS = 4
BOARD, IN_FROM_END = 400.0, 15.0  # mm, live, unless said; common practice, no source
APART_ERROR = 0.5  # mm, half-width: taken with a rule; common practice, no source
MOST_TURNS = 24
# rad by which one cut may differ where no play is known; common practice, no source
FREE_CUT = 100e-6


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    apart = number(options, "apart", number(options, "board", BOARD) - 2 * IN_FROM_END)
    turns = int(number(options, "turns", TURNS))
    right = options.get("kept") == "right"
    side = "RIGHT" if right else "LEFT"
    way = "clockwise" if _clockwise(options, gear) else "counter-clockwise"
    near = (
        f"Board on the {side} of the blade. Pencil 1 on its first edge and cut that;"
        f" turn the board {way}, so that the edge just cut lies on the sled fence, and"
        f" cut the next; {turns} turns in all. The last cut takes a strip, 25 to 30 mm"
        " wide, off edge 1: pencil N on its end at the sled fence and F on the other"
        f" before it is lifted. Saw off: caliper across the strip {IN_FROM_END:.0f} mm"
        " from end N."
    )
    far = f"Caliper across the strip {IN_FROM_END + apart:.0f} mm from end N, toward F."
    return (
        Step(NEAR, near, "width", READINGS, at=IN_FROM_END, picture="test-board"),
        Step(FAR, far, "width", READINGS, at=IN_FROM_END + apart, picture="test-board"),
    )


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.board import board_rotation
    from bench.geometry.reversal import GeometryError
    from bench.uncertainty import combine, verdict
    from bench.uncertainty.budget import SEAT

    options, known, caliper = evidence.options, evidence.known, evidence.gear.caliper
    near, far = (_widths(evidence, end) for end in (NEAR, FAR))
    apart, turns = _apart(evidence), int(number(options, "turns", TURNS))
    notes: list[str] = []
    single = len(near) + len(far) == 2
    if single:
        notes.append(
            "One width an end: how well it repeats was not seen, and the caliper's"
            " limit stands for it."
        )
    if turns % 4:
        notes.append(
            f"A four-cornered board comes back to its first edge after 4 turns; {turns}"
            " were said, and that many share the taper."
        )
    play, hold = known.yaw_play, options.get("hold")
    if hold:
        play = 0.0
        notes.append(
            f"The answer is for a sled held against the {hold} wall in every cut."
        )
    elif play is None:
        notes.append(
            "How far the runners let the sled yaw is not known: each cut is given 0.03"
            " mm per 300 mm for it. Measure the side play to know, or lean the sled on"
            " one wall in every cut and say so (hold)."
        )
    try:
        board = board_rotation(
            near,
            far,
            apart,
            turns,
            "left" if _clockwise(options, evidence.gear) else "right",
            yaw_play=play if play is not None else FREE_CUT * math.sqrt(12.0),
            seat=known.seat_scatter if known.seat_scatter is not None else SEAT,
            width_uncertainty=caliper.max_error / math.sqrt(3.0) if single else None,
            apart_uncertainty=APART_ERROR / math.sqrt(3.0),
        )
    except GeometryError as error:
        raise EvidenceError(str(error)) from error
    rows = _rows(board, near, far, caliper.resolution, turns * apart)
    confidence = 0.99 if known.looks else 0.95
    combined = combine(rows, confidence)
    jig = evidence.gear.jig
    limit = jig.tolerance if jig is not None else None
    a = float(board.rotation)
    said = verdict(a, combined.expanded, limit) if limit is not None else None
    doubts = of_strip(near, far)
    if not doubts:
        _doubts(near, far, combined.expanded * turns * apart, notes)
    _beside_sweep(evidence, a, combined.expanded, turns, notes)
    width = given_number(options, "board")
    whose = (
        f"a board of {width:.0f} mm"
        if width is not None
        else "boards as wide as this one"
    )
    notes.append(
        f"The answer is for {whose}; a bowed sled fence meets others otherwise."
    )
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=[
            Quantity(
                "board",
                a,
                "rad",
                combined.expanded,
                combined.degrees_of_freedom,
                limit,
                said,
                fence_way(a, jig),
            )
        ],
        verdict=said,
        confidence=confidence,
        settle=Settle(part=combined.rows[0].part) if said == "cannot-tell" else None,
        budget=combined.rows,
        notes=notes,
        doubts=doubts,
    )


def _clockwise(options: Mapping[str, OptionValue], gear: EvidenceGear) -> bool:
    """How the edge just cut comes onto the sled fence, from above: left of the blade
    clockwise, if that is near."""
    far = gear.jig is not None and gear.jig.fence == "far"
    return (options.get("kept") == "right") == far


def _widths(evidence: Evidence, end: str) -> list[float]:
    found = [
        w for trace in evidence.traces if trace.placement == end for w in trace.reading
    ]
    if not found:
        raise EvidenceError(f"no width at the {end} end of the strip")
    return found


def _apart(evidence: Evidence) -> float:
    """As said; else as the widths were asked for at their places along the strip."""
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
            f"the widths cannot have been read {given:g} mm apart on the strip of a"
            f" {board:g} mm board"
        )
    return given


def _rows(
    board: BoardRotation,
    near: Sequence[float],
    far: Sequence[float],
    count: float,
    reach: float,
) -> list[Part]:
    """Rows by name; the caliper's count where the readings are closer together than it
    can show."""
    from bench.uncertainty import Part

    dof = board.degrees_of_freedom
    finite = dof if 0 < dof < math.inf else None
    rows = [
        (
            Part(name, "A", u, finite)
            if name == "width repeatability" and finite is not None
            else Part(name, "B", u)
        )
        for name, u in board.parts.items()
        if u > 0.0
    ]
    seen = (
        board.parts.get("width repeatability", 0.0)
        * reach
        / math.sqrt(1 / len(near) + 1 / len(far))
    )
    if seen < count / 3:
        rows.append(
            Part("resolution", "B", count / 2 / math.sqrt(3.0) * math.sqrt(2.0) / reach)
        )
    return rows


def _doubts(
    near: Sequence[float], far: Sequence[float], expanded: float, notes: list[str]
) -> None:
    """What the widths themselves contradict."""
    for end, widths in ((NEAR, near), (FAR, far)):
        reach = max(widths) - min(widths)
        if reach > 0.1:
            notes.append(
                f"The widths at the {end} end differ by {reach:.2f} mm: was one"
                " misread, or taken elsewhere?"
            )
    taper = abs(sum(near) / len(near) - sum(far) / len(far))
    if taper > max(3.0, 5 * expanded):
        notes.append(
            f"The strip is {taper:.1f} mm wider at one end than at the other: was it"
            " cut along the first edge, after all the turns?"
        )


def _beside_sweep(
    evidence: Evidence, a: float, expanded: float, turns: int, notes: list[str]
) -> None:
    """Beside the sweep that was named, else beside the latest in the log."""
    sweep = _sweep(evidence)
    if sweep is None:
        return
    if (
        "sweep_fence" in evidence.options
        and "sweep_fence_uncertainty" not in evidence.options
    ):
        notes.append(
            "The sweep's result was given without its give or take: it is taken as"
            " exact."
        )
    words = agreement_words(compare(a, expanded, sweep.fence, sweep.expanded, turns))
    notes.append(
        f"{words} The sweep is that of {sweep.at[:10]}." if sweep.at else words
    )


def _sweep(evidence: Evidence) -> SweepHistory | None:
    named = given_number(evidence.options, "sweep_fence")
    if named is None:
        return evidence.known.sweep
    return SweepHistory(
        named, given_number(evidence.options, "sweep_fence_uncertainty") or 0.0
    )


def holds_back(evidence: Evidence, finding: Finding) -> str | None:
    """One of the two is wrong where board and sweep differ, and nothing should be moved
    by either."""
    sweep, board = _sweep(evidence), finding.quantities[0]
    if sweep is None:
        return None
    turns = int(number(evidence.options, "turns", TURNS))
    if compare(
        board.value, board.uncertainty, sweep.fence, sweep.expanded, turns
    ).agree:
        return None
    return (
        "No move is given while board and sweep differ: find out which of them is wrong"
        " first."
    )


KIND = "test-board"

CHECK = Check(
    kind=KIND,
    question="Does a test board agree?",
    plan=plan,
    evaluate=evaluate,
    quantities=("board",),
    turns_fence=True,
    holds_back=holds_back,
    verified_by=(
        "take a sweep (fence-square) or cut another board: it says what is left"
    ),
    cautions=(COUNT_OFF, BOARD_HELD, EXIT_BLOCK, CUT_CLEAR, MANUAL),
    options=(
        Option(
            "apart",
            "length",
            "How far apart along the strip the widths are read",
            low=1.0,
            high=5000.0,
        ),
        Option(
            "turns",
            "count",
            "How often the board is turned",
            TURNS,
            low=1,
            high=MOST_TURNS,
        ),
        Option(
            "kept",
            "choice",
            "On which side of the blade the board lies",
            "left",
            ("left", "right"),
        ),
        Option(
            "board",
            "length",
            "Width of the board",
            low=2 * IN_FROM_END + 1.0,
            high=5000.0,
        ),
        Option(
            "hold",
            "choice",
            "Against which wall the sled was held in every cut",
            None,
            ("left", "right"),
        ),
        Option(
            "sweep_fence",
            "angle",
            "What the sweep found for the fence, to compare",
            low=-STEEPEST,
            high=STEEPEST,
        ),
        Option(
            "sweep_fence_uncertainty",
            "angle",
            "Its give or take",
            low=0.0,
            high=STEEPEST,
            needs="sweep_fence",
        ),
    ),
    needs=("jig", "caliper"),
    rank=8,
    takes=("fence",),
    columns=("end", "width"),
)

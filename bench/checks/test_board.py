"""Does a board agree? It is turned and cut n times and the strip cut along the first edge is measured.

a = (w_near - w_far) / (n L), w_near where the strip touched the fence, the board kept left of the blade; kept
right the sign flips. May import: bench.checks, bench.finding; arithmetic inside functions only.
"""

from __future__ import annotations

from collections.abc import Mapping

from bench.checks.cautions import BOARD_HELD, COUNT_OFF, CUT_CLEAR, EXIT_BLOCK, MANUAL
from bench.checks.fence_square import fence_way
from bench.checks.model import Check, Evidence, EvidenceError, EvidenceGear, Option, OptionValue, Step
from bench.finding import Finding, Quantity

READINGS = 3  # an end
APART_ERROR = 0.5  # mm, half-width: taken with a rule; common practice, no source


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    del options, gear

    def step(end: str, words: str) -> Step:
        return Step(end, words, "width", READINGS, picture="test-board")

    return (
        step("near", "Caliper on the strip, 15 mm in from the end that touched the sled fence (N)."),
        step("far", "Caliper on the strip, 15 mm in from its other end (F)."),
    )


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.board import DEFAULT_SEAT, board_rotation
    from bench.geometry.reversal import GeometryError
    from bench.uncertainty import Part, combine, verdict

    widths: dict[str, list[float]] = {"near": [], "far": []}
    for trace in evidence.traces:
        if trace.placement in widths:
            widths[trace.placement].extend(trace.reading)
    for end, found in widths.items():
        if not found:
            raise EvidenceError(f"no width at the {end} end")
    options, known = evidence.options, evidence.known
    apart = options.get("apart")
    if not isinstance(apart, int | float) or apart <= 0:
        raise EvidenceError("give --apart: how far apart along the strip the widths were read")
    turns = options.get("turns")
    caliper = evidence.gear.caliper
    notes: list[str] = []
    single = min(len(found) for found in widths.values()) < 2
    try:
        board = board_rotation(
            widths["near"],
            widths["far"],
            float(apart),
            int(turns) if isinstance(turns, int | float) else 4,
            "right" if options.get("kept") == "right" else "left",
            yaw_play=known.yaw_play or 0.0,
            seat=known.seat_scatter or DEFAULT_SEAT,
            width_uncertainty=caliper.max_error / 3**0.5 if single else None,
            apart_uncertainty=APART_ERROR / 3**0.5,
        )
    except GeometryError as error:
        raise EvidenceError(str(error)) from error
    dof = board.degrees_of_freedom
    rows: list[Part | None] = [
        Part(name, "A", u, dof) if name == "width repeatability" and dof > 0 else Part(name, "B", u)
        for name, u in board.parts.items()
        if u > 0
    ]
    count = int(turns) if isinstance(turns, int | float) else 4
    rows.append(
        Part(
            "resolution of the caliper",
            "B",
            caliper.resolution / 2 / 3**0.5 * 2**0.5 / (count * float(apart)),
        )
    )
    confidence = 0.99 if known.looks else 0.95
    combined = combine(rows, confidence)
    jig = evidence.gear.jig
    limit = jig.tolerance if jig is not None else None
    said = verdict(board.rotation, combined.expanded, limit) if limit is not None else None
    if known.yaw_play is None:
        notes.append("How far the runners let the sled yaw is not known; each cut carries it.")
    length = options.get("board")
    wide = f"of {length:g} mm" if isinstance(length, int | float) else "as wide as the one cut"
    notes.append(f"The answer is for a board {wide}; a bowed fence meets others otherwise.")
    return Finding(
        check=KIND,
        jig=jig.name if jig else None,
        saw=evidence.gear.saw.name if evidence.gear.saw else None,
        quantities=[
            Quantity(
                "board",
                float(board.rotation),
                "rad",
                combined.expanded,
                combined.degrees_of_freedom,
                limit,
                said,
                fence_way(board.rotation, jig),
            )
        ],
        verdict=said,
        confidence=confidence,
        budget=combined.rows,
        notes=notes,
    )


KIND = "test-board"

CHECK = Check(
    kind=KIND,
    question="Does a test board agree?",
    plan=plan,
    evaluate=evaluate,
    quantities=("board",),
    cautions=(COUNT_OFF, BOARD_HELD, EXIT_BLOCK, CUT_CLEAR, MANUAL),
    options=(
        Option("apart", "length", "How far apart along the strip the widths are read"),
        Option("turns", "count", "How often the board was turned", 4),
        Option("kept", "choice", "On which side of the blade the board lay", "left", ("left", "right")),
        Option("board", "length", "Width of the board"),
    ),
    needs=("jig", "caliper"),
    columns=("end", "width"),
)

"""How much does the saw plate wobble? The indicator stands still, the blade is turned
by hand to n marks, twice round.

Tilt is the full swing of the first harmonic over the turn, warp is the range of what is
left: of the second harmonic, and of a third where there is one. The total is that of
the whole curve, peaks between the marks too.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Check, Evidence, EvidenceGear, Focus, Step
from bench.checks.options import (
    SIDE,
    Option,
    OptionValues,
    given_number,
    length,
    number,
)
from bench.checks.shared.blade import END_FLOAT
from bench.checks.shared.cautions import AT_BLADE
from bench.checks.shared.plausibility import spot_doubts
from bench.checks.shared.results import budget_of, finding, instrument_rows, quantity
from bench.checks.shared.traces import count_of
from bench.checks.shared.turns import even_turns, turn_of, widest_gap
from bench.finding import EvidenceError, Finding, Quantity, Remark, note, warning
from bench.uncertainty.budget import Part, rectangular

if TYPE_CHECKING:
    from bench.geometry.wobble import Wobble

USUAL_MARKS = 8  # turns read live unless said
# each mark is read anew on a second way round: two readings on one turning would share
# where the hand stopped and how the arbor floated, and could not show how those differ
TURNINGS = 2
# between neighbouring marks; four even ones are the fewest that go round
MOST_UNREAD = math.radians(91)
FIRST_MARK = (
    "Indicator standing on the right of the plate. Tip on the blade body, below the"
    " gullets. Mark this place on the plate."
)
NEXT_MARK = (
    "Lift the plunger and hold it up. Turn the blade by hand to {:g} degrees. Let the"
    " plunger down."
)
FEWEST_MARKS = 3  # turns that fix an offset and a first harmonic
# degrees: four even marks see a warp of two waves at its crests or at its flanks; one
# more mark between them sees it whichever way it lies
FOUR, BETWEEN = 4, 45.0
# mm, full range of a plate's warp that no mark showed; common practice, no source
USUAL_WARP = 0.03
# mm, full range of three waves round a plate; common practice, no source
USUAL_THIRD = 0.01
SECOND = 2  # harmonic, the warp's


def _step(placement: str, words: str, *, continues: bool = False) -> Step:
    degrees = turn_of(placement) or 0.0
    return Step(
        placement,
        words,
        "spot",
        repeat=1,
        side="right",
        mount="still",
        at=0.0,
        picture="plate-wobble",
        continues=continues,
        focus=Focus("turn", math.radians(degrees % 360)),
    )


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    count = int(number(options, "turns", USUAL_MARKS))
    marks = [turn_of(name) or 0.0 for name in even_turns(count)]
    if count == FOUR:
        marks.insert(1, BETWEEN)
    turns = [(f"turn-{m + 360 * n:.8g}", m) for n in range(TURNINGS) for m in marks]
    return (
        _step(turns[0][0], FIRST_MARK),
        *(
            _step(name, NEXT_MARK.format(mark), continues=True)
            for name, mark in turns[1:]
        ),
    )


def accepts(placement: str, options: OptionValues, gear: EvidenceGear) -> Step | None:
    return _step(placement, "") if turn_of(placement) is not None else None


def evaluate(evidence: Evidence) -> Finding:
    from bench.geometry.wobble import wobble

    turns, values = _readings(evidence)
    found = wobble(turns, values)
    saw = evidence.gear.saw
    limit = saw.wobble if saw is not None else None
    count = count_of(evidence.gear.indicator, values)
    # of every size
    fixed = [
        *instrument_rows(evidence, found.total, 1.0, count, 0.0),
        *_turning_rows(found),
    ]
    more, remarks = _unseen_rows(found, widest_gap(turns))
    if saw is None:
        remarks.append(note("no-saw-wobble"))
    sizes = {
        "total": (found.total, found.u_total),
        "tilt": (found.tilt, found.u_tilt),
        "warp": (found.warp, found.u_warp),
    }
    budgets = {
        name: budget_of(evidence, [_scatter(found, u), *fixed, *more.get(name, [])])
        for name, (_, u) in sizes.items()
    }
    judged = {"total": limit}
    quantities = [
        quantity(name, value, budgets[name], judged.get(name), unit="mm")
        for name, (value, _) in sizes.items()
    ]
    quantities.append(_phase(evidence, found, fixed))
    budget = budgets["total"]
    answer = finding(
        evidence,
        quantities,
        budget,
        remarks=[*remarks, *_rim_remarks(evidence, float(found.tilt), limit)],
        doubts=spot_doubts({"the marks": values}),
    )
    return msgspec.structs.replace(answer, jig=None)  # it is the saw's alone


def _readings(evidence: Evidence) -> tuple[list[float], list[float]]:
    """Turns in rad, and how far the plate stood to the right, mm."""
    right = evidence.options.get("side") != "left"
    turns: list[float] = []
    values: list[float] = []
    for trace in evidence.traces:
        degrees = turn_of(trace.placement)
        if degrees is None:
            raise EvidenceError(
                f"{trace.placement!r} is not a turn of the blade, such as turn-90"
            )
        turns.extend(math.radians(degrees) for _ in trace.reading)
        values.extend(trace.reading if right else [-r for r in trace.reading])
    return turns, values


def _unseen_rows(
    found: Wobble, gap: float
) -> tuple[dict[str, list[Part]], list[Remark]]:
    """Rows by size for what no mark showed; gap: rad of the turn without one."""
    more: dict[str, list[Part]] = {"total": [], "warp": []}
    remarks: list[Remark] = []
    if gap > MOST_UNREAD:
        # the extreme that may lie in the gap stands off the nearest mark by that much,
        # if the plate is only tilted
        half = max(found.tilt / 2 * (1 - math.cos(gap / 2)), found.tilt - found.total)
        more["total"].append(rectangular("unread part of the turn", half))
        remarks.append(warning("turn-unread", degrees=math.degrees(gap)))
    if found.harmonics < SECOND and found.turns > FEWEST_MARKS:
        warp = max(found.warp, USUAL_WARP)
        more["warp"].append(rectangular("form between the marks", warp))
        # of a total it is one extreme's
        more["total"].append(rectangular("form between the marks", warp / 2))
        remarks.append(note("few-marks", marks=found.turns, better=USUAL_MARKS))
    if found.u_total is None:
        remarks.append(warning("three-turns"))
    return more, remarks


def _turning_rows(found: Wobble) -> list[Part]:
    """Rows for what the marks cannot show: three waves round the plate, and how the
    hand's turn and the arbor's float differ where no mark was turned to again."""
    rows = []
    if found.harmonics == SECOND and found.turns < USUAL_MARKS:
        rows.append(rectangular("form between the marks", USUAL_THIRD / 2))
    if not found.turning_known:
        rows.append(rectangular("turning by hand", END_FLOAT * math.sqrt(2)))
    return rows


def _scatter(found: Wobble, u: float | None) -> Part | None:
    dof = found.degrees_of_freedom if found.degrees_of_freedom > 0 else None
    return Part("scatter of the readings", "A", float(u), dof) if u else None


def _phase(evidence: Evidence, found: Wobble, fixed: list[Part | None]) -> Quantity:
    scatter, give = _scatter(found, found.u_phase), math.pi
    if scatter is not None:
        # a difference of two readings is that uncertain; one of them less by sqrt 2,
        # and the harmonic's sine and cosine by sqrt(2 / turns) of one
        per = math.sqrt(found.turns) * found.tilt / 2
        rows = [
            Part(r.name, "B", r.standard_uncertainty / per) for r in fixed if r and per
        ]
        give = min(budget_of(evidence, [scatter, *rows]).expanded, math.pi)
    where = float(found.phase) % (2 * math.pi)
    way = f"largest at {math.degrees(found.phase):.0f} degrees of turn"
    return Quantity("phase", where, "rad", give, way=way)


def _rim_remarks(evidence: Evidence, tilt: float, limit: float | None) -> list[Remark]:
    """A plate that is only tilted swings in proportion to the radius; its warp need
    not."""
    radius, rim = (given_number(evidence.options, name) for name in ("radius", "rim"))
    if radius is None:
        return []
    if rim is None or rim <= radius:
        return [note("rim-unknown", radius=radius)]
    there = tilt * rim / radius
    over = float(limit is not None and there > limit)
    return [note("rim", radius=radius, rim=rim, tilt=there, over=over)]


CHECK = Check(
    kind="plate-wobble",
    question="How much does the saw plate wobble?",
    plan=plan,
    evaluate=evaluate,
    quantities=("total", "tilt", "warp", "phase"),
    cautions=AT_BLADE,
    options=(
        length("radius", "Distance of the tip from the arbor's middle", (1.0, 2000.0)),
        length(
            "rim",
            "Radius of the rim, to say what the tilt is there",
            (1.0, 2000.0),
            needs="radius",
        ),
        Option(
            "turns",
            "count",
            "How many marks round the turn; to four, one between is added",
            low=FEWEST_MARKS,
            high=72,
        ),
        SIDE,
    ),
    needs=("saw",),
    rank=4,
    accepts=accepts,
)

"""Do sled fence and blade stand upright? The indicator slides up a square that stands
on the table, its tip on the face; then the square is reversed.

With the handle pointing away from the face l1 = lean + e, reversed l2 = lean - e, so
that lean = (l1 + l2) / 2, see `bench.geometry.upright`. Both leans are positive
counter-clockwise: of the sled fence seen from its right end (the top leans toward you),
of the blade seen from where you stand (the top leans to the left). The blade is turned
by hand between its set-ups, so that the plate's tilt goes out with the square's error
and, at four even turns, the second wave of its warp too.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Check, Evidence, EvidenceGear, Focus, Step
from bench.checks.options import (
    Option,
    OptionValues,
    choice,
    given_number,
    length,
    number,
)
from bench.checks.shared.cautions import AT_REST
from bench.checks.shared.known_square import POOR_SQUARE
from bench.checks.shared.plausibility import spot_doubts
from bench.checks.shared.results import (
    budget_of,
    direction_rows,
    finding,
    instrument_rows,
    more_readings,
    quantity,
)
from bench.checks.shared.traces import count_of
from bench.checks.shared.turns import swing_of
from bench.finding import (
    Doubt,
    EvidenceError,
    Finding,
    Quantity,
    Remark,
    Settle,
    note,
    warning,
)
from bench.gear import OTHER_SIDE, LeftRight
from bench.uncertainty.budget import Budget, Part, rectangular, seat

if TYPE_CHECKING:
    from bench.geometry.upright import Lean

FENCE_LEANS = ("fence-away", "fence-toward")
BLADE = ("blade-away", "blade-toward")
QUARTER = ("blade-away-quarter", "blade-toward-quarter")
BLADE_DEGREES = dict(zip((*BLADE, *QUARTER), (0, 180, 90, 270), strict=True))  # degrees
READINGS = 3  # at each height
LOW_AT, HIGH_AT = 10.0, 70.0  # mm above the table, unless said; common practice
FEWEST_READINGS = 3  # of a set-up: two heights, and one that shows the scatter
HEIGHTS_APART = 10.0  # mm between the heights, at least
# rad, from which a joint shows it; common practice, no source
USUAL_LIMIT = 0.05 / 50
# counts from low to high, which an indicator that was not slid shows too
NOT_SLID = 2.0
HEIGHT_ERROR = 0.5  # mm, half-width of a height set by a rule; common practice
AGAIN = "Lift the tip and slide the indicator there anew."


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    only = options.get("placements")
    names: tuple[str, ...] = ()
    if only != "blade":
        names += FENCE_LEANS
    if only != "fence":
        names += BLADE if options.get("blade_turns") == "two" else (*BLADE, *QUARTER)
    heights = (number(options, "low_at", LOW_AT), number(options, "high_at", HIGH_AT))
    # every other set-up from the top down: an indicator that creeps then turns the two
    # by the same to opposite sides, which the square takes upon itself and not the lean
    return tuple(
        _step(name, at, options, gear, first=not k)
        for n, name in enumerate(names)
        for k, at in enumerate(heights[:: -1 if n % 2 else 1])
    )


def _step(
    name: str,
    at: float,
    options: OptionValues,
    gear: EvidenceGear,
    *,
    first: bool = True,
) -> Step:
    fence = name in FENCE_LEANS
    words = "The square stays as it stands. Slide the indicator along its edge."
    if first:
        of_body = _fence_words(name, gear) if fence else _blade_words(name, options)
        words = f"{of_body} Indicator held to the upright edge."
    return Step(
        name,
        f"{words} Its tip touches {{at:station}} up.",
        "spot",
        READINGS,
        None if fence else _side(options),
        "standing",
        at=at,
        picture="plumb",
        reseat=AGAIN,
        # the square is turned about under the tip: the number goes and comes back
        continues=first and name == FENCE_LEANS[1],
        focus=Focus("place", at),
    )


def _fence_words(name: str, gear: EvidenceGear) -> str:
    way = "toward you" if gear.far == (name == FENCE_LEANS[0]) else "away from you"
    if name == FENCE_LEANS[0]:
        return (
            "Square upright on the sled's base, in front of the sled fence."
            f" Its handle points {way}."
        )
    return (
        "Turn the square about, the same edge upright. Under the indicator its"
        f" handle now points {way}."
    )


def _blade_words(name: str, options: OptionValues) -> str:
    side = _side(options)
    handle = side if "away" in name else OTHER_SIDE[side]
    return (
        f"Blade right up, turned by hand to {BLADE_DEGREES[name]} degrees. Square"
        f" upright on the bare table, {side.upper()} of the blade. Its handle points"
        f" {handle.upper()}. Tip on the blade body, clear of the teeth."
    )


def _side(options: OptionValues) -> LeftRight:
    return "left" if options.get("stands") == "left" else "right"


class _Answer(msgspec.Struct, frozen=True):
    quantity: Quantity
    square: float | None  # rad, its error where the set-ups are two
    alike: bool  # low and high read the same in every set-up
    budget: Budget
    settle: Settle | None  # where too close to call


def evaluate(evidence: Evidence) -> Finding:
    there = set(evidence.placements)
    blade = BLADE + QUARTER * bool(there & set(QUARTER))
    found = [
        _answer(name, set_ups, evidence)
        for name, set_ups in (("fence-lean", FENCE_LEANS), ("blade-lean", blade))
        if there & set(set_ups)
    ]
    if not found:
        raise EvidenceError(
            f"it takes {FENCE_LEANS[0]} and {FENCE_LEANS[1]}, or those of the blade"
        )
    remarks: list[Remark] = []
    if there & set(BLADE) and not set(QUARTER) <= there:
        remarks.append(note("two-turns"))
    judged = found[0]
    # a square so far off was more likely knocked, or another edge was used
    if judged.square is not None and judged.quantity.name == "fence-lean":
        off = abs(judged.square)
        if off > POOR_SQUARE + judged.budget.expanded:
            remarks.append(warning("square-not-plumb", off=off))
    if any(answer.alike for answer in found):
        remarks.append(warning("heights-alike"))
    return finding(
        evidence,
        [answer.quantity for answer in found],
        judged.budget,
        settle=judged.settle,
        remarks=remarks,
        doubts=_uneven(evidence),
    )


def _answer(name: str, set_ups: Sequence[str], evidence: Evidence) -> _Answer:
    """Raises EvidenceError for half of it."""
    from bench.geometry.upright import lean, slope

    read = {one: _spots(evidence, one) for one in set_ups}
    _check(name, read)
    slopes = {one: slope(*read[one]) for one in set_ups}
    found = lean(
        *([slopes[one] for one in set_ups if way in one] for way in ("away", "toward"))
    )
    blade = name == "blade-lean"
    count = count_of(
        evidence.gear.indicator, [r for _, rs in read.values() for r in rs]
    )
    rows = _rows(evidence, found, list(read.values()), count, blade=blade)
    budget = budget_of(evidence, rows)
    value = _outward_sign(name, evidence) * found.value
    limit = given_number(evidence.options, "limit")
    ways = ("to the left", "to the right") if blade else ("toward you", "away from you")
    way = f"top leans {ways[value <= 0]}"
    leans = quantity(name, value, budget, limit, way)
    spots = sum(len(set(heights)) for heights, _ in read.values())
    now = sum(len(heights) for heights, _ in read.values()) // spots
    freedom = found.degrees_of_freedom
    settled = more_readings(
        leans, rows, budget, now, spots, lambda each: freedom * each / now
    )
    alike = all(
        abs(slopes[one].slope) * (max(zs) - min(zs)) < NOT_SLID * count
        for one, (zs, _) in read.items()
    )
    return _Answer(leans, found.square, alike, budget, settled)


def _check(name: str, read: Mapping[str, tuple[list[float], list[float]]]) -> None:
    for one, (heights, _) in read.items():
        if not heights:
            raise EvidenceError(f"{name} takes {one} too: the square is to be reversed")
        if max(heights) - min(heights) < HEIGHTS_APART:
            raise EvidenceError(
                f"{one} was read over {max(heights) - min(heights):.1f} mm of height;"
                f" {HEIGHTS_APART:g} mm at least (travel)"
            )
        if len(heights) < FEWEST_READINGS:
            raise EvidenceError(f"{name}: a set-up takes three readings at least")


def _rows(
    evidence: Evidence,
    found: Lean,
    read: Sequence[tuple[list[float], list[float]]],
    count: float,
    *,
    blade: bool,
) -> list[Part]:
    """read: heights and readings of each set-up, mm. blade: whose plate may be
    warped."""
    reach = min(max(zs) - min(zs) for zs, _ in read)
    used = max(max(rs) - min(rs) for _, rs in read)
    weights = [1 / len(read)] * len(read)
    scale = HEIGHT_ERROR * math.sqrt(2) / reach
    rows = [
        Part("touches", "A", found.standard_uncertainty, found.degrees_of_freedom),
        seat(weights, reseated=False, scatter=evidence.known.seat_scatter),
        *instrument_rows(evidence, used, reach, count, found.scatter, weights),
        *direction_rows(evidence, found.value, scale),
    ]
    if blade and len(read) == 2:
        # of two waves that swing by half of the limit a quarter stands out at the rim
        warp = swing_of(evidence.gear.saw) / 4
        rows.append(rectangular("plate warp", warp / reach))
    return [row for row in rows if row is not None]


def _spots(evidence: Evidence, placement: str) -> tuple[list[float], list[float]]:
    traces = evidence.at(placement)
    heights = [z for t in traces for z in t.travel]
    return heights, [r for t in traces for r in t.reading]


def _outward_sign(name: str, evidence: Evidence) -> float:
    """The sign that turns a face's top leaning out toward the square to counter-
    clockwise."""
    if name == "fence-lean":
        return 1.0 if evidence.gear.far else -1.0
    return 1.0 if _side(evidence.options) == "left" else -1.0


def _uneven(evidence: Evidence) -> list[Doubt]:
    """Readings at one height of one set-up that are farther apart than faces lean."""
    at: dict[tuple[str, float], list[float]] = {}
    for name in evidence.placements:
        for height, reading in zip(*_spots(evidence, name), strict=True):
            at.setdefault((name, height), []).append(reading)
    found = [d for (name, _), each in at.items() for d in spot_doubts({name: each})]
    return found[:1]


CHECK = Check(
    kind="upright",
    question="Do sled fence and blade stand upright?",
    plan=plan,
    evaluate=evaluate,
    quantities=("fence-lean", "blade-lean"),
    cautions=AT_REST,
    options=(
        choice(
            "placements",
            "Which of sled fence and blade to check",
            ("both", "fence", "blade"),
            default="both",
        ),
        choice(
            "blade_turns",
            "At how many turns of the blade it is read",
            ("two", "four"),
            default="four",
        ),
        choice(
            "stands",
            "On which side of the blade the square stands",
            ("left", "right"),
            default="right",
        ),
        length("low_at", "How high the lower reading is", (1.0, 500.0)),
        length("high_at", "How high the upper reading is", (1.0, 500.0)),
        Option(
            "limit", "slope", "How far it may lean", USUAL_LIMIT, low=1e-6, high=0.1
        ),
    ),
    needs=("jig",),
    rank=10,
)

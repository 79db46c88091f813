"""Do sled fence and blade stand upright? The indicator slides up a square that stands
on the table, its tip on the face; then the square is reversed.

With the handle pointing away from the face l1 = lean + e, reversed l2 = lean - e, so
that lean = (l1 + l2) / 2, see `bench.geometry.upright`. Both leans are positive
counter-clockwise: of the sled fence seen from its right end (the top leans toward you),
of the blade seen from where you stand (the top leans to the left). The blade is turned
by hand between its set-ups, so that the plate's tilt goes out with the square's error
and, at four even turns, the second wave of its warp too.

Grit under the square tilts what is read on that seat. So the square stands anew, each
way once more: the seats of one set-up show by how much they differ. Two pairs of turns
differ by the plate's warp and by grit, which they do not tell apart.
"""

from __future__ import annotations

import math
import statistics
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
from bench.checks.shared.seats import (
    FEWEST_READINGS,
    HEIGHTS_APART,
    Seat,
    columns,
    seat_row,
    seats_of,
)
from bench.checks.shared.traces import count_of, spread_of
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
from bench.uncertainty.budget import Budget, Part, rectangular

if TYPE_CHECKING:
    from bench.geometry.upright import Lean

WAYS = ("away", "toward")
FENCE_LEANS = ("fence-away", "fence-toward")
BLADE = ("blade-away", "blade-toward")
QUARTER = ("blade-away-quarter", "blade-toward-quarter")
BLADE_DEGREES = dict(zip((*BLADE, *QUARTER), (0, 180, 90, 270), strict=True))  # degrees
LOW_AT, HIGH_AT = 10.0, 70.0  # mm above the table, unless said; common practice
# rad, from which a joint shows it; common practice, no source
USUAL_LIMIT = 0.05 / 50
# counts from low to high, which an indicator that was not slid shows too
NOT_SLID = 2.0
HEIGHT_ERROR = 0.5  # mm, half-width of a height set by a rule; common practice
AGAIN = "Lift the tip and slide the indicator there anew."
# by the sign of the lean
WAYS_TO = {
    "fence-lean": ("toward you", "away from you"),
    "blade-lean": ("to the left", "to the right"),
}
STAYS = "The square stays as it stands. Slide the indicator along its edge."


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    only = options.get("placements")
    names: tuple[str, ...] = ()
    if only != "blade":
        names += FENCE_LEANS * 2
    if only != "fence":
        names += BLADE * 2 if options.get("blade_turns") == "two" else BLADE + QUARTER
    return tuple(
        step
        for n, name in enumerate(names)
        for step in _on_seat(name, n, 3 if names.count(name) == 1 else 2, options, gear)
    )


def _on_seat(
    name: str,
    before: int,
    readings: int,
    options: OptionValues,
    gear: EvidenceGear,
) -> list[Step]:
    """before: seats of the square that come first. readings: at each height."""
    heights = (number(options, "low_at", LOW_AT), number(options, "high_at", HIGH_AT))
    side, fence = _side(options), name in FENCE_LEANS
    words = _fence_words(name, gear, before) if fence else _blade_words(name, side)
    return [
        Step(
            name,
            f"{STAYS if k else f'{words} Indicator held to the upright edge.'}"
            " Its tip touches {at:station} up.",
            "spot",
            readings,
            None if fence else side,
            "standing",
            at=at,
            picture="plumb",
            reseat=AGAIN,
            # the square is turned about under the tip: the number goes and comes back
            continues=fence and before > 0 and not k,
            focus=Focus("place", at),
        )
        # every other seat from the top down: an indicator that creeps then turns the
        # two by the same to opposite sides, which the square takes upon itself
        for k, at in enumerate(heights[:: -1 if before % 2 else 1])
    ]


def _fence_words(name: str, gear: EvidenceGear, before: int) -> str:
    way = "toward you" if gear.far == (name == FENCE_LEANS[0]) else "away from you"
    if not before:
        return (
            "Square upright on the sled's base, in front of the sled fence."
            f" Its handle points {way}."
        )
    return (
        "Lift the square and wipe under it. Turn it about, the same edge upright."
        f" Under the indicator its handle now points {way}."
    )


def _blade_words(name: str, side: LeftRight) -> str:
    handle = side if "away" in name else OTHER_SIDE[side]
    return (
        f"Blade right up, turned by hand to {BLADE_DEGREES[name]} degrees. Square"
        f" upright on the wiped table, {side.upper()} of the blade. Its handle points"
        f" {handle.upper()}. Tip on the blade body, clear of the teeth."
    )


def _side(options: OptionValues) -> LeftRight:
    return "left" if options.get("stands") == "left" else "right"


class _Answer(msgspec.Struct, frozen=True):
    quantity: Quantity
    square: float  # rad, its error, and the plate's tilt where that is in it
    alike: bool  # low and high read the same on every seat
    budget: Budget
    settle: Settle | None  # where too close to call
    of_seats: list[Remark]
    doubts: list[Doubt]  # readings at one height of a seat that lie far apart


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
    judged, off = found[0], abs(found[0].square)
    # a square so far off was more likely knocked, or another edge was used
    of_fence = judged.quantity.name == "fence-lean"
    if of_fence and off > POOR_SQUARE + judged.budget.expanded:
        remarks.append(warning("square-not-plumb", off=off))
    if any(answer.alike for answer in found):
        remarks.append(warning("heights-alike"))
    remarks += [remark for answer in found for remark in answer.of_seats]
    return finding(
        evidence,
        [answer.quantity for answer in found],
        judged.budget,
        settle=judged.settle,
        remarks=remarks,
        doubts=[doubt for answer in found for doubt in answer.doubts][:1],
    )


def _answer(name: str, set_ups: Sequence[str], evidence: Evidence) -> _Answer:
    """Raises EvidenceError for half of it."""
    from bench.geometry.upright import lean, slope

    read = {one: seats_of(evidence, one) for one in set_ups}
    _check(name, read)
    seats = [(one, seat) for one, some in read.items() for seat in some]
    lines = [(one, slope(*columns(seat))) for one, seat in seats]
    found = lean(*([line for one, line in lines if way in one] for way in WAYS))
    readings = [columns(seat)[1] for _, seat in seats]
    count = count_of(evidence.gear.indicator, [r for some in readings for r in some])
    slopes = {one: [s.slope for other, s in lines if other == one] for one in read}
    rows, told = _rows(name, evidence, found, slopes, [s for _, s in seats], count)
    budget, limit = budget_of(evidence, rows), given_number(evidence.options, "limit")
    value = _outward_sign(name, evidence) * found.value
    to = WAYS_TO[name][value <= 0]
    leans = quantity(name, value, budget, limit, f"top leans {to}")
    spots = len({(one, height) for one, seat in seats for height in seat})
    now, freedom = sum(map(len, readings)) // spots, found.degrees_of_freedom
    settled = more_readings(
        leans, rows, budget, now, spots, lambda n: freedom * n / now
    )
    near = NOT_SLID * count
    alike = all(
        abs(line.slope) * spread_of(seat) < near
        for (_, line), (_, seat) in zip(lines, seats, strict=True)
    )
    spread = (spot_doubts({one: rs}) for one, seat in seats for rs in seat.values())
    doubts = [doubt for some in spread for doubt in some]
    return _Answer(leans, found.square, alike, budget, settled, told, doubts)


def _check(name: str, read: Mapping[str, list[Seat]]) -> None:
    for one, seats in read.items():
        if not seats:
            raise EvidenceError(f"{name} takes {one} too: the square is to be reversed")
        if (over := spread_of(seats[0])) < HEIGHTS_APART:
            raise EvidenceError(
                f"{one} was read over {over:.1f} mm of height;"
                f" {HEIGHTS_APART:g} mm at least (travel)"
            )
        if len(columns(seats[0])[0]) < FEWEST_READINGS:
            raise EvidenceError(f"{name}: a set-up takes three readings at least")


def _rows(
    name: str,
    evidence: Evidence,
    found: Lean,
    slopes: Mapping[str, list[float]],
    seats: Sequence[Seat],
    count: float,
) -> tuple[list[Part], list[Remark]]:
    """The budget, and what is said of the seats. slopes: by set-up, of its seats."""
    own, freedom = found.standard_uncertainty, found.degrees_of_freedom
    seated, told = seat_row(evidence, slopes, len(seats) * own**2, freedom)
    used = max(spread_of(columns(seat)[1]) for seat in seats)
    high, each = min(map(spread_of, seats)), [1 / len(seats)] * len(seats)
    rows = [
        Part("touches", "A", own, freedom),
        seated,
        *instrument_rows(evidence, used, high, count, found.scatter, each),
        *direction_rows(evidence, found.value, HEIGHT_ERROR * math.sqrt(2) / high),
        _of_plate(evidence, slopes, high) if name == "blade-lean" else None,
    ]
    return [row for row in rows if row is not None], told


def _of_plate(
    evidence: Evidence, slopes: Mapping[str, Sequence[float]], high: float
) -> Part:
    """What is left of the plate's warp at two turns. At four it goes out; but by as
    much as the two pairs differ, grit under one of the seats may be why: that turns the
    lean by half of it."""
    if len(slopes) == len(BLADE):
        # of two waves that swing by half of the limit a quarter stands out at the rim
        return rectangular("plate warp", swing_of(evidence.gear.saw) / 4 / high)
    first, second = (
        statistics.fmean(slope for one in pair for slope in slopes[one])
        for pair in (BLADE, QUARTER)
    )
    return Part("pairs of turns that differ", "B", abs(first - second) / 2)


def _outward_sign(name: str, evidence: Evidence) -> float:
    """The sign that turns a face's top leaning out toward the square to counter-
    clockwise."""
    if name == "fence-lean":
        return 1.0 if evidence.gear.far else -1.0
    return 1.0 if _side(evidence.options) == "left" else -1.0


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

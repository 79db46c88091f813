"""Do sled fence and blade stand upright? The indicator slides up a square that stands
on the table, its tip on the face; then the square is reversed.

With the stock pointing away from the face l1 = lean + e, reversed l2 = lean - e, so
that lean = (l1 + l2) / 2, see `bench.geometry.upright`. Both leans are positive
counter-clockwise: of the sled fence seen from its right end (the top leans toward you),
of the blade seen from where you stand (the top leans to the left). The blade is turned
by hand between its set-ups, so that the plate's tilt goes out with the square's error
and, at four even turns, the second wave of its warp too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Check, Evidence, EvidenceGear, Focus, Step
from bench.checks.options import (
    Option,
    OptionValue,
    choice,
    given_number,
    length,
    number,
)
from bench.checks.shared.cautions import AT_REST
from bench.checks.shared.lean_budget import lean_rows
from bench.checks.shared.results import combined, finding, more_readings, quantity
from bench.checks.shared.slips import uneven_spots
from bench.checks.shared.traces import count_of
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
from bench.gear import LeftRight
from bench.uncertainty import Combined, Part

if TYPE_CHECKING:
    from bench.geometry.upright import Lean

FENCE = ("fence-away", "fence-toward")
BLADE = ("blade-away", "blade-toward")
QUARTER = ("blade-away-quarter", "blade-toward-quarter")
TURNS = dict(zip((*BLADE, *QUARTER), (0, 180, 90, 270), strict=True))  # degrees
READINGS = 3  # at each height
LOW_AT, HIGH_AT = 10.0, 70.0  # mm above the table, unless said; common practice
APART = 10.0  # mm between the heights, at least
# rad, from which a joint shows it; common practice, no source
LIMIT = 0.05 / 50
ALIKE = 2.0  # counts from low to high, which an indicator that was not slid shows too
# rad, of a square that is used to set up by; common practice, no source
POOR_SQUARE = 0.1 / 300
AGAIN = "Lift the tip and slide the indicator there anew."


def plan(options: Mapping[str, OptionValue], gear: EvidenceGear) -> tuple[Step, ...]:
    only = options.get("placements")
    names: tuple[str, ...] = ()
    if only != "blade":
        names += FENCE
    if only != "fence":
        names += BLADE if options.get("blade_turns") == "two" else (*BLADE, *QUARTER)
    heights = (number(options, "low_at", LOW_AT), number(options, "high_at", HIGH_AT))
    return tuple(
        _step(name, at, options, gear, first=not k)
        for name in names
        for k, at in enumerate(heights)
    )


def _step(
    name: str,
    at: float,
    options: Mapping[str, OptionValue],
    gear: EvidenceGear,
    *,
    first: bool = True,
) -> Step:
    if first:
        text = (
            _fence_words(name, gear) if name in FENCE else _blade_words(name, options)
        )
        text += " Indicator held to the upright edge."
    else:
        text = "The square stays as it stands. Slide the indicator along its edge."
    return Step(
        name,
        text + " Its tip touches {at:station} up.",
        "spot",
        READINGS,
        None if name in FENCE else _side(options),
        "standing",
        at=at,
        picture="plumb",
        reseat=AGAIN,
        # the square is turned about under the tip: the number goes and comes back
        continues=first and name == FENCE[1],
        focus=Focus("place", at),
    )


def _fence_words(name: str, gear: EvidenceGear) -> str:
    away, toward = "away from you", "toward you"
    if gear.far:
        away, toward = toward, away
    if name == FENCE[0]:
        return (
            "Square upright on the sled's base, before the sled fence's face."
            f" Its stock points {away}."
        )
    return (
        "Turn the square about, the same edge upright. Under the indicator its stock"
        f" now points {toward}."
    )


def _blade_words(name: str, options: Mapping[str, OptionValue]) -> str:
    side = _side(options)
    other = "right" if side == "left" else "left"
    stock = side if "away" in name else other
    return (
        f"Blade right up, turned by hand to {TURNS[name]} degrees. Square upright on"
        f" the bare table, {side.upper()} of the blade. Its stock points"
        f" {stock.upper()}. Tip on the blade body, clear of the teeth."
    )


def _side(options: Mapping[str, OptionValue]) -> LeftRight:
    return "left" if options.get("stands") == "left" else "right"


class _Answer(msgspec.Struct, frozen=True):
    quantity: Quantity
    lean: Lean
    alike: bool  # low and high read the same in every set-up
    budget: Combined
    rows: list[Part | None]
    readings: int  # a height
    spots: int  # heights, all set-ups together


def evaluate(evidence: Evidence) -> Finding:
    there = {t.placement for t in evidence.traces}
    remarks: list[Remark] = []
    answers = [
        _answer("fence-lean", FENCE, evidence),
        _answer("blade-lean", _blade_set_ups(there), evidence),
    ]
    found = [answer for answer in answers if answer is not None]
    if not found:
        raise EvidenceError(
            f"it takes {FENCE[0]} and {FENCE[1]}, or those of the blade"
        )
    if answers[1] is not None and not set(QUARTER) <= there:
        remarks.append(note("two-turns"))
    remarks.extend(_of_square(answers[0]))
    if any(answer.alike for answer in found):
        remarks.append(warning("heights-alike"))
    judged = found[0]
    too_close = judged.quantity.verdict == "cannot-tell"
    return finding(
        evidence,
        [answer.quantity for answer in found],
        judged.budget,
        settle=_settle(judged) if too_close else None,
        remarks=remarks,
        doubts=_uneven(evidence),
    )


def _blade_set_ups(there: set[str]) -> tuple[str, ...]:
    return (*BLADE, *QUARTER) if there & set(QUARTER) else BLADE


def _answer(name: str, set_ups: Sequence[str], evidence: Evidence) -> _Answer | None:
    """None where nothing was read there. Raises EvidenceError for half of it."""
    from bench.geometry.upright import lean, slope

    read = {one: _spots(evidence, one) for one in set_ups}
    if not any(read[one][0] for one in set_ups):
        return None
    for one, (heights, _) in read.items():
        if not heights:
            raise EvidenceError(f"{name} takes {one} too: the square is to be reversed")
        if max(heights) - min(heights) < APART:
            raise EvidenceError(
                f"{one} was read over {max(heights) - min(heights):.1f} mm of height;"
                f" {APART:g} mm at least (travel)"
            )
    slopes = {one: slope(*read[one]) for one in set_ups}
    found = lean(
        [slopes[one] for one in set_ups if "away" in one],
        [slopes[one] for one in set_ups if "toward" in one],
    )
    rows = lean_rows(evidence, found, list(read.values()), blade=name == "blade-lean")
    budget = combined(evidence, rows)
    value = _outward_sign(name, evidence) * found.value
    limit = given_number(evidence.options, "limit")
    leans = quantity(name, value, budget, limit, _way(name, value))
    spots = sum(len(set(heights)) for heights, _ in read.values())
    each = sum(len(heights) for heights, _ in read.values()) // spots
    count = count_of(
        evidence.gear.indicator, [r for _, rs in read.values() for r in rs]
    )
    alike = all(
        abs(slopes[one].slope) * (max(zs) - min(zs)) < ALIKE * count
        for one, (zs, _) in read.items()
    )
    return _Answer(leans, found, alike, budget, rows, each, spots)


def _spots(evidence: Evidence, placement: str) -> tuple[list[float], list[float]]:
    traces = [t for t in evidence.traces if t.placement == placement]
    heights = [z for t in traces for z in t.travel]
    return heights, [r for t in traces for r in t.reading]


def _outward_sign(name: str, evidence: Evidence) -> float:
    """From the face's top leaning out toward the square to counter-clockwise."""
    if name == "fence-lean":
        return 1.0 if evidence.gear.far else -1.0
    return 1.0 if _side(evidence.options) == "left" else -1.0


def _way(name: str, value: float) -> str:
    if name == "fence-lean":
        return f"top leans {'toward you' if value > 0 else 'away from you'}"
    return f"top leans to the {'left' if value > 0 else 'right'}"


def _of_square(fence: _Answer | None) -> list[Remark]:
    """A square so far off that it was more likely knocked, or another edge was used."""
    if fence is None or fence.lean.square is None:
        return []
    off = abs(fence.lean.square)
    if off <= POOR_SQUARE + fence.budget.expanded:
        return []
    return [warning("square-not-plumb", off=off)]


def _settle(answer: _Answer) -> Settle:
    judged, now = answer.quantity, answer.readings
    clear = abs(abs(judged.value) - (judged.tolerance or 0.0))
    freedom = answer.lean.degrees_of_freedom
    rows = [row for row in answer.rows if row is not None]
    return more_readings(
        rows, answer.budget, clear, now, answer.spots, lambda each: freedom * each / now
    )


def _uneven(evidence: Evidence) -> list[Doubt]:
    """Readings at one height of one set-up that are farther apart than faces lean."""
    found: list[Doubt] = []
    for name in dict.fromkeys(t.placement for t in evidence.traces):
        at: dict[float, list[float]] = {}
        for height, reading in zip(*_spots(evidence, name), strict=True):
            at.setdefault(height, []).append(reading)
        for values in at.values():
            found += uneven_spots({name: values})
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
        Option("limit", "slope", "How far it may lean", LIMIT, low=1e-6, high=0.1),
    ),
    needs=("jig",),
    rank=10,
)

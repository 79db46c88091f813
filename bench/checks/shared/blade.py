"""The blade held against the slot: what is asked for, and what one spot shows.

One spot is touched at the front and at the rear by turns. A visit is what is read at
one end before the indicator is slid away: where each end is visited anew, the scatter
of the visits holds the float of carriage and arbor; where not, stated rows stand for
it. Else sweeps over the blade body are taken at even turns. Lengths in mm, rotations in
rad.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping
from itertools import groupby

import msgspec

from bench.checks.model import Evidence, EvidenceGear, Focus, Mount, Step
from bench.checks.options import OptionValues, given_number, number
from bench.checks.shared.results import direction_rows, instrument_rows
from bench.checks.shared.traces import columns_by_placement, count_of
from bench.checks.shared.turns import even_turns, turn_of
from bench.finding import EvidenceError, Remark, note, warning
from bench.gear import LeftRight
from bench.uncertainty.budget import Part, rectangular
from bench.uncertainty.sweeps import Group, between_sweeps, scatter_within

TOUCHES = 3  # at an end that is visited once
VISITS = 2  # an end, from which their scatter speaks for the float
# mm, half-width of the arbor's float along its axis; common practice, no source
END_FLOAT = 0.005
# mm, half-width by which a carriage in its slot comes to rest elsewhere each time;
# common practice, no source
CARRIAGE_FLOAT = 0.01
SPOTS_APART = 10.0  # mm of travel that the two ends lie apart at least
SPOTS = ("front", "rear")
ROUND_TRIPS = 3  # front, rear, front, rear, ...: either end is visited so often
TOUCH_AGAIN = "Lift the plunger and let it down again."
FRONT_AT, REAR_AT = 0.0, 160.0  # mm along the travel, unless said; common practice


class SpotReadings(msgspec.Struct, frozen=True):
    """visits: by end, the readings of each visit, mm. apart: mm of travel from front to
    rear, signed."""

    visits: Mapping[str, list[list[float]]]
    apart: float

    @property
    def lean(self) -> float:
        """mm, rear less front, each the mean of its visits."""
        front, rear = (
            statistics.fmean(map(statistics.fmean, self.visits[name])) for name in SPOTS
        )
        return rear - front

    @property
    def readings(self) -> dict[str, list[float]]:
        """All of an end, mm."""
        return {n: [r for v in visits for r in v] for n, visits in self.visits.items()}

    @property
    def slid_anew(self) -> bool:
        return all(len(visits) >= VISITS for visits in self.visits.values())

    @property
    def touch_variance(self) -> tuple[float, int]:
        """The pooled variance of one reading within its visit, with its degrees of
        freedom."""
        squares, freedom = scatter_within(v for n in SPOTS for v in self.visits[n])
        return (squares / freedom if freedom else 0.0), freedom


def spot_readings(evidence: Evidence) -> SpotReadings:
    """Readings by end and visit, in the order in which they came. Raises EvidenceError
    where an end was read too seldom, or both lie at one place."""
    where: dict[str, list[float]] = {name: [] for name in SPOTS}
    visits: dict[str, list[list[float]]] = {name: [] for name in SPOTS}
    runs = groupby(evidence.traces, key=lambda trace: (trace.placement, trace.seat))
    for (name, _), run in runs:
        read = columns_by_placement(list(run))[name]
        where[name].extend(read[0])
        visits[name].append(read[1])
    for name in SPOTS:
        touches = sum(len(v) for v in visits[name])
        if touches < TOUCHES and len(visits[name]) < VISITS:
            raise EvidenceError(
                f"{name} was touched {touches} times; {TOUCHES} touches at least, or"
                " front and rear by turns"
            )
    apart = statistics.fmean(where["rear"]) - statistics.fmean(where["front"])
    if abs(apart) < SPOTS_APART:
        raise EvidenceError(
            f"front and rear are {apart:.1f} mm apart in travel; give the place of each"
            " in the travel"
        )
    return SpotReadings(visits, apart)


def spot_rows(
    evidence: Evidence, read: SpotReadings, rotation: float
) -> tuple[list[Part], list[Remark]]:
    """The budget of one spot, and what is said where a row was only stated."""
    length = abs(read.apart)
    touches, spread = _touch_row(read, length)
    rows = [touches if touches.standard_uncertainty > 0 else None]
    remarks: list[Remark] = []
    if not read.slid_anew:
        remarks = _stated_remarks(evidence)
        rows += _float_rows(evidence, length)
    every = [reading for readings in read.readings.values() for reading in readings]
    count = count_of(evidence.gear.indicator, every)
    rows += [
        *instrument_rows(evidence, read.lean, length, count, spread),
        *direction_rows(evidence, rotation),
    ]
    return [row for row in rows if row is not None], remarks


def _float_rows(evidence: Evidence, length: float) -> list[Part]:
    """Either end of the spot's way is read with a float of its own."""
    carriage = number(evidence.options, "carriage_float", CARRIAGE_FLOAT)
    said, each = end_float(evidence), math.sqrt(2) / length
    arbor = END_FLOAT if said is None else said
    return [
        rectangular("carriage float", each * carriage),
        rectangular("arbor end float", each * arbor),
    ]


def _touch_row(read: SpotReadings, length: float) -> tuple[Part, float]:
    """The row of what was read more than once, and the spread of one reading, mm: of
    the visits where they were repeated, else of the touches."""
    variance, freedom = read.touch_variance
    if not read.slid_anew:
        sizes = [len(readings) for readings in read.readings.values()]
        u = math.sqrt(variance * sum(1 / n for n in sizes)) / length
        return Part("touches", "A", u, freedom or None), math.sqrt(variance)
    between = between_sweeps(_groups(read, length, variance, freedom))
    part = between.part
    spread = max(between.s_between or 0.0, math.sqrt(variance))
    row = Part("touches", "A", part.standard_uncertainty, part.degrees_of_freedom)
    return row, spread


def _groups(
    read: SpotReadings, length: float, variance: float, freedom: int
) -> list[Group]:
    each = freedom / sum(len(visits) for visits in read.visits.values())
    return [
        Group(
            1 / length,
            [statistics.fmean(v) for v in visits],
            [math.sqrt(variance / len(v)) for v in visits],
            [max(each, 1.0)] * len(visits),
        )
        for visits in read.visits.values()
    ]


def end_float(evidence: Evidence) -> float | None:
    """mm either way: as given for this check, else as the saw's description has it."""
    saw = evidence.gear.saw
    given = given_number(evidence.options, "end_float")
    return saw.end_float if given is None and saw is not None else given


def _stated_remarks(evidence: Evidence) -> list[Remark]:
    remarks = [warning("spots-not-by-turns")]
    if evidence.options.get("carriage_float") is None:
        remarks.append(note("carriage-float-usual", float=CARRIAGE_FLOAT))
    if end_float(evidence) is None:
        remarks.append(note("end-float-usual", float=END_FLOAT))
    return remarks


def slot_side(options: OptionValues) -> LeftRight:
    """The slot's side: in the right slot the indicator stands on the right of the
    blade."""
    given = options.get("side") or options.get("slot") or "right"
    return "left" if given == "left" else "right"


def mount_of(options: OptionValues) -> Mount:
    return "standing" if options.get("mount") == "standing" else "carried"


def plan(options: OptionValues, gear: EvidenceGear) -> tuple[Step, ...]:
    side, mount = slot_side(options), mount_of(options)
    if (turns := given_number(options, "turns")) is not None:
        return tuple(swept_step(name, side, mount) for name in even_turns(int(turns)))
    front_at = number(options, "front_at", FRONT_AT)
    rear_at = number(options, "rear_at", REAR_AT)
    begin = (
        f"Indicator riding in the {side.upper()} slot, held against one wall. Mark a"
        " spot on the blade body below the gullets. Tip on that spot, at the FRONT."
    )
    rear = (
        "Lift the plunger. Turn the blade by hand: the spot to the REAR, equally high."
        " Slide the indicator there and let the plunger down."
    )
    again = (
        "Lift the plunger. Turn the spot back to the FRONT. Slide the indicator there"
        " anew and let the plunger down."
    )
    steps: list[Step] = []
    for visit in range(ROUND_TRIPS):
        for name, words, at in (
            ("front", again if visit else begin, front_at),
            ("rear", rear, rear_at),
        ):
            steps.append(
                Step(
                    name,
                    words,
                    "spot",
                    1,
                    side,
                    mount,
                    at,
                    "slot-blade",
                    TOUCH_AGAIN,
                    continues=bool(steps),
                    focus=Focus("end", side="front" if name == "front" else "rear"),
                )
            )
    return tuple(steps)


def swept_step(name: str, side: LeftRight, mount: Mount) -> Step:
    return Step(
        name,
        "Lift the plunger. Turn the blade by hand to"
        f" {name.removeprefix('turn-')} degrees. Indicator in the {side.upper()} slot,"
        " at the front of the blade body. It passes inside the gullets, as far before"
        " the arbor as behind.",
        "sweep",
        side=side,
        mount=mount,
        picture="slot-blade-turn",
        straight=False,  # a plate has a form of its own, which even turns take out
        pushed="indicator",
        focus=Focus("turn", math.radians(turn_of(name) or 0.0)),
    )


def accepts(placement: str, options: OptionValues, gear: EvidenceGear) -> Step | None:
    if placement in SPOTS:
        spots = plan({**options, "turns": None}, gear)
        return next((s for s in spots if s.placement == placement), None)
    return (
        swept_step(placement, slot_side(options), mount_of(options))
        if turn_of(placement) is not None
        else None
    )

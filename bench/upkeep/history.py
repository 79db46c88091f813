"""The input of charts and due dates: results, moves, events of the gear and climate, as
plain values.

Pure: no clock, no files. Times are days since 1970-01-01 UTC; values are in rad or mm
as findings have them; humidity is a fraction.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Literal, get_args

import msgspec

from bench.finding import Climate, Finding

What = Literal["dropped", "moved", "runners", "blade", "saw", "square", "accepted"]
EVENTS: tuple[What, ...] = get_args(What)
Reason = Literal["first"] | What
# why something does not stand in the charts: its date cannot be, its value is no
# number, it contradicts itself, its climate cannot be
WhyLeftOut = Literal["date", "value", "doubt", "climate"]

# rows of a budget that are the same at every check, and so cannot make one result
# differ from the next
LASTING = frozenset(
    {
        "indicator over the span used",
        "travel scale",
        "square",
        "blade",
        "form of the arm",
        "form that repeats",
        "sled rolling",
        "straightedge",
    }
)
# degrees Celsius; outside it the sensor, or whoever typed it, is wrong: sensors of air
# are specified for this range
COLDEST, HOTTEST = -40.0, 85.0
# of the remark of a quick check that took the square's error from the log
QUICK_CODE = "quick-inherits"


class Measurement(msgspec.Struct, frozen=True):
    """One quantity of one finding. varying: standard uncertainty of what differs from
    result to result, by its budget. set_up: which placements it stands on; a quick
    check is of the kind of the whole check that measured its square. turns_fence: the
    check judges the sled fence, which a move turns."""

    finding: str
    day: float
    order: int  # of recording
    check: str
    jig: str | None
    saw: str | None
    quantity: str
    unit: str
    value: float
    expanded: float
    varying: float
    tolerance: float | None = None
    verdict: str | None = None
    square: str | None = None
    instrument: str | None = None
    hold: str | None = None
    set_up: str = ""
    quick: bool = False
    turns_fence: bool = False
    climate: Climate | None = None
    way: str | None = None  # of the value, in words


class FenceMove(msgspec.Struct, frozen=True):
    """A move that was made: after which finding, of which sled on which saw."""

    finding: str
    jig: str | None
    saw: str | None
    day: float  # of that finding
    order: int  # of recording of that finding


class GearEvent(msgspec.Struct, frozen=True):
    """An event that somebody reported of a sled, its saw or its square."""

    jig: str
    what: What
    day: float
    note: str = ""


class Omission(msgspec.Struct, frozen=True):
    finding: str
    at: str
    why: WhyLeftOut


class History(msgspec.Struct, frozen=True):
    """All of one log. results: in the order of time. climate: the latest reading of the
    shop's air and its day. jigs: sleds that there are, with or without results."""

    results: tuple[Measurement, ...] = ()
    moves: tuple[FenceMove, ...] = ()
    events: tuple[GearEvent, ...] = ()
    left_out: tuple[Omission, ...] = ()
    climate: tuple[float, Climate] | None = None
    jigs: tuple[str, ...] = ()
    first_check: str = ""  # what a sled without a result of its fence is due for


def sound_climate(climate: Climate | None) -> Climate | None:
    """A climate without what cannot be; None where nothing is left. A humidity of 120 %
    or a temperature of -60 deg C is no climate of a shop."""
    if climate is None:
        return None
    t, h = climate.temperature, climate.humidity
    if t is not None and not (math.isfinite(t) and COLDEST <= t <= HOTTEST):
        return None  # a sensor that lies in one number is believed in neither
    if h is not None and not (math.isfinite(h) and 0.0 < h <= 1.0):
        return None
    return None if t is None and h is None else climate


def varying(finding: Finding) -> float:
    """Standard uncertainty of the rows of the budget that differ from result to result
    (of the first quantity)."""
    return math.hypot(
        *(row.standard_uncertainty for row in finding.budget if row.part not in LASTING)
    )


def results_of(
    finding: Finding,
    *,
    day: float,
    order: int,
    gear: Mapping[str, str | None],
    turns_fence: bool,
) -> list[Measurement]:
    """The charted quantities of a finding: its first, and the square's own error where
    it was measured. gear: names of `square`, `instrument` and `hold`.

    Raises ValueError where a number is none.
    """
    quick = QUICK_CODE in finding.codes
    placements = sorted({sweep.placement for sweep in finding.sweeps})
    turned = quick or any(q.name == "square" for q in finding.quantities)
    results = []
    for place, quantity in enumerate(finding.quantities):
        if place > 0 and not (quantity.name == "square" and turns_fence):
            continue
        numbers = (quantity.value, quantity.uncertainty, varying(finding))
        if not all(math.isfinite(number) for number in numbers):
            raise ValueError(f"{finding.id}: {quantity.name} is no number")
        one = Measurement(
            finding=finding.id,
            day=day,
            order=order,
            check=finding.check,
            jig=finding.jig,
            saw=finding.saw,
            quantity=quantity.name,
            unit=quantity.unit,
            value=quantity.value,
            expanded=abs(quantity.uncertainty),
            varying=varying(finding),
            tolerance=quantity.tolerance,
            verdict=quantity.verdict,
            set_up="turned-over" if turned else "+".join(placements),
            quick=quick,
            turns_fence=turns_fence and place == 0,
            climate=sound_climate(finding.climate),
            way=quantity.way,
            **gear,
        )
        results.append(one)
    return results

"""The stretch of travel that traces cover, and the instrument's count where the
settings do not say it.

One pass, or a few touches, may lie on a coarser grid than the instrument's by luck; all
together hardly do. Lengths in mm.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from bench.checks.model import Evidence, Trace
from bench.finding import Remark, note, warning
from bench.gear import Indicator

USUAL = 0.001  # mm, where the readings lie on no grid; common practice, no source
# mm: a few readings may all be whole multiples of more by luck; and what never moves is
# a coarse instrument
COARSEST_SEEN = 0.01
# share of neighbours alike, from which readings were shown by steps and not worked out
REPEATS = 0.2
# counts: rounding alone leaves 0.29 about a line, readings worked out leave none
LEAST_ROUNDING = 0.2
SHARE_IN_COMMON = 0.9  # of the longest sweep; with less in common it is worth a remark
LEAST_IN_COMMON = 0.5  # with less there is not enough left to fit
ODD = 2  # misread places, at either end, that must not say where a sweep begins
MARK_SLACK = 0.5  # mm: a mark read from a scale is not left out for a hair


def columns_by_placement(
    traces: Sequence[Trace],
) -> dict[str, tuple[list[float], list[float]]]:
    """All travel and all readings of each placement, as they were read."""
    columns: dict[str, tuple[list[float], list[float]]] = {}
    for trace in traces:
        travel, reading = columns.setdefault(trace.placement, ([], []))
        travel.extend(trace.travel)
        reading.extend(trace.reading)
    return columns


def count_of(indicator: Indicator, readings: Sequence[float]) -> float:
    """The count of readings taken one by one: as declared; else as they show it."""
    if indicator.resolution:
        return indicator.resolution
    seen = grid_of(readings)
    return USUAL if seen == 0 else min(seen, COARSEST_SEEN)


def count_of_sweeps(evidence: Evidence) -> float | None:
    """The count as declared; else as all pushes show it; None where they lie on no
    grid, as means do."""
    if evidence.gear.indicator.resolution:
        return evidence.gear.indicator.resolution
    pushes = [trace for trace in evidence.traces if trace.push]
    return grid_of(r for trace in pushes for r in trace.reading) or None


def grid_of(readings: Iterable[float]) -> float:
    """mm, the usual count whose multiples the readings all are; 0 where they lie on no
    grid. What never moves is taken for a coarse instrument."""
    import numpy as np

    from bench.geometry.cells import count_seen

    different = set(readings)
    if len(different) < 2:
        return COARSEST_SEEN
    return float(count_seen(np.array(sorted(different), dtype=np.float64)))


def as_shown(traces: Sequence[Trace], count: float) -> bool:
    """Whether recorded readings lie on their grid because a display shows no more: not
    exact lines, nor means that were written down with so many decimals."""
    import numpy as np

    pairs = [abs(b - a) < count / 2 for t in traces for a, b in pairwise(t.reading)]
    left = []
    for trace in traces:
        s, r = np.array(trace.travel), np.array(trace.reading)
        left += list(r - np.polyval(np.polyfit(s, r, 1), s)) if np.ptp(s) > 0 else []
    # no mean ends so
    by_fives = round(count / 10 ** np.floor(np.log10(count) + 1e-9)) == 5
    if not pairs or not left or np.std(left) < LEAST_ROUNDING * count:
        return False
    return bool(by_fives or sum(pairs) >= REPEATS * len(pairs))


def in_common(
    traces: Sequence[Trace], remarks: list[Remark], shifts: Mapping[str, float] = {}
) -> tuple[float, float] | None:
    """The stretch of travel that all pushes cover: only over the same stretch does
    reversal hold.

    shifts: by set-up, mm by which its travel is less than that of the first at the same
    place of the arm; the stretch is told by the travel of the first. None where they
    share too little of it to fit; what then remains of the arm's form is the caller's
    row.
    """
    spans = [
        (low + by, high + by)
        for t in traces
        if t.push and len(t.travel) > 1
        for by in (shifts.get(t.placement, 0.0),)
        for low, high in (travel_span(t.travel),)
    ]
    if len(spans) < 2:
        return None
    low, high = max(a for a, _ in spans), min(b for _, b in spans)
    shortest = min(b - a for a, b in spans)
    several = len({t.placement for t in traces if t.push}) > 1
    common = max(0.0, high - low)
    if common < LEAST_IN_COMMON * shortest:
        if several:
            remarks.append(warning("stretches-apart", common=common, shortest=shortest))
        return None
    longest = max(b - a for a, b in spans)
    if common < SHARE_IN_COMMON * longest:
        ends = {"from": low, "to": high, "shortest": longest}
        remarks.append(note("stretches-differ", common=common, **ends))
    return low - MARK_SLACK, high + MARK_SLACK


def spread_of(values: Iterable[float]) -> float:
    """The largest less the smallest; 0 of nothing."""
    listed = list(values)
    return max(listed) - min(listed) if listed else 0.0


def reach(trace: Trace) -> float:
    """mm of travel that a pass covers."""
    low, high = travel_span(trace.travel)
    return high - low


def travel_span(travel: Sequence[float]) -> tuple[float, float]:
    """The begin and the end of a travel, unmoved by a misread place or two."""
    ordered = sorted(travel)
    low, high = ordered[0], ordered[-1]
    if len(ordered) >= 50:
        usual = (ordered[-1 - ODD] - ordered[ODD]) / (len(ordered) - 1 - 2 * ODD)
        if ordered[ODD] - low > 10 * ODD * usual:
            low = ordered[ODD]
        if high - ordered[-1 - ODD] > 10 * ODD * usual:
            high = ordered[-1 - ODD]
    return low, high

"""Which stretch of the travel passes cover, and which they have in common. Pure;
lengths in mm."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from bench.checks.model import Trace
from bench.finding import Remark, note, warning

SHARE_IN_COMMON = 0.9  # of the shortest sweep; with less in common it is worth a remark
LEAST_IN_COMMON = 0.5  # with less there is not enough left to fit
ODD = 2  # misread places, at either end, that must not say where a sweep begins
EDGE = 0.5  # mm: a mark read from a scale is not left out for a hair


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
    if several and common < SHARE_IN_COMMON * shortest:
        remarks.append(
            note(
                "stretches-differ",
                common=common,
                **{"from": low, "to": high, "shortest": shortest},
            )
        )
    return low - EDGE, high + EDGE


def reach(trace: Trace) -> float:
    """mm of travel that a pass covers."""
    low, high = travel_span(trace.travel)
    return high - low


def travel_span(travel: Sequence[float]) -> tuple[float, float]:
    """Where it begins and ends, unmoved by a misread place or two."""
    ordered = sorted(travel)
    low, high = ordered[0], ordered[-1]
    if len(ordered) >= 50:
        usual = (ordered[-1 - ODD] - ordered[ODD]) / (len(ordered) - 1 - 2 * ODD)
        if ordered[ODD] - low > 10 * ODD * usual:
            low = ordered[ODD]
        if high - ordered[-1 - ODD] > 10 * ODD * usual:
            high = ordered[-1 - ODD]
    return low, high

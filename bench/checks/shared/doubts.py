"""Contradictions within the evidence of a check, as codes with values.

`evidence_doubts` looks at a whole check, or at one in progress: what it finds is asked
while the sled is at hand. `conclude` makes no verdict and no move while there is a
doubt. Pure; numpy only inside functions. Lengths in mm, slopes in rad.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence
from itertools import pairwise

from bench.checks.model import Check, Evidence, Step, Trace
from bench.checks.options import STEEPEST
from bench.checks.shared.plausibility import BETTER_LENGTH, side_doubts
from bench.checks.shared.traces import (
    COARSEST_SEEN,
    as_shown,
    grid_of,
    reach,
    spread_of,
    travel_span,
)
from bench.finding import Doubt, doubt

LIVE_COUNTS = 2.0  # counts that a number moves by and that no flicker between two makes
# counts that other passes, or the rest of one, say that a reading should have gone
STANDING_COUNTS = 6.0
BY_CHANCE = 1e-3  # that so many readings in a row do not change
# counts that other passes, the rest of one, cover, and it is more than a count at an
# edge
FLICKER = 3.0, 4.0
LIVELY = 0.15  # share of readings that change, from which flicker is everywhere
STANDING_SHARE = 0.3  # of a pass, in which a number stands that should have gone on
# of a pass, in which a tip touches nothing; holes and grooves are shorter
AIR_SHARE = 0.2
# mm that a tip falls by at least: the preload, 0.1 for a lever type; common practice
LEAST_FALL = 0.08
FEWEST_OF_PASS = 8  # readings of a pass
TIMES_FINER = 1.9  # times finer than declared, and it is another instrument or unit
# times coarser; inches shown by a fine indicator are 2.54 times at most
TIMES_COARSER = 4.0
LEAST_ODDS = 1e5  # to one against readings that lie on a coarser grid by chance
MANY_READINGS = 8  # different readings that show a grid
MOST_MARKS = 16  # places at most where the sled is stopped; of more it was swept
# the step of a display in inches; few that show mm go in such steps, so that one who
# does not say what the indicator resolves is asked; common practice, no source
HALF_THOU = 0.0005
OF_INCHES = 2e-5, 9e-5  # mm: counts of an inch display taken for mm
SHORTEST_PASS = 30.0  # mm: a pass of less is handling, or was written down in inches
# share of the longest push from which a draw back is one of a whole pass
DRAW_BACK_SHARE = 0.7

# what a verdict hangs on, for `Finding.settle`
SETTLING_PARTS = {
    "frozen": "a number that moves",
    "stood": "a number that moves",
    "backward": "which way the travel counts",
    "steep": "which cable is which",
    "board-unlike": "why board and passes differ",
    "lean": "the side on which the indicator stands",
}
UNIT_PART = "the unit of the readings"


def evidence_doubts(evidence: Evidence, check: Check) -> list[Doubt]:
    """All doubts about the answer, the gravest first."""
    steps = _steps(evidence, check)
    swept = [name for name, step in steps.items() if step.gather == "sweep"]
    found = [d for name in swept for d in _pass_doubts(evidence, name, steps[name])]
    if len(swept) < len(steps):
        found += _frozen_spots(evidence, [n for n in steps if n not in swept])
    if any(step.gather != "width" for step in steps.values()):
        found += _grid_doubts(evidence, swept)
    return found + side_doubts(evidence, list(steps.values()))


def _steps(evidence: Evidence, check: Check) -> dict[str, Step]:
    """The set-ups that were taken, in the order they came."""
    names = evidence.placements
    only = names[0] if len(names) == 1 else "both"
    options = {**evidence.options, "placements": only}
    return check.steps_at(names, options, evidence.gear)


# ---- a number that does not live -----------------------------------------------------


def displayed_count(evidence: Evidence) -> float:
    """The count as declared, or the smallest step that the display showed where that is
    more; 0.001 mm where there is none."""
    read = {r for trace in evidence.traces for r in trace.reading}
    values = sorted(evidence.shown or read)
    steps = [b - a for a, b in pairwise(values) if b - a > 1e-9]
    return (
        max(evidence.gear.indicator.resolution or 0.0, min(steps)) if steps else 0.001
    )


def _is_frozen(evidence: Evidence, name: str, span: float, count: float) -> bool:
    if evidence.alive is None:
        return span == 0
    # a count or two come and go by themselves
    return name not in evidence.alive and span < LIVE_COUNTS * count - 1e-9


def _pass_doubts(evidence: Evidence, name: str, step: Step) -> list[Doubt]:
    traces = [t for t in evidence.at(name) if t.reading]
    pushes = [t for t in traces if t.push]
    count = displayed_count(evidence)
    found: list[Doubt] = []
    span = spread_of(r for t in traces for r in t.reading)
    if _is_frozen(evidence, name, span, count):
        found.append(doubt("frozen", name, span=span))
    else:
        found += _standing_doubts(
            name, traces, count, step.straight and step.mount is not None
        )
    if (back := _first_draw_back(traces, pushes)) is not None:
        grows = -1.0 if evidence.gear.travel.grows == "away" else 1.0
        found.append(doubt("backward", name, back.sweep, grows=grows))
    longest = max((reach(t) for t in pushes), default=SHORTEST_PASS)
    if longest < SHORTEST_PASS:
        found.append(doubt("short", name, length=longest, better=BETTER_LENGTH))
    steepest = max((abs(_slope(t)) for t in pushes), default=0.0)
    if steepest > STEEPEST:
        found.append(doubt("steep", name, slope=steepest))
    return found


def _standing_doubts(
    name: str, traces: Sequence[Trace], count: float, line: bool
) -> list[Doubt]:
    """Pushes in which the reading stands still, from end to end or for a part, where it
    moves otherwise."""
    pairs = sum(len(t.reading) - 1 for t in traces if spread_of(t.reading) > 0)
    rate = _changes(traces) / pairs if pairs else 0.0
    moves = max(spread_of(t.reading) for t in traces)
    found: list[Doubt] = []
    for trace in traces:
        if not trace.push or len(trace.reading) < FEWEST_OF_PASS:
            continue
        luck = (1 - rate) ** len(trace.reading) >= BY_CHANCE
        least = (STANDING_COUNTS if luck else FLICKER[0]) * count
        part = None
        if spread_of(trace.reading) == 0 and moves >= least:
            part = travel_span(trace.travel)
        elif line:
            part = _standing_part(trace, count)
        if part is not None:
            ends = {"from": part[0], "to": part[1]}
            found.append(doubt("stood", name, trace.sweep, **ends))
    return found


def _standing_part(trace: Trace, count: float) -> tuple[float, float] | None:
    """The stretch of a pass along a line in which the reading stands still: it did not
    follow the line that the rest shows, or stands far off it, as that of a tip in the
    air does."""
    first, last = _longest_run(trace.reading, count / 2)
    # let out as far as the plunger goes; it may flicker there
    least = min(trace.reading)
    apart = [r - least > 1.5 * count for r in trace.reading]
    loose = _longest_run([k * far for k, far in enumerate(apart, 1)], 0.5)
    return _not_followed(trace, first, last, count) or _in_the_air(trace, *loose, count)


def _not_followed(
    trace: Trace, first: int, last: int, count: float
) -> tuple[float, float] | None:
    low, high = sorted((trace.travel[first], trace.travel[last]))
    if high - low < STANDING_SHARE * reach(trace):
        return None
    apart = _surroundings(trace, first, last)
    if apart is None:
        return None
    slope, _, rate = apart
    spans = spread_of(r for k, r in enumerate(trace.reading) if not first <= k <= last)
    lively = rate >= LIVELY and spans >= FLICKER[1] * count
    still = lively and (1 - rate) ** (last - first) < BY_CHANCE
    return (
        (low, high)
        if still or abs(slope) * (high - low) >= STANDING_COUNTS * count
        else None
    )


def _in_the_air(
    trace: Trace, first: int, last: int, count: float
) -> tuple[float, float] | None:
    low, high = sorted((trace.travel[first], trace.travel[last]))
    if last - first < 2 or high - low < AIR_SHARE * reach(trace):
        return None
    apart = _surroundings(trace, first, last)
    if apart is None:
        return None
    slope, level, _ = apart
    off = trace.reading[first] - level - slope * (low + high) / 2
    return (low, high) if abs(off) >= max(LEAST_FALL, 30 * count) else None


def _surroundings(
    trace: Trace, first: int, last: int
) -> tuple[float, float, float] | None:
    """Of the readings beside that part: slope, level at travel 0 (Theil-Sen), share
    that change; None where there are too few."""
    places = list(zip(trace.travel, trace.reading, strict=True))
    pieces = places[:first], places[last + 1 :]
    beside = [*pieces[0], *pieces[1]]
    if len(beside) < FEWEST_OF_PASS // 2:
        return None
    some = beside[:: max(1, len(beside) // 50)]
    pairs = [(one, other) for k, one in enumerate(some) for other in some[:k]]
    steep = [(r - q) / (s - p) for (s, r), (p, q) in pairs if abs(s - p) > 1e-6]
    slope = statistics.median(steep) if steep else 0.0
    level = statistics.median(r - slope * s for s, r in some)
    next_to = [pair for piece in pieces for pair in pairwise(piece)]
    changes = sum(abs(r - q) > 1e-9 for (_, q), (_, r) in next_to)
    return slope, level, changes / len(beside)


def _longest_run(reading: Sequence[float], within: float) -> tuple[int, int]:
    """Indices of its first and last reading; all of it within so many mm of its
    first."""
    best, first = (0, 0), 0
    for k, value in enumerate(reading):
        if abs(value - reading[first]) > within:
            first = k
        if k - first > best[1] - best[0]:
            best = (first, k)
    return best


def _first_draw_back(traces: Sequence[Trace], pushes: Sequence[Trace]) -> Trace | None:
    """A whole draw back before the first push: was it one?"""
    if not traces or traces[0].push or len(traces[0].travel) < 2:
        return None
    longest = max((reach(t) for t in pushes), default=0.0)
    return traces[0] if reach(traces[0]) >= DRAW_BACK_SHARE * longest else None


def _frozen_spots(evidence: Evidence, names: Sequence[str]) -> list[Doubt]:
    """Readings taken one by one that are all one number (live: within a flicker between
    two counts), and nothing was seen to move."""
    there = [t for t in evidence.traces if t.placement in names and t.reading]
    values = [r for trace in there for r in trace.reading]
    alive = evidence.alive
    # a few numbers lie far apart: how far is no count of the instrument
    least = evidence.gear.indicator.resolution or 0.0
    count = max(least, min(displayed_count(evidence), COARSEST_SEEN))
    same = 1e-9 if alive is None else LIVE_COUNTS * count - 1e-9
    if len(values) < 2:
        return []
    if spread_of(values) < same and not alive:
        return [doubt("frozen-spots", read=len(values))]
    found: list[Doubt] = []
    before: float | None = None
    for name in () if alive is None else names:
        here = [r for t in there if t.placement == name for r in t.reading]
        still = before is not None and spread_of([before, *here]) < same
        if still and name not in (alive or ()):
            found.append(doubt("frozen-spots", name, read=len(here)))
        before = here[-1]
    return found


# ---- a number in another unit --------------------------------------------------------


def _grid_doubts(evidence: Evidence, swept: Sequence[str]) -> list[Doubt]:
    """Readings on another grid than the instrument's, set-ups on grids of their own."""
    declared = evidence.gear.indicator.resolution
    found: list[Doubt] = []
    seen: dict[str, float] = {}
    for name in swept:
        traces = evidence.at(name)
        pushes = [t for t in traces if t.push]
        values = {round(r, 9) for t in pushes for r in t.reading}
        if len(values) < 2:
            continue
        count = grid_of(values)
        if len(values) >= MANY_READINGS and count > 0:
            seen[name] = count
        if count > 0 and (_is_live_sweep(evidence, traces) or as_shown(pushes, count)):
            found += _count_doubts(name, count, declared, _changes(traces))
    if not found and len(evidence.shown) > 2:  # at marks and spots means are taken
        raw = grid_of(evidence.shown)
        found += _count_doubts(
            None, raw, declared, len(evidence.shown) // MANY_READINGS * MANY_READINGS
        )
    if declared is None and seen and max(seen.values()) > 10 * min(seen.values()):
        counts, names = list(seen.values()), list(seen)
        found.append(doubt("unlike", counts=counts, set_ups=names))
    return found


def _is_live_sweep(evidence: Evidence, traces: Sequence[Trace]) -> bool:
    """Taken by this program as the indicator showed them, one by one."""
    return evidence.alive is not None and any(
        len(set(t.travel)) > MOST_MARKS for t in traces
    )


def _count_doubts(
    name: str | None, count: float, declared: float | None, changes: int
) -> list[Doubt]:
    if OF_INCHES[0] <= count <= OF_INCHES[1] and (declared is None or declared > count):
        return [doubt("of-inches", name, count=count)]
    if declared is None and abs(count - HALF_THOU) < HALF_THOU / 100:
        return [doubt("half-thou", name, count=count)]
    if declared is None or count <= 0:
        return []
    if count * TIMES_FINER < declared:
        return [doubt("finer", name, count=count, declared=declared)]
    ratio = count / declared
    if ratio >= TIMES_COARSER and ratio ** min(changes, 20) >= LEAST_ODDS:
        return [doubt("coarser", name, count=count, declared=declared)]
    return []


def _changes(traces: Sequence[Trace]) -> int:
    return sum(abs(b - a) > 1e-9 for t in traces for a, b in pairwise(t.reading))


def _slope(trace: Trace) -> float:
    if spread_of(trace.travel) == 0:
        return 0.0
    return statistics.linear_regression(trace.travel, trace.reading).slope


def settling_part(doubts: Sequence[Doubt]) -> str:
    """The part that would settle the verdict, for `Finding.settle`."""
    return SETTLING_PARTS.get(doubts[0].code, UNIT_PART)


def doubts_by_subject(
    doubts: Sequence[Doubt],
) -> Mapping[tuple[str, str | None, str | None], Doubt]:
    """The doubts by what makes one the same as another, however its values grow
    meanwhile."""
    return {(d.code, d.placement, d.sweep): d for d in doubts}

"""The latency of one instrument's readings against the other's, found from pushes and
their pull-backs.

On a surface that turns, a reading that is tau late lies too low all along a push and
too high all along its pull-back, most where the sled is quickest: the two ways part in
the middle and meet at the ends. The same reading set back by tau against the travel
makes them one again. What parts them evenly (backlash) or by a turn (the other wall) is
no latency; the surface's own form is the same on both ways and drops out. Travel and
reading in mm, times in s. Pure.
"""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence

import numpy as np

from bench.checks.model import Trace
from bench.geometry.cells import Array

LONGEST_LATENCY = 0.5  # s, either way
COARSE_STEP, FINE_STEP = 0.02, 0.005  # s
LEAST_LATENCY = 0.02  # s; less bends nothing
CLOSER = 3.0  # times closer, as standard deviation, the two ways lie at that latency
SEEN_COUNTS = 2.0  # they part by less than so many counts: nothing to be seen
AGREE = 0.3  # of the latency, and a step at least, by which the cycles may differ
FEWEST_CYCLES = 2  # cycles
FEWEST_OF_WAY = 20  # of a way
LEAST_OVERLAP = 0.6  # of the stretch must be left, set back by so much
TRIMMED_END = 0.1  # of the stretch at either end, where backlash is taken up
PLACES_COMPARED = 60  # along the stretch that both ways cover


Way = tuple["Array", "Array", "Array"]  # s, mm, mm: arrival, travel, reading


def relative_latency(
    cycles: Sequence[tuple[Trace, Trace]], count: float
) -> float | None:
    """s by which the readings come later than the travel, negative where the travel
    does; None where neither shows.

    cycles: pushes with the pull-backs that follow them, of all set-ups. count: what the
    indicator resolves, mm.
    """
    every = [
        _latency_of_cycle(push, pull, SEEN_COUNTS * count) for push, pull in cycles
    ]
    seen = [tau for tau in every if tau is not None]
    if len(seen) < FEWEST_CYCLES or 2 * len(seen) <= len(cycles):
        return None
    middle = statistics.median(seen)
    reach = max(2 * FINE_STEP + LEAST_LATENCY, AGREE * abs(middle))
    alike = max(abs(tau - middle) for tau in seen) <= reach
    return middle if alike and abs(middle) >= LEAST_LATENCY else None


def _latency_of_cycle(push: Trace, pull: Trace, least: float) -> float | None:
    """The latency at which the two ways lie closest; None where nothing is to be seen
    or it makes little odds. least: mm by which they part if anything is."""
    if min(len(trace.at or ()) for trace in (push, pull)) < FEWEST_OF_WAY:
        return None
    ways: list[Way] = []
    for trace in (push, pull):
        columns = (trace.at, trace.travel, trace.reading)
        at, travel, reading = (np.asarray(c, dtype=np.float64) for c in columns)
        ways.append((at, travel, reading))
    as_is = _difference(ways, 0.0)
    if as_is is None or as_is[0] < least:
        return None

    def looked_at(taus: Iterable[float]) -> list[tuple[float, float]]:
        found = [(_difference(ways, float(tau)), float(tau)) for tau in taus]
        # amid a quick push the speed hardly changes: set back the wrong way the two
        # part the more, if evenly
        most = abs(as_is[1]) + least
        return [(off[0], tau) for off, tau in found if off and abs(off[1]) <= most]

    coarse = looked_at(
        np.arange(-LONGEST_LATENCY, LONGEST_LATENCY + COARSE_STEP / 2, COARSE_STEP)
    )
    if not coarse:
        return None
    near = min(coarse)[1]
    tried = coarse + looked_at(
        np.arange(near - COARSE_STEP, near + COARSE_STEP, FINE_STEP)
    )
    closest, tau = min(tried)
    other = min((off for off, at in tried if at * tau < 0), default=as_is[0])
    return tau if closest * CLOSER < min(as_is[0], other) else None


def _difference(ways: Sequence[Way], tau: float) -> tuple[float, float] | None:
    """The difference of the two ways with the readings set back by tau: standard
    deviation of their difference about its line, and its mean; None where too little is
    left."""
    lines = []
    for at, travel, reading in ways:
        inside = (at - tau >= at[0]) & (at - tau <= at[-1])
        if np.count_nonzero(inside) < FEWEST_OF_WAY:
            return None
        place = np.interp(at[inside] - tau, at, travel)
        order = np.argsort(place, kind="stable")
        lines.append((place[order], reading[inside][order]))
    low, high = max(p[0] for p, _ in lines), min(p[-1] for p, _ in lines)
    if high - low < LEAST_OVERLAP * max(float(np.ptp(travel)) for _, travel, _ in ways):
        return None
    cut = TRIMMED_END * (high - low)
    places = np.linspace(low + cut, high - cut, PLACES_COMPARED)
    (p, r), (q, s) = lines
    difference = np.interp(places, q, s) - np.interp(places, p, r)
    rest = difference - np.polyval(np.polyfit(places, difference, 1), places)
    return float(np.std(rest)), float(np.mean(difference))

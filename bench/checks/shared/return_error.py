"""The return error: by how much the reading did not come back when the sled was drawn
back, less what play can do.

A stand that was bumped, that creeps or warms up reads otherwise when the sled is drawn
back to where it began. So does a sled that shifts in its slots, and it does so every
time. Held otherwise on the way back, sideways, it shifts the whole pull-back and is
taken out here; yawed otherwise, it turns it. What is left above the scatter between
cycles is the return error: it is told and has a row, "closure", in the budget. Two
set-ups from opposite sides split it: creep reads alike in both, a yawed sled does not.
What shifts every pull-back alike is backlash or lag. Lengths in mm.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

import msgspec

from bench.checks.model import Trace
from bench.checks.shared.placement_fit import PRELOAD_MOVED, PlacementFit, are_opposed
from bench.finding import Remark, note, warning
from bench.uncertainty.budget import Part, closure
from bench.uncertainty.distributions import t_quantile

END_SHARE = 0.1  # share of the stretch that counts as its end
MIDDLE_SHARE = 0.3  # share of the stretch that counts as its middle
FEWEST_THERE = 2  # readings there
FEWEST_CYCLES = 2  # cycles that show what comes back alike each time
# counts within which a reading has come back; common practice, no source
COUNTS_BACK = 2
# rad, of yaw, where a single cycle shows no scatter; common practice, no source
UNSEEN_PLAY = 100e-6
FEWEST_LEVELS = 3  # passes without ways back: two make a line, the third judges it
ENOUGH = 5  # of them, from which creep that matters shows; found by simulation
# that levels which scatter by seat and hand are not taken for equal steps
SURE_OF_CREEP = 0.99


def cycles(traces: Sequence[Trace]) -> list[tuple[Trace, Trace]]:
    """Each push with the pull-back that follows it, traces of one placement in the
    order they came."""
    pairs: list[tuple[Trace, Trace]] = []
    push: Trace | None = None
    for trace in traces:
        if trace.push:
            push = trace
        elif push is not None:
            pairs.append((push, trace))
            push = None
    return pairs


Shares = Sequence[tuple[float, float]]  # of what push and pull-back both cover


def _differences(
    push: Trace, pull: Trace, shares: Shares
) -> tuple[list[float], float] | None:
    """mm by which the pull-back reads otherwise than its push over each of these
    stretches, and mm that both cover.

    Medians of both, each freed of its own slope by the order of places; None where they
    do not share enough.
    """
    low = max(min(push.travel), min(pull.travel))
    reach = min(max(push.travel), max(pull.travel)) - low
    ends = [_at(push, low, reach, share) for share in ((0.0, 0.25), (0.75, 1.0))]
    there, back = ([_at(t, low, reach, s) for s in shares] for t in (push, pull))
    if reach <= 0 or None in there or None in back:
        return None
    slope, (first, last) = 0.0, ends
    if first is not None and last is not None and last[0] != first[0]:
        slope = (last[1] - first[1]) / (last[0] - first[0])
    pairs = [(a, b) for a, b in zip(there, back, strict=True) if a and b]
    return [r - q - (s - p) * slope for (p, q), (s, r) in pairs], reach


def _at(
    trace: Trace, low: float, reach: float, share: tuple[float, float]
) -> tuple[float, float] | None:
    """Median place and reading within that share of a stretch."""
    begin, end = (low + part * reach for part in share)
    pairs = zip(trace.travel, trace.reading, strict=True)
    inside = [(s, r) for s, r in pairs if begin - 1e-9 <= s <= end + 1e-9]
    if len(inside) < FEWEST_THERE:
        return None
    places, readings = zip(*inside, strict=True)
    return statistics.median(places), statistics.median(readings)


class ReturnError(msgspec.Struct, frozen=True):
    """The return error of the cycles of one set-up. gap: mm that the reading did not
    come back by, signed as it was read; allowed: what play and scatter explain of it at
    95 %; count: what it resolves."""

    gap: float
    allowed: float
    count: float
    error: float = 0.0  # standard, of the gap

    @property
    def left(self) -> float | None:
        """mm beyond what play explains, without sign; None where play explains it
        all."""
        return _beyond(self.gap, self.allowed, self.count)


class SplitReturnError(msgspec.Struct, frozen=True):
    """The return errors of two set-ups that meet the surface from opposite sides, mm
    without sign, each None where play and scatter explain it.

    common: by which the reading did not come back in both alike: a stand that creeps,
    an indicator that warms up. It turns both set-ups' lines alike as they are read,
    which is the square's error and cancels in the fence. alternating: by which the sled
    itself lay turned on its way back, alike in the table and so opposite as it is read.
    """

    common: float | None
    alternating: float | None
    # mm, the same as a size to be reckoned with: what was seen, less what its own
    # standard error makes it seem on average, in quadrature
    likely_common: float
    likely_alternating: float

    @property
    def unequal(self) -> float | None:
        """The part that may be creep in one set-up only, which no sign tells from both
        kinds together: the smaller of the two."""
        if self.common is None or self.alternating is None:
            return None
        return min(self.common, self.alternating)

    @property
    def likely_unequal(self) -> float:
        return min(self.likely_common, self.likely_alternating)


def _beyond(gap: float, allowed: float, count: float) -> float | None:
    left = abs(gap) - allowed
    return left if left > COUNTS_BACK * count else None


def split_return_errors(
    first: ReturnError | None, second: ReturnError | None
) -> SplitReturnError:
    """The return errors of two set-ups, the indicator right of the surface and left of
    it, split by their signs."""
    one, two = (r or ReturnError(0.0, 0.0, 0.0) for r in (first, second))
    count, allowed = max(one.count, two.count), math.hypot(one.allowed, two.allowed) / 2
    # of four medians, each rounded by up to half a count (GUM F.2.2.1), in two gaps
    error = math.hypot(count / math.sqrt(6), math.hypot(one.error, two.error) / 2)
    halves = (one.gap + two.gap) / 2, (one.gap - two.gap) / 2
    common, alternating = (_beyond(half, allowed, count / 2) for half in halves)
    likely = [math.sqrt(max(half**2 - error**2, 0.0)) for half in halves]
    return SplitReturnError(common, alternating, *likely)


def return_error(
    pairs: Sequence[tuple[Trace, Trace]], *, count: float, yaw_play: float | None = None
) -> ReturnError | None:
    """The return error of one set-up; None where no cycle shows it.

    The scatter between cycles stands for play (95 %, Student's t). A single cycle shows
    no scatter: then yaw_play (rad, full swing) where known, but 100 urad at most, turns
    the pull-back against its push.
    """
    seen = _differences_of_pairs(pairs, ((0.0, END_SHARE), (1 - END_SHARE, 1.0)))
    gaps = [near - far for (near, far), _ in seen]
    if not gaps:
        return None
    error, freedom = _scatter(gaps)
    if not freedom:
        play = UNSEEN_PLAY if yaw_play is None else min(yaw_play, UNSEEN_PLAY)
        error = play * seen[0][1]
    sure = t_quantile(0.95, freedom) if freedom else 1.0
    return ReturnError(statistics.fmean(gaps), sure * error, count, error)


def creep_error(here: PlacementFit, *, count: float) -> ReturnError | None:
    """What the pushes of one set-up read more than the push before, where there are no
    ways back: the creep of a whole cycle, as `return_error` has it.

    None where their levels lie on no line by their order (Student's t), or go so far
    as a stand does that is shifted on purpose.
    """
    middle = statistics.fmean((fit.start + fit.stop) / 2 for _, fit in here.pushes)
    levels = [float(fit.intercept + fit.slope * middle) for _, fit in here.pushes]
    step, error, sure = step_of([levels], SURE_OF_CREEP)
    seen = sure and abs(step) < PRELOAD_MOVED[0]
    return ReturnError(step, 0.0, count, error) if seen else None


def step_of(
    set_ups: Sequence[Sequence[float]], confidence: float
) -> tuple[float, float, bool]:
    """By what a number goes on from pass to pass, alike in all set-ups; the standard
    error of that, and whether it is no luck (least squares, Student's t)."""
    lines = [values for values in set_ups if len(values) >= FEWEST_LEVELS]
    freedom = sum(len(values) - 2 for values in lines)
    if not freedom:
        return 0.0, 0.0, False
    # places in the order less their middle, and the number at each
    pairs = [
        (k - (len(values) - 1) / 2, value - statistics.fmean(values))
        for values in lines
        for k, value in enumerate(values)
    ]
    spread = sum(k * k for k, _ in pairs)
    step = sum(k * value for k, value in pairs) / spread
    left = math.hypot(*(value - step * k for k, value in pairs))
    error = left / math.sqrt(freedom * spread)
    return step, error, t_quantile(confidence, freedom) * error < abs(step)


def backlash(pairs: Sequence[tuple[Trace, Trace]], *, count: float) -> float | None:
    """mm by which every pull-back reads otherwise than its push in the middle of the
    stretch, the same each time.

    None with fewer than two cycles, where it is within two counts, or where it scatters
    as play does (95 %, Student's t).
    """
    middle = ((1 - MIDDLE_SHARE) / 2, (1 + MIDDLE_SHARE) / 2)
    apart = [gap for (gap,), _ in _differences_of_pairs(pairs, (middle,))]
    if len(apart) < FEWEST_CYCLES:
        return None
    mean, (error, freedom) = statistics.fmean(apart), _scatter(apart)
    doubt = t_quantile(0.95, freedom) * error
    return mean if abs(mean) > max(doubt, COUNTS_BACK * count) else None


def _differences_of_pairs(
    pairs: Sequence[tuple[Trace, Trace]], shares: Shares
) -> list[tuple[list[float], float]]:
    found = [_differences(push, pull, shares) for push, pull in pairs]
    return [one for one in found if one is not None]


def _scatter(values: Sequence[float]) -> tuple[float, int]:
    """Standard error of their mean, and its degrees of freedom."""
    n = len(values)
    return (statistics.stdev(values) / math.sqrt(n) if n > 1 else 0.0), n - 1


def return_remarks(placed: Sequence[PlacementFit]) -> list[Remark]:
    """Remarks on the return error and on what it means for the answer."""
    if not are_opposed(placed):
        lefts = [
            (p.name, p.return_error.left) for p in placed if p.return_error is not None
        ]
        seen = [(name, left) for name, left in lefts if left is not None]
        unseen = [p.name for p in placed if not p.pulls and len(p.pushes) < ENOUGH]
        if unseen and not seen:
            return [note("creep-unseen", unseen[0])]
        return [warning("return-error", name, error=left) for name, left in seen]
    apart = _split(placed)
    told = []
    if apart.common is not None:
        told.append(warning("return-crept", error=apart.common))
    if apart.unequal is not None:
        told.append(warning("return-unequal", error=apart.unequal))
    elif apart.alternating is not None:
        length = statistics.fmean(p.length for p in placed)
        told.append(note("return-turned", turned=apart.alternating / length))
    return told


def _split(placed: Sequence[PlacementFit]) -> SplitReturnError:
    return split_return_errors(placed[0].return_error, placed[1].return_error)


def return_row(
    placed: Sequence[PlacementFit],
    length: float,
    weights: Sequence[float],
    *,
    common: bool,
) -> Part | None:
    """The row of the return error. Opposed set-ups: in the fence (common) only what may
    have crept in one of them, in the square all that crept; each in the size that is
    likely, for creep that the scatter hides biases all the same."""
    if not are_opposed(placed):
        lefts = [p.return_error.left for p in placed if p.return_error is not None]
        worst = max((left for left in lefts if left is not None), default=None)
        return closure(worst, length, weights)
    apart = _split(placed)
    likely = apart.likely_unequal if common else apart.likely_common
    return closure(likely or None, length)

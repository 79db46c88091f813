"""Whether the reading came back: push and pull-back over the same places, less what
play can do.

A stand that was bumped, that creeps or warms up reads otherwise when the sled is drawn
back to where it began. So does a sled that shifts in its slots, and it does so every
time. Held otherwise on the way back, sideways, it shifts the whole pull-back and is
taken out here; yawed otherwise, it turns it, by no more than the play and differently
each time. What is left above that is closure. What shifts every pull-back alike is lost
motion or lag. Lengths in mm.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence

from bench.checks.model import Trace

END = 0.1  # share of the stretch that counts as its end
MIDDLE = 0.3  # share of the stretch that counts as its middle
FEWEST = 2  # readings there
BACK = 2  # counts within which a reading has come back; common practice, no source
# rad, of yaw, where a single cycle shows no scatter; common practice, no source
UNSEEN_PLAY = 100e-6


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


def gap(push: Trace, pull: Trace) -> tuple[float, float] | None:
    """mm by which the pull-back reads otherwise at the near end than at the far end,
    and the stretch in mm.

    Medians of both over the same tenth, each freed of its own slope there by the order
    of places; None where they do not share enough.
    """
    low = max(min(push.travel), min(pull.travel))
    high = min(max(push.travel), max(pull.travel))
    reach = high - low
    if reach <= 0:
        return None
    ends = []
    for begin, end in ((low, low + END * reach), (high - END * reach, high)):
        there = _at(push, begin, end)
        back = _at(pull, begin, end)
        if there is None or back is None:
            return None
        ends.append(
            (back[1] - there[1]) - (back[0] - there[0]) * _slope(push, low, high)
        )
    return ends[0] - ends[1], reach


def out_and_back(
    pairs: Sequence[tuple[Trace, Trace]], *, count: float, yaw_play: float | None = None
) -> float | None:
    """mm that the reading did not come back by, beyond what play explains; None where
    play explains it all.

    yaw_play: rad, full swing, where known: at most that turns a pull-back against its
    push. Where it is not, the scatter between cycles stands for it (95 %, Student's t),
    or 100 urad with a single cycle.
    """
    from bench.uncertainty import t_quantile

    seen = [found for push, pull in pairs if (found := gap(push, pull)) is not None]
    if not seen:
        return None
    gaps = [g for g, _ in seen]
    length = statistics.fmean(reach for _, reach in seen)
    if len(gaps) > 1:
        error = statistics.stdev(gaps) / math.sqrt(len(gaps))
        allowed = t_quantile(0.95, len(gaps) - 1) * error
    else:
        allowed = UNSEEN_PLAY * length
    if yaw_play is not None:
        allowed = (
            max(allowed, yaw_play * length) if len(gaps) > 1 else yaw_play * length
        )
    left = abs(statistics.fmean(gaps)) - allowed
    return left if left > BACK * count else None


def lost_motion(pairs: Sequence[tuple[Trace, Trace]], *, count: float) -> float | None:
    """mm by which every pull-back reads otherwise than its push in the middle of the
    stretch, the same each time.

    None with fewer than two cycles, where it is within two counts, or where it scatters
    as play does (95 %, Student's t).
    """
    from bench.uncertainty import t_quantile

    seen = []
    for push, pull in pairs:
        low = max(min(push.travel), min(pull.travel))
        high = min(max(push.travel), max(pull.travel))
        middle, reach = (low + high) / 2, MIDDLE * (high - low) / 2
        there, back = (
            _at(push, middle - reach, middle + reach),
            _at(pull, middle - reach, middle + reach),
        )
        if reach > 0 and there is not None and back is not None:
            seen.append(
                back[1] - there[1] - (back[0] - there[0]) * _slope(push, low, high)
            )
    if len(seen) < FEWEST:
        return None
    mean = statistics.fmean(seen)
    doubt = (
        t_quantile(0.95, len(seen) - 1) * statistics.stdev(seen) / math.sqrt(len(seen))
    )
    return mean if abs(mean) > max(doubt, BACK * count) else None


def _at(trace: Trace, begin: float, end: float) -> tuple[float, float] | None:
    """Median place and reading within that stretch."""
    inside = [
        (s, r)
        for s, r in zip(trace.travel, trace.reading, strict=True)
        if begin - 1e-9 <= s <= end + 1e-9
    ]
    if len(inside) < FEWEST:
        return None
    return statistics.median(s for s, _ in inside), statistics.median(
        r for _, r in inside
    )


def _slope(trace: Trace, low: float, high: float) -> float:
    ends = [
        _at(trace, a, b)
        for a, b in ((low, low + (high - low) / 4), (high - (high - low) / 4, high))
    ]
    first, last = ends
    if first is None or last is None or last[0] == first[0]:
        return 0.0
    return (last[1] - first[1]) / (last[0] - first[0])

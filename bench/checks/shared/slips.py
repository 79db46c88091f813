"""Slips of hands and of writing down that the passes themselves show, each as a
remark.

A pass the wrong way first, inches in a column of mm, a push that was hardly one, a push
that stands apart from its fellows, leans that deny the side or do not agree. Pure.
Lengths in mm, slopes in rad.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence

from bench.checks.model import Evidence, Lean, Step, Trace
from bench.checks.shared.traces import as_shown, reach
from bench.finding import Doubt, Remark, doubt, warning

SHARE_OF_LONGEST = (
    # a push under this share of the longest at its set-up is none; common practice, no
    # source
    0.70
)
SHORT = 100.0  # mm, of all pushes; common practice, no source
BETTER = 150.0  # mm of travel from which a pass tells enough; common practice
HANDLING = 30.0  # mm: below it is no pass, and `doubts` says so
APART = 120e-6  # rad: beyond what seats and hands do, common practice, no source
TIMES_APART = 5.0  # the spread of the other pushes
# mm; no blade and no sled that is used shifts or swings so far; common practice, no
# source
SAME_SPOT = 1.0
# counts that a plunger that sticks jumps at least; common practice, no source
STICKS = 6
LEAST_PLAY = 0.01  # mm; less is not compared


def too_short(traces: Sequence[Trace]) -> list[Trace]:
    """Pushes of one placement that cover too little of what its longest covers."""
    pushes = [trace for trace in traces if trace.push and trace.travel]
    if not pushes:
        return []
    longest = max(reach(trace) for trace in pushes)
    return [trace for trace in pushes if reach(trace) < SHARE_OF_LONGEST * longest]


def short_pushes(lengths: Sequence[float]) -> list[Remark]:
    """Pushes of a few centimetres."""
    if not lengths or not HANDLING <= max(lengths) < SHORT:
        return []
    return [warning("short", length=max(lengths), better=BETTER)]


def too_fine(evidence: Evidence) -> list[Remark]:
    """Swept readings finer than the instrument that was declared: means, or perhaps
    another unit. Where a display stands behind them it is a doubt (see `doubts`), and
    not said here."""
    import numpy as np

    from bench.geometry.cells import count_seen

    declared = evidence.gear.indicator.resolution
    remarks: list[Remark] = []
    for name in dict.fromkeys(trace.placement for trace in evidence.traces):
        some = [
            t
            for t in evidence.traces
            if t.placement == name and t.push and len(set(t.travel)) > 16
        ]
        values = np.array([r for t in some for r in t.reading], dtype=np.float64)
        if (
            declared is None
            or np.unique(values).size < 3
            or (count := count_seen(values)) >= declared / 5
        ):
            continue
        if count == 0 or (evidence.alive is None and not as_shown(some, count)):
            remarks.append(warning("grid-finer", name, declared=declared))
    return remarks


def sticking(placement: str, traces: Sequence[Trace], count: float) -> list[Remark]:
    """A plunger that stands and jumps, always the same way: a staircase under a
    line."""
    stairs = [t for t in traces if _is_staircase(t.reading, count)]
    if 2 * len(stairs) <= len(traces):
        return []
    return [warning("sticks", placement)]


def _is_staircase(reading: Sequence[float], count: float) -> bool:
    import numpy as np

    steps = np.diff(np.asarray(reading, dtype=np.float64))
    far = np.abs(steps)
    jumps = steps[far >= STICKS * count]
    stands = int(np.count_nonzero(far < count / 2))
    return bool(
        jumps.size >= 2
        and (jumps.min() > 0 or jumps.max() < 0)
        and 2 * stands >= steps.size
        and stands + jumps.size >= 0.9 * steps.size
    )


def uneven_spots(spots: Mapping[str, Sequence[float]]) -> list[Doubt]:
    """Readings by the set-up they were taken in, mm: farther apart than anything at a
    saw moves there."""
    read = {name: values for name, values in spots.items() if values}
    if not read:
        return []
    wide = {name: max(values) - min(values) for name, values in read.items()}
    name = max(wide, key=lambda n: wide[n])
    if wide[name] > SAME_SPOT:
        return [doubt("spread", name, apart=wide[name])]
    means = [statistics.fmean(values) for values in read.values()]
    if (apart := max(means) - min(means)) > SAME_SPOT:
        return [doubt("set-ups-apart", apart=apart)]
    return []


def push_apart(
    placement: str, rotations: Sequence[float], names: Sequence[str]
) -> list[Remark]:
    """One push that stands apart from two or more that agree."""
    if len(rotations) < 3:
        return []
    middle = statistics.median(rotations)
    odd = max(range(len(rotations)), key=lambda i: abs(rotations[i] - middle))
    others = [b for i, b in enumerate(rotations) if i != odd]
    away = min(abs(rotations[odd] - b) for b in others)
    if away <= max(APART, TIMES_APART * (max(others) - min(others))):
        return []
    return [warning("pass-apart", placement, names[odd], apart=float(away))]


def side_proved(evidence: Evidence, steps: Sequence[Step]) -> bool:
    """Whether leaning showed in every set-up on which side the indicator stood; a lean
    without play shows nothing."""
    seen = {lean.placement for lean in evidence.leans if lean_seen(evidence, lean)}
    return all(step.placement in seen for step in steps)


def lean_seen(evidence: Evidence, lean: Lean) -> bool:
    """Whether leaning moved the reading by more than its counts do."""
    return (
        abs(lean.right - lean.left)
        >= 3 * (evidence.gear.indicator.resolution or 0.001) - 1e-9
    )


def denied_sides(evidence: Evidence, steps: Sequence[Step]) -> list[Doubt]:
    """Leans that deny the side taken as said."""
    doubts = []
    by_name: Mapping[str, Step] = {step.placement: step for step in steps}
    for lean in evidence.leans:
        step = by_name.get(lean.placement)
        if step is None or not lean_seen(evidence, lean):
            continue
        # a standing indicator on the right is pushed in as the sled goes right; a
        # carried one goes with it
        right = (lean.right > lean.left) != (step.mount == "carried")
        if right != (step.side == "right"):
            doubts.append(doubt("lean", lean.placement, right=float(right)))
    return doubts


def of_leans(evidence: Evidence, steps: Sequence[Step]) -> list[Remark]:
    """Leans that see half the play in one set-up that they saw in another."""
    by_name: Mapping[str, Step] = {step.placement: step for step in steps}
    play: dict[str, float] = {}
    for lean in evidence.leans:
        step = by_name.get(lean.placement)
        change = lean.right - lean.left
        if step is None or not lean_seen(evidence, lean):
            continue
        play[lean.placement] = abs(change)
    if len(play) < 2 or max(play.values()) <= 2 * min(play.values()) + LEAST_PLAY:
        return []
    low, high = min(play, key=lambda n: play[n]), max(play, key=lambda n: play[n])
    return [
        warning("leans-differ", low=low, less=play[low], high=high, more=play[high])
    ]

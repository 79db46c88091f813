"""Slips of hands and of writing down that the passes themselves show, each as a sentence for a person.

A pass the wrong way first, inches in a column of mm, a push that was hardly one, a push
that stands apart from its fellows, leans that deny the side or do not agree. Pure.
Lengths in mm, slopes in rad.
"""

from __future__ import annotations

import statistics
from collections.abc import Mapping, Sequence

from bench.checks.model import Evidence, Lean, Step, Trace
from bench.checks.shared.stretch import travel_span

SHARE_OF_LONGEST = (
    0.70  # a push under this share of the longest at its set-up is none; common practice, no source
)
SHORT = 100.0  # mm, of all pushes; common practice, no source
APART = 120e-6  # rad: beyond what seats and hands do, common practice, no source
TIMES_APART = 5.0  # the spread of the other pushes
INCH = 25.4
OF_INCHES = 2e-5, 9e-5  # a count shown in inches (0.00005 in) taken for mm; no mm indicator counts so finely
SAME_SPOT = 1.0  # mm; no blade and no sled that is used shifts or swings so far; common practice, no source
STICKS = 6  # counts that a plunger that sticks jumps at least; common practice, no source
SWEPT_PLACES = 17  # of more places than marks have; at marks a reading is a mean and lies on no grid
LEAST_PLAY = 0.01  # mm; less is not compared


def too_short(traces: Sequence[Trace]) -> list[Trace]:
    """Pushes of one placement that cover too little of what its longest covers."""
    pushes = [trace for trace in traces if trace.push and trace.travel]
    if not pushes:
        return []
    longest = max(_reach(trace) for trace in pushes)
    return [trace for trace in pushes if _reach(trace) < SHARE_OF_LONGEST * longest]


def began_backwards(placement: str, traces: Sequence[Trace]) -> list[str]:
    """A push comes before its pull-back: where none does, the travel may count the other way round."""
    if not traces or traces[0].push:
        return []
    return [
        f"At {placement} a pass toward you comes first: where that one was the push, the travel counts the other "
        f"way round than the settings say (grows), and the answer is out the other way."
    ]


def of_units(evidence: Evidence, lengths: Sequence[float]) -> list[str]:
    """Readings on another grid than the instrument's, set-ups on two grids, pushes of a few millimetres."""
    import numpy as np

    from bench.geometry.cells import count_seen

    notes: list[str] = []
    declared = evidence.gear.indicator.resolution
    seen: dict[str, float] = {}
    for name in dict.fromkeys(trace.placement for trace in evidence.traces):
        some = [t for t in evidence.traces if t.placement == name and t.push]
        values = np.concatenate([np.asarray(t.reading, dtype=np.float64) for t in some] or [np.empty(0)])
        different = np.unique(values).size
        if different == 1:
            notes.append(
                f"At {name} the reading did not change by a single count: does the tip touch, is the plunger free and the "
                f"display not on hold? Press the plunger once and see."
            )
        if different < 3:
            continue
        swept = any(np.unique(t.travel).size >= SWEPT_PLACES for t in some)
        count = float(count_seen(values))
        many = different >= 8  # a few may lie on a coarser grid by luck, never on a finer one
        if count > 0 and many:
            seen[name] = count
        if OF_INCHES[0] <= count <= OF_INCHES[1] and (declared is None or declared > count):
            notes.append(
                f"At {name} the readings lie on a grid of {count:g} mm, finer than any indicator at a bench shows: are "
                f"they in the unit that their column says, inches or mm?"
            )
            continue
        if declared is None:
            continue
        # at marks a reading may be a mean, which lies on no grid or on that of its last decimal
        finer = count < declared / 5 and (swept or count > OF_INCHES[1])
        coarser = many and count > 0 and 0.8 * INCH < count / declared < 1.25 * INCH
        if finer or coarser:
            notes.append(
                f"At {name} the readings lie on a grid {'finer' if finer else 'coarser'} than the {declared:g} mm that "
                f"the settings give the indicator: are they in the unit that their column says, inches or mm?"
            )
    if declared is None and seen and max(seen.values()) > 10 * min(seen.values()):
        notes.append(
            "The set-ups were read in steps of "
            + " and ".join(f"{count:g} mm at {name}" for name, count in seen.items())
            + ": were some read in inches?"
        )
    if lengths and max(lengths) < SHORT:
        notes.append(
            f"The pushes cover no more than {max(lengths):.0f} mm: 150 mm at least would tell more. Is the travel in the "
            f"unit that its column says?"
        )
    return notes


def sticking(placement: str, traces: Sequence[Trace], count: float) -> list[str]:
    """A plunger that stands and jumps, always the same way: a staircase under a line."""
    stairs = [t for t in traces if _is_staircase(t.reading, count)]
    if 2 * len(stairs) <= len(traces):
        return []
    return [
        f"At {placement} the reading stands still and then jumps, again and again: a plunger that sticks, or a tip "
        f"that catches. Free it, for a drag bends the answer toward no slope at all."
    ]


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


def uneven_spots(spots: Mapping[str, Sequence[float]]) -> list[str]:
    """Readings by the set-up they were taken in, mm: farther apart than anything at a saw moves there."""
    read = {name: values for name, values in spots.items() if values}
    if not read:
        return []
    wide = {name: max(values) - min(values) for name, values in read.items()}
    name = max(wide, key=lambda n: wide[n])
    if wide[name] > SAME_SPOT:
        return [
            f"The readings at {name} lie up to {wide[name]:.3f} mm apart: was one misread, or read in the other unit, "
            f"inches or mm? Then nothing here holds; take them again."
        ]
    means = [statistics.fmean(values) for values in read.values()]
    if (apart := max(means) - min(means)) > SAME_SPOT:
        return [
            f"The set-ups read {apart:.3f} mm apart, more than a blade or a sled at work: was zero pressed between "
            f"them, the stand moved, or one read in inches? Take them again."
        ]
    return []


def push_apart(placement: str, rotations: Sequence[float], names: Sequence[str]) -> list[str]:
    """One push that stands apart from two or more that agree."""
    if len(rotations) < 3:
        return []
    middle = statistics.median(rotations)
    odd = max(range(len(rotations)), key=lambda i: abs(rotations[i] - middle))
    others = [b for i, b in enumerate(rotations) if i != odd]
    away = min(abs(rotations[odd] - b) for b in others)
    if away <= max(APART, TIMES_APART * (max(others) - min(others))):
        return []
    return [
        f"The push {names[odd]} at {placement} stands {away * 300:.3f} mm per 300 mm apart from the others: was all "
        f"seated and held as for them? It counts all the same; take it again where something was in the way."
    ]


def side_proved(evidence: Evidence, steps: Sequence[Step]) -> bool:
    """Whether leaning showed in every set-up on which side the indicator stood; a lean without play shows nothing."""
    seen = {lean.placement for lean in evidence.leans if lean_seen(evidence, lean)}
    return all(step.placement in seen for step in steps)


def lean_seen(evidence: Evidence, lean: Lean) -> bool:
    """Whether leaning moved the reading by more than its counts do."""
    return abs(lean.right - lean.left) >= 3 * (evidence.gear.indicator.resolution or 0.001) - 1e-9


def of_leans(evidence: Evidence, steps: Sequence[Step]) -> list[str]:
    """Leans that deny the side taken as said, or see half the play in one set-up that they saw in another."""
    notes: list[str] = []
    by_name: Mapping[str, Step] = {step.placement: step for step in steps}
    play: dict[str, float] = {}
    for lean in evidence.leans:
        step = by_name.get(lean.placement)
        change = lean.right - lean.left
        if step is None or not lean_seen(evidence, lean):
            continue
        play[lean.placement] = abs(change)
        # a standing indicator on the right is pushed in as the sled goes right; a carried one goes with it
        right = (change > 0) != (step.mount == "carried")
        if right != (step.side == "right"):
            notes.append(
                f"Leaning the sled at {lean.placement} says that the indicator stood on the "
                f"{'right' if right else 'left'}, not on the {step.side} as was said: do not trust the way."
            )
    if len(play) > 1 and max(play.values()) > 2 * min(play.values()) + LEAST_PLAY:
        least, most = min(play, key=lambda n: play[n]), max(play, key=lambda n: play[n])
        notes.append(
            f"Leaned at {least} the sled showed {play[least]:.3f} mm of play, at {most} {play[most]:.3f} mm: half of "
            f"it or more is unaccounted for. Was it pressed right to both walls, was something in the slot?"
        )
    return notes


def _reach(trace: Trace) -> float:
    low, high = travel_span(trace.travel)
    return high - low

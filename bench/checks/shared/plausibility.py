"""Plausibility of evidence: mistakes of handling and of writing down that the passes
and widths themselves show, as remarks and doubts.

A pass the wrong way first, inches in a column of mm, a push that was hardly one, a push
that stands apart from the others, leans that deny the side or do not agree; of caliper
widths inches among millimetres, a misread digit, another thing measured. Pure. Lengths
in mm, slopes in rad.
"""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence

from bench.checks.model import Evidence, LeanTest, Step, Trace
from bench.checks.shared.traces import as_shown, grid_of, reach, spread_of, travel_span
from bench.finding import Doubt, Remark, doubt, refusal, warning
from bench.units import INCH

# a push under this share of the longest at its set-up is none; common practice, no
# source
SHARE_OF_LONGEST = 0.70
# of the longest, that a push may leave out at either end of what the others cover; a
# bow of 0.02 mm turns the line of what is left by a tenth of a usual limit; common
# practice, no source
SHARE_LEFT_OUT = 0.1
FACE_LEFT_OUT = 45.0  # mm, where form is asked for: what is averaged along a face
SHORT_PUSH = 100.0  # mm, of all pushes; common practice, no source
BETTER_LENGTH = 150.0  # mm of travel from which a pass tells enough; common practice
HANDLING = 30.0  # mm: below it is no pass, and `doubts` says so
PASS_APART = 120e-6  # rad: beyond what seats and hands do, common practice, no source
TIMES_APART = 5.0  # the spread of the other pushes
# mm; no blade and no sled that is used shifts or swings so far; common practice, no
# source
SAME_SPOT = 1.0
# counts that a plunger that sticks jumps at least; common practice, no source
STICKING_COUNTS = 6
LEAST_PLAY = 0.01  # mm; less is not compared
NEAR_AN_INCH = 0.15  # of that ratio: no slot is that much wider than its runner
THINNEST = 5.0  # mm: no runner and no strip is as thin
# mm off the others of its kind; no slot or runner that is used varies so; common
# practice, no source
ODD_WIDTH = 0.5
# mm: widths of one end farther apart, or a strip that tapers more, were perhaps
# misread; common practice, no source
WIDTHS_APART, MUCH_TAPER = 0.1, 3.0
# mm between a slot and its runner that were made for each other; common practice, no
# source
SLOT_TO_RUNNER = 1.0


def incomplete_passes(
    traces: Sequence[Trace], *, face: bool = False, latest: Trace | None = None
) -> dict[int, Remark]:
    """The reasons to refuse pushes over one surface, by `id`: they cover too little of
    what the longest covers, or leave out a part that the others cover. Used with them,
    such a push would shorten the stretch of all. face: whether form is asked for, not a
    line. latest: the push that is judged by those before it alone."""
    pushes = [trace for trace in traces if trace.travel]
    longest = max(map(reach, pushes), default=0.0)
    short = [t for t in pushes if reach(t) < SHARE_OF_LONGEST * longest]
    refused = {
        id(t): refusal("pass-short", covered=reach(t), share=SHARE_OF_LONGEST)
        for t in short
    }
    spans = {id(t): travel_span(t.travel) for t in pushes if id(t) not in refused}
    if not spans:
        return refused
    before = [span for key, span in spans.items() if key != id(latest)] or [
        *spans.values()
    ]
    begins, ends = map(statistics.median, zip(*before, strict=True))
    allowed = min(FACE_LEFT_OUT if face else math.inf, SHARE_LEFT_OUT * longest)
    others = {"began": begins, "ended": ends}
    elsewhere = {
        key: refusal("pass-elsewhere", **{"from": low, "to": high}, **others)
        for key, (low, high) in spans.items()
        if low > begins + allowed or high < ends - allowed
    }
    # where each leaves out a part, none of them says which one is wrong
    return refused | (elsewhere if len(elsewhere) < len(spans) else {})


def short_pass_remarks(lengths: Sequence[float]) -> list[Remark]:
    """Pushes of a few centimetres."""
    if not lengths or not HANDLING <= max(lengths) < SHORT_PUSH:
        return []
    return [warning("short", length=max(lengths), better=BETTER_LENGTH)]


def grid_remarks(evidence: Evidence) -> list[Remark]:
    """Swept readings finer than the instrument that was declared: means, or perhaps
    another unit. Where a display stands behind them it is a doubt (see `doubts`), and
    not said here."""
    declared = evidence.gear.indicator.resolution
    remarks: list[Remark] = []
    for name in evidence.placements:
        swept = (t for t in evidence.at(name) if len(set(t.travel)) > 16)
        some = [t for t in swept if t.push]
        values = {r for t in some for r in t.reading}
        if declared is None or len(values) < 3:
            continue
        if (count := grid_of(values)) >= declared / 5:
            continue
        if count == 0 or (evidence.alive is None and not as_shown(some, count)):
            remarks.append(warning("grid-finer", name, declared=declared))
    return remarks


def sticking_remarks(
    placement: str, traces: Sequence[Trace], count: float
) -> list[Remark]:
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
    jumps = steps[far >= STICKING_COUNTS * count]
    stands = int(np.count_nonzero(far < count / 2))
    return bool(
        jumps.size >= 2
        and (jumps.min() > 0 or jumps.max() < 0)
        and 2 * stands >= steps.size
        and stands + jumps.size >= 0.9 * steps.size
    )


def spot_doubts(spots: Mapping[str, Sequence[float]]) -> list[Doubt]:
    """Readings by the set-up they were taken in, mm: farther apart than anything at a
    saw moves there."""
    read = {name: values for name, values in spots.items() if values}
    if not read:
        return []
    wide = {name: spread_of(values) for name, values in read.items()}
    name = max(wide, key=lambda n: wide[n])
    if wide[name] > SAME_SPOT:
        return [doubt("spread", name, apart=wide[name])]
    means = [statistics.fmean(values) for values in read.values()]
    if (apart := spread_of(means)) > SAME_SPOT:
        return [doubt("set-ups-apart", apart=apart)]
    return []


def outlying_pass_remarks(
    placement: str, rotations: Sequence[float], names: Sequence[str]
) -> list[Remark]:
    """One push that stands apart from two or more that agree."""
    if len(rotations) < 3:
        return []
    middle = statistics.median(rotations)
    odd = max(range(len(rotations)), key=lambda i: abs(rotations[i] - middle))
    others = [b for i, b in enumerate(rotations) if i != odd]
    away = min(abs(rotations[odd] - b) for b in others)
    if away <= max(PASS_APART, TIMES_APART * spread_of(others)):
        return []
    return [warning("pass-apart", placement, names[odd], apart=float(away))]


def side_proved(evidence: Evidence, steps: Sequence[Step]) -> bool:
    """Whether leaning showed in every set-up on which side the indicator stood; a lean
    without play shows nothing."""
    seen = {lean.placement for lean, _ in _visible_leans(evidence, steps)}
    return all(step.placement in seen for step in steps)


def _visible_leans(
    evidence: Evidence, steps: Sequence[Step]
) -> list[tuple[LeanTest, Step]]:
    """The leans that moved the reading, each with its set-up."""
    by_name = {step.placement: step for step in steps}
    there = [lean for lean in evidence.leans if lean.placement in by_name]
    return [(n, by_name[n.placement]) for n in there if lean_is_visible(evidence, n)]


def lean_is_visible(evidence: Evidence, lean: LeanTest) -> bool:
    """Whether leaning moved the reading by more than its counts do."""
    return (
        abs(lean.right - lean.left)
        >= 3 * (evidence.gear.indicator.resolution or 0.001) - 1e-9
    )


def side_doubts(evidence: Evidence, steps: Sequence[Step]) -> list[Doubt]:
    """Leans that deny the side taken as said."""
    doubts = []
    for lean, step in _visible_leans(evidence, steps):
        # a standing indicator on the right is pushed in as the sled goes right; a
        # carried one goes with it
        right = (lean.right > lean.left) != (step.mount == "carried")
        if right != (step.side == "right"):
            doubts.append(doubt("lean", lean.placement, right=float(right)))
    return doubts


def lean_remarks(evidence: Evidence, steps: Sequence[Step]) -> list[Remark]:
    """Leans that see half the play in one set-up that they saw in another."""
    seen = [lean for lean, _ in _visible_leans(evidence, steps)]
    play = {lean.placement: abs(lean.right - lean.left) for lean in seen}
    if len(play) < 2 or max(play.values()) <= 2 * min(play.values()) + LEAST_PLAY:
        return []
    low, high = min(play, key=lambda n: play[n]), max(play, key=lambda n: play[n])
    return [
        warning("leans-differ", low=low, less=play[low], high=high, more=play[high])
    ]


def thin_width_doubts(widths: Sequence[float]) -> list[Doubt]:
    """All of them so small that they are inches rather than mm."""
    if not widths or max(widths) >= THINNEST:
        return []
    return [doubt("thin", least=min(widths), most=max(widths))]


def mixed_unit_doubts(
    one: str, first: Sequence[float], other: str, second: Sequence[float]
) -> list[Doubt]:
    """One of them about 25.4 times the other."""
    a, b = statistics.median(first), statistics.median(second)
    ratio = max(a, b) / min(a, b)
    if abs(math.log(ratio / INCH)) > NEAR_AN_INCH:
        return []
    less = one if a < b else other
    return [doubt("mixed", less, least=min(a, b), most=max(a, b))]


def odd_width_remark(
    name: str, at: Sequence[float], widths: Sequence[float]
) -> Remark | None:
    """The one that stands farthest from the middle of its kind, where there are three
    at least."""
    if len(widths) < 3:
        return None
    middle = statistics.median(widths)
    worst = max(range(len(widths)), key=lambda k: abs(widths[k] - middle))
    if abs(widths[worst] - middle) <= ODD_WIDTH:
        return None
    return warning("width-odd", name, at=at[worst], width=widths[worst], others=middle)


def width_problems(
    read: Mapping[str, tuple[Sequence[float], Sequence[float]]],
) -> tuple[list[Doubt], list[Remark]]:
    """Doubts and remarks about slots, runners and spacings by their names, (stations,
    widths) each; none where all is well."""
    widths = [
        w for name, (_, column) in read.items() if "spacing" not in name for w in column
    ]
    if all_thin := thin_width_doubts(widths):
        return all_thin, []
    remarks: list[Remark | None] = []
    doubts: list[Doubt] = []
    for side in ("left", "right", "spacing"):
        slot, runner = (read.get(f"{what}-{side}") for what in ("slot", "runner"))
        if slot is None or runner is None:
            continue
        names = (f"slot-{side}", f"runner-{side}")
        inches = mixed_unit_doubts(names[0], slot[1], names[1], runner[1])
        doubts += inches
        gap = abs(statistics.median(slot[1]) - statistics.median(runner[1]))
        if not inches and gap > SLOT_TO_RUNNER:
            remarks.append(
                warning("slot-far-from-runner", slot=names[0], runner=names[1], gap=gap)
            )
        remarks += [
            odd_width_remark(name, *column)
            for name, column in zip(names, (slot, runner), strict=True)
        ]
    return doubts, [remark for remark in remarks if remark is not None]


def strip_doubts(near: Sequence[float], far: Sequence[float]) -> list[Doubt]:
    """Doubts about the two ends of a strip."""
    return thin_width_doubts([*near, *far]) or mixed_unit_doubts(
        "the near end", near, "the far end", far
    )


def strip_remarks(
    near: Sequence[float], far: Sequence[float], expanded: float
) -> list[Remark]:
    """Remarks where the widths of a strip's two ends contradict each other. expanded:
    give or take of their difference, mm."""
    remarks = []
    for end, widths in (("near", near), ("far", far)):
        if (apart := spread_of(widths)) > WIDTHS_APART:
            remarks.append(warning("widths-differ", end=end, apart=apart))
    taper = abs(sum(near) / len(near) - sum(far) / len(far))
    if taper > max(MUCH_TAPER, 5 * expanded):
        remarks.append(warning("much-taper", taper=taper))
    return remarks

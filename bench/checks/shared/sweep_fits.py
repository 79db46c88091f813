"""The passes of a swept check: fitted, collected by placement, and turned into the rows
of a budget.

Lengths in mm, slopes and rotations in rad.
"""

from __future__ import annotations

import dataclasses
import math
import statistics
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import TYPE_CHECKING

import msgspec

from bench.checks.model import Evidence, Step, Trace
from bench.checks.options import given_number
from bench.checks.shared.placement_fit import (
    Form,
    PlacementFit,
    form_of,
    form_remarks,
    form_row,
    set_up_sizes,
    stretch_row,
    turn_factor,
)
from bench.checks.shared.plausibility import (
    grid_remarks,
    incomplete_passes,
    lean_remarks,
    outlying_pass_remarks,
    short_pass_remarks,
    sticking_remarks,
)
from bench.checks.shared.results import direction_rows, instrument_rows
from bench.checks.shared.return_error import (
    backlash,
    creep_error,
    cycles,
    return_error,
    return_remarks,
    return_row,
)
from bench.checks.shared.traces import count_of_sweeps, in_common, spread_of
from bench.finding import EvidenceError, Remark, SweepRow, note, warning
from bench.uncertainty.budget import Part, contact_away, reading_age, seat

if TYPE_CHECKING:
    from bench.geometry.line_fit import SweepFit


# options that say how far from the teeth the indicator touches, and what that matters
TOUCHED_AWAY = ("touch_away", "slot_straight", "runner_length")


def fit_placements(
    evidence: Evidence,
    steps: Sequence[Step],
    remarks: list[Remark],
    shifts: Mapping[str, float] = {},
) -> tuple[list[PlacementFit], list[SweepRow]]:
    """Fit every sweep. Raises EvidenceError where a placement is left without a push
    that can be used. shifts: see `in_common`."""
    refused: dict[int, Remark] = {}
    for step in steps:
        refused |= incomplete_passes([t for t in evidence.at(step.placement) if t.push])
    usable = [t for t in evidence.traces if id(t) not in refused]
    shared = in_common(usable, remarks, shifts)
    placed: list[PlacementFit] = []
    rows: list[SweepRow] = []
    for step in steps:
        by = shifts.get(step.placement, 0.0)
        stretch = None if shared is None else (shared[0] - by, shared[1] - by)
        here, of_passes = _fit_placement(evidence, step, stretch, refused, remarks)
        placed.append(here)
        rows += of_passes
    late = _latency_remarks(evidence, placed)
    remarks.extend(late)
    for here in placed:
        _add_return_error(here, evidence, remarks, late=bool(late))
    returned = return_remarks(placed)
    if any(remark.code == "return-turned" for remark in returned):  # says why
        remarks[:] = [remark for remark in remarks if remark.code != "ways-apart"]
    remarks.extend(returned)
    remarks.extend(form_remarks(placed))
    remarks.extend(grid_remarks(evidence))
    remarks.extend(short_pass_remarks([p.length for p in placed]))
    remarks.extend(lean_remarks(evidence, steps))
    return placed, rows


def _fit_placement(
    evidence: Evidence,
    step: Step,
    stretch: tuple[float, float] | None,
    refused: Mapping[int, Remark],
    remarks: list[Remark],
) -> tuple[PlacementFit, list[SweepRow]]:
    """The passes of one placement, fitted over a stretch of their own travel. refused:
    see `incomplete_passes`."""
    assert step.mount is not None and step.side is not None
    traces = evidence.at(step.placement)
    count = count_of_sweeps(evidence)
    here = PlacementFit(step.placement, turn_factor(step.mount, step.side))

    def fitted(form: Form | None) -> list[SweepFit]:
        return [
            _fit(t, count, stretch if t.push else None, form, refused.get(id(t)))
            for t in traces
        ]

    fits = fitted(None)
    here.form = form_of(traces, fits, stretch)
    if here.form is not None:
        fits = fitted(here.form)
    for number, (trace, fit) in enumerate(zip(traces, fits, strict=True), 1):
        if fit.refused is not None:
            remarks.append(refusal_of(fit.refused, trace, number))
        else:
            (here.pushes if trace.push else here.pulls).append((trace, fit))
    if not here.pushes:
        raise _no_push(step.placement, traces, remarks)
    here.set_ups = set_up_sizes(evidence.traces, [t for t, _ in here.pushes])
    coarsest = max(fit.count for _, fit in here.pushes)
    names = [t.sweep for t, _ in here.pushes]
    remarks.extend(sticking_remarks(step.placement, traces, coarsest))
    remarks.extend(outlying_pass_remarks(step.placement, here.rotations, names))
    _compare_ways(here, remarks)
    return here, [_row(trace, fit) for trace, fit in zip(traces, fits, strict=True)]


def _latency_remarks(
    evidence: Evidence, placed: Sequence[PlacementFit]
) -> list[Remark]:
    """Which instrument comes later than the other, where the ways there and back show
    it."""
    from bench.checks.shared.latency import relative_latency

    pairs = [pair for here in placed for pair in _cycles_of(here, evidence)]
    tau = relative_latency(
        pairs, max(fit.count for here in placed for _, fit in here.pushes)
    )
    if tau is None:
        return []
    which, other = ("indicator", "travel") if tau > 0 else ("travel", "indicator")
    return [warning("late", late=abs(tau), which=which, other=other)]


def _fit(
    trace: Trace,
    count: float | None,
    stretch: tuple[float, float] | None,
    form: Form | None,
    refused: Remark | None,
) -> SweepFit:
    from bench.geometry.line_fit import fit_sweep

    fit = fit_sweep(
        trace.travel,
        trace.reading if form is None else form.taken_off(trace),
        resolution=count,
        at=trace.at,
        stretch=None if refused else stretch,
    )
    if refused is None or fit.refused is not None:
        return fit
    return dataclasses.replace(
        fit, slope=0.0, standard_uncertainty=0.0, refused=refused
    )


def _row(trace: Trace, fit: SweepFit) -> SweepRow:
    return SweepRow(
        trace.placement,
        trace.push,
        fit.readings,
        fit.set_aside,
        float(fit.slope),
        float(fit.standard_uncertainty),
    )


def refusal_of(why: Remark, trace: Trace, number: int) -> Remark:
    """The reason with the pass it is about; number: which of its set-up, for a pass
    without a name."""
    return msgspec.structs.replace(
        why, placement=trace.placement, sweep=trace.sweep or str(number)
    )


def _no_push(
    placement: str, traces: Sequence[Trace], remarks: Sequence[Remark]
) -> EvidenceError:
    what = f"no push at {placement} can be used; it takes at least one"
    if traces and not any(trace.push for trace in traces):
        return EvidenceError(
            f"{what}: in all of them the travel falls; is it declared the way it grows"
            " (away or toward)?"
        )
    return EvidenceError(what, remarks[-1] if remarks else None)


def _compare_ways(here: PlacementFit, remarks: list[Remark]) -> None:
    if not here.pulls:
        return
    ways = [[fit for _, fit in way] for way in (here.pushes, here.pulls)]
    push, pull = (statistics.fmean(fit.slope for fit in fits) for fits in ways)
    noise = math.hypot(
        *(fit.standard_uncertainty / len(fits) for fits in ways for fit in fits)
    )
    if abs(push - pull) > max(5e-5, 4 * noise):
        remarks.append(note("ways-apart", here.name, apart=abs(push - pull)))


def _cycles_of(here: PlacementFit, evidence: Evidence) -> list[tuple[Trace, Trace]]:
    used = {id(trace) for trace, _ in (*here.pushes, *here.pulls)}
    return cycles([trace for trace in evidence.traces if id(trace) in used])


def _add_return_error(
    here: PlacementFit, evidence: Evidence, remarks: list[Remark], *, late: bool
) -> None:
    """late: why the ways back read otherwise is told already."""
    pairs = _cycles_of(here, evidence)
    count = max(fit.count for _, fit in here.pushes)
    play = evidence.known.yaw_play
    here.return_error = (
        return_error(pairs, count=count, yaw_play=play)
        if pairs
        else creep_error(here, count=count)
    )
    if not late and (behind := backlash(pairs, count=count)) is not None:
        remarks.append(note("backlash", here.name, size=abs(behind), rise=behind))


def shared_rows(
    evidence: Evidence,
    placed: Sequence[PlacementFit],
    weights: Sequence[float],
    rotation: float,
    *,
    common: bool,
) -> list[Part | None]:
    """Type B rows of a rotation made of `weights` times the placements' rotations.

    common: whether what biases all placements alike (hold, touching away from the
    teeth) stays in it.
    """
    gear = evidence.gear
    length = statistics.fmean(p.length for p in placed)
    fits = [fit for p in placed for _, fit in p.pushes]
    traces = [trace for p in placed for trace, _ in p.pushes]
    count = max(fit.count for fit in fits)
    spread = statistics.fmean(fit.residual_spread for fit in fits)
    used = statistics.fmean(abs(fit.slope) * (fit.stop - fit.start) for fit in fits)
    moved = all(p.preload_moved for p in placed)
    reseated = all(p.reseated for p in placed)
    rows: list[Part | None] = [
        seat(weights, reseated=reseated, scatter=evidence.known.seat_scatter),
        *instrument_rows(
            evidence, used, length, count, spread, weights, preload_moved=moved
        ),
        reading_age(rotation, gear.indicator.age, _speed_change(traces), length),
        *direction_rows(evidence, rotation),
        return_row(placed, length, weights, common=common),
    ]
    if common:
        lengths = (given_number(evidence.options, name) for name in TOUCHED_AWAY)
        rows += [form_row(placed), stretch_row(placed), contact_away(*lengths)]
    return rows


def pass_sizes(
    placed: Sequence[PlacementFit], longest: float | None
) -> dict[str, float | None]:
    """Sizes that `settle` may change beside the number of passes, mm: their length, up
    to `longest`, and the instrument's count."""
    count = max(fit.count for p in placed for _, fit in p.pushes)
    return {"length": placed[0].length, "longest": longest, "count": count}


def _speed_change(traces: Sequence[Trace]) -> float | None:
    """Largest difference in mm/s between the thirds of a push; None where no times were
    kept."""
    changes = []
    for trace in traces:
        if trace.at is None or len(trace.at) < 9:
            continue
        n = len(trace.at)
        speeds = [
            (trace.travel[j] - trace.travel[i]) / (trace.at[j] - trace.at[i])
            for i, j in pairwise([0, n // 3, 2 * n // 3, n - 1])
            if trace.at[j] > trace.at[i]
        ]
        if len(speeds) > 1:
            changes.append(spread_of(speeds))
    return max(changes, default=None)

"""What the swept checks share: traces to fits, fits to placements, placements to the
rows of a budget.

Lengths in mm, slopes and rotations in rad.
"""

from __future__ import annotations

import dataclasses
import math
import statistics
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING

from bench.checks.model import Evidence, EvidenceError, Step, Trace
from bench.checks.options import given_number
from bench.checks.shared.closure import cycles, lost_motion, out_and_back
from bench.checks.shared.counts import count_of_sweeps
from bench.checks.shared.lateness import later
from bench.checks.shared.lateness import words as late_words
from bench.checks.shared.slips import (
    of_leans,
    push_apart,
    short_pushes,
    sticking,
    too_fine,
    too_short,
)
from bench.checks.shared.stretch import in_common
from bench.finding import SweepRow

if TYPE_CHECKING:
    from bench.geometry.line_fit import SweepFit
    from bench.uncertainty import Group, Part


# mm from one push's level to the next one above it: 0.2 to 0.5 is what is asked for,
# and a pressed zero is more
PRELOAD_MOVED = 0.15, 1.0


@dataclass(slots=True)
class Placed:
    """The sweeps of one placement. `factor` turns dr/ds into the rotation of the
    surface touched."""

    name: str
    factor: float
    pushes: list[tuple[Trace, SweepFit]] = field(default_factory=list)
    pulls: list[tuple[Trace, SweepFit]] = field(default_factory=list)
    # mm that the reading did not come back by, beyond what play explains
    closure: float | None = None

    @property
    def rotation(self) -> float:
        return statistics.fmean(self.rotations)

    @property
    def rotations(self) -> list[float]:
        return [self.factor * float(fit.slope) for _, fit in self.pushes]

    @property
    def length(self) -> float:
        return statistics.fmean(float(fit.stop - fit.start) for _, fit in self.pushes)

    @property
    def reseated(self) -> bool:
        seats = [trace.seat for trace, _ in self.pushes]
        return all(seat is None for seat in seats) or len(set(seats)) == len(seats)

    @property
    def preload_moved(self) -> bool:
        """Each push was read over a stretch of the indicator of its own, so that its
        errors there scatter."""
        levels = sorted(statistics.median(trace.reading) for trace, _ in self.pushes)
        least, most = PRELOAD_MOVED
        return len(levels) > 1 and all(
            least <= b - a <= most for a, b in pairwise(levels)
        )

    def group(self, weight: float) -> Group:
        from bench.uncertainty import Group

        fits = [fit for _, fit in self.pushes]
        return Group(
            weight,
            self.rotations,
            [float(fit.standard_uncertainty) for fit in fits],
            [float(fit.degrees_of_freedom) for fit in fits],
        )


def turn_factor(mount: str, side: str, grows: str) -> float:
    """dr/ds -> rotation from the +Y direction, counter-clockwise positive.

    dX = +dr with the indicator on the right, -dr on the left; the rotation is +dX/ds of
    a surface that walks past a standing indicator, -dX/ds of one that a carried
    indicator walks along.
    """
    factor = 1.0 if side == "right" else -1.0
    if mount == "carried":
        factor = -factor
    return factor if grows == "pushed-in" else -factor


def place(
    evidence: Evidence, steps: Sequence[Step], notes: list[str]
) -> tuple[list[Placed], list[SweepRow]]:
    """Fit every sweep. Raises EvidenceError where a placement is left without a push
    that can be used."""
    short = {id(t) for step in steps for t in too_short(_at(evidence, step))}
    stretch = in_common([t for t in evidence.traces if id(t) not in short], notes)
    count = count_of_sweeps(evidence)
    placed: list[Placed] = []
    rows: list[SweepRow] = []
    for step in steps:
        traces = _at(evidence, step)
        assert step.mount is not None and step.side is not None
        here = Placed(step.placement, turn_factor(step.mount, step.side, "pushed-in"))
        for number, trace in enumerate(traces, 1):
            fit = _fit(
                trace, count, stretch if trace.push else None, short=id(trace) in short
            )
            rows.append(_row(trace, fit))
            if fit.refused is not None:
                what = "push" if trace.push else "pull-back"
                notes.append(
                    f"The {what} {trace.sweep or number} at {trace.placement} was not"
                    f" used: {fit.refused}"
                )
            elif trace.push:
                here.pushes.append((trace, fit))
            else:
                here.pulls.append((trace, fit))
        if not here.pushes:
            raise EvidenceError(_no_push(step.placement, traces, notes))
        notes.extend(
            sticking(step.placement, traces, max(fit.count for _, fit in here.pushes))
        )
        notes.extend(
            push_apart(
                step.placement, here.rotations, [t.sweep for t, _ in here.pushes]
            )
        )
        _compare_pulls(here, notes)
        placed.append(here)
    tau = later(
        [
            pair
            for here, step in zip(placed, steps, strict=True)
            for pair in _pairs(here, _at(evidence, step))
        ],
        max(fit.count for here in placed for _, fit in here.pushes),
    )
    if tau is not None:
        notes.append(late_words(tau))
    for here, step in zip(placed, steps, strict=True):
        _close(here, _at(evidence, step), evidence, notes, late=tau is not None)
    notes.extend(too_fine(evidence))
    notes.extend(short_pushes([p.length for p in placed]))
    notes.extend(of_leans(evidence, steps))
    return placed, rows


def _at(evidence: Evidence, step: Step) -> list[Trace]:
    return [trace for trace in evidence.traces if trace.placement == step.placement]


def _fit(
    trace: Trace,
    count: float | None,
    stretch: tuple[float, float] | None,
    *,
    short: bool,
) -> SweepFit:
    from bench.geometry.line_fit import fit_sweep

    fit = fit_sweep(
        trace.travel,
        trace.reading,
        resolution=count,
        at=trace.at,
        stretch=None if short else stretch,
    )
    if not short or fit.refused is not None:
        return fit
    covered = fit.stop - fit.start
    why = f"It covers only {covered:.0f} mm, under 70 % of the longest there."
    return dataclasses.replace(fit, slope=0.0, standard_uncertainty=0.0, refused=why)


def _row(trace: Trace, fit: SweepFit) -> SweepRow:
    return SweepRow(
        trace.placement,
        trace.push,
        fit.readings,
        fit.set_aside,
        float(fit.slope),
        float(fit.standard_uncertainty),
    )


def _no_push(placement: str, traces: Sequence[Trace], notes: Sequence[str]) -> str:
    what = f"no push at {placement} can be used; it takes at least one"
    if traces and not any(trace.push for trace in traces):
        return (
            f"{what}: in all of them the travel falls; is it declared the way it grows"
            " (away or toward)?"
        )
    return f"{what}: {notes[-1]}" if notes else what


def _compare_pulls(here: Placed, notes: list[str]) -> None:
    if not here.pulls:
        return
    push = statistics.fmean(fit.slope for _, fit in here.pushes)
    pull = statistics.fmean(fit.slope for _, fit in here.pulls)
    noise = math.hypot(
        math.sqrt(
            statistics.fmean(fit.standard_uncertainty**2 for _, fit in here.pushes)
            / len(here.pushes)
        ),
        math.sqrt(
            statistics.fmean(fit.standard_uncertainty**2 for _, fit in here.pulls)
            / len(here.pulls)
        ),
    )
    if abs(push - pull) > max(5e-5, 4 * noise):
        notes.append(
            f"At {here.name} the pull-backs differ from the pushes by"
            f" {abs(push - pull) * 300:.3f} mm per 300 mm: play, late readings or a"
            " dragging plunger. Only the pushes count."
        )


def _pairs(here: Placed, traces: Sequence[Trace]) -> list[tuple[Trace, Trace]]:
    used = {id(trace) for trace, _ in (*here.pushes, *here.pulls)}
    return cycles([trace for trace in traces if id(trace) in used])


def _close(
    here: Placed,
    traces: Sequence[Trace],
    evidence: Evidence,
    notes: list[str],
    *,
    late: bool,
) -> None:
    """late: why the ways back read otherwise is told already."""
    pairs = _pairs(here, traces)
    count = max(fit.count for _, fit in here.pushes)
    here.closure = out_and_back(pairs, count=count, yaw_play=evidence.known.yaw_play)
    if not late and (behind := lost_motion(pairs, count=count)) is not None:
        notes.append(
            f"At {here.name} the reading lies {abs(behind):.3f} mm"
            f" {'higher' if behind > 0 else 'lower'} on every way back: lost motion or"
            " a dragging plunger, late readings, or the sled held on its other wall."
            " The pushes, which conclude, have it all alike."
        )
    if here.closure is not None:
        notes.append(
            f"At {here.name} the reading did not come back by {here.closure:.3f} mm"
            " more than play explains: a stand that was bumped or creeps, or an"
            " instrument that warms up. It is in the budget."
        )


def shared_rows(
    evidence: Evidence,
    placed: Sequence[Placed],
    weights: Sequence[float],
    rotation: float,
    *,
    common: bool,
) -> list[Part | None]:
    """Type B rows of a rotation made of `weights` times the placements' rotations.

    common: whether what biases all placements alike (hold, touching away from the
    teeth) stays in it.
    """
    from bench.uncertainty import (
        closure,
        contact_away,
        hold,
        reading_age,
        resolution,
        seat,
        span,
        tilt,
        travel_scale,
    )

    gear, known, options = evidence.gear, evidence.known, evidence.options
    length = statistics.fmean(p.length for p in placed)
    fits = [fit for p in placed for _, fit in p.pushes]
    traces = [trace for p in placed for trace, _ in p.pushes]
    count = max(fit.count for fit in fits)
    rounded = resolution(
        count, length, statistics.fmean(fit.residual_spread for fit in fits), weights
    )
    rows: list[Part | None] = [
        seat(
            weights,
            reseated=all(p.reseated for p in placed),
            scatter=known.seat_scatter,
        ),
        rounded,
        span(
            statistics.fmean(abs(fit.slope) * (fit.stop - fit.start) for fit in fits),
            length,
            count,
            short_span_error=gear.indicator.short_span_error,
            weights=weights,
            preload_moved=all(p.preload_moved for p in placed),
            rounded=rounded is not None,
        ),
        reading_age(rotation, gear.indicator.age, _speed_change(traces), length),
        travel_scale(rotation, gear.travel.scale_error),
        tilt(rotation, gear.indicator.tilt),
        closure(
            max((p.closure for p in placed if p.closure), default=None), length, weights
        ),
    ]
    if common:
        declared = bool(options.get("hold")) or all(trace.hold for trace in traces)
        rows.append(hold(known.yaw_play, declared=declared))
        rows.append(
            contact_away(
                given_number(options, "touch_away"),
                given_number(options, "slot_straight"),
                given_number(options, "runner_length"),
            )
        )
    return rows


def _speed_change(traces: Sequence[Trace]) -> float | None:
    """Largest difference in mm/s between the thirds of a push; None where no times were
    kept."""
    worst: float | None = None
    for trace in traces:
        if trace.at is None or len(trace.at) < 9:
            continue
        n = len(trace.at)
        cuts = [0, n // 3, 2 * n // 3, n - 1]
        speeds = [
            (trace.travel[j] - trace.travel[i]) / (trace.at[j] - trace.at[i])
            for i, j in pairwise(cuts)
            if trace.at[j] > trace.at[i]
        ]
        if len(speeds) > 1:
            worst = max(worst or 0.0, max(speeds) - min(speeds))
    return worst

"""The arithmetic that runs off the event loop; importing it loads numpy."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping

from bench.checks import find
from bench.checks.model import Evidence, Trace
from bench.checks.shared.doubts import doubts_by_subject, evidence_doubts
from bench.checks.shared.placement_fit import is_one_jump, jump_of
from bench.finding import Doubt
from bench.geometry.line_fit import fit_sweep
from bench.protocol import FittedPass
from bench.render.remarks import remark_words
from bench.units import System

MOST_POINTS = 200  # points of a pass that a screen can show


def doubts_of(evidence: Evidence) -> Mapping[tuple[str, str | None, str | None], Doubt]:
    return doubts_by_subject(evidence_doubts(evidence, find(evidence.check)))


def fit_pass(
    trace: Trace, resolution: float | None, units: System, earlier: Trace | None = None
) -> FittedPass:
    """The line through one kept pass, and its points: thinned evenly, with all those
    that were set aside.

    earlier: a pass of this set-up that was refused: what jumps as that one did belongs
    to the surface, and this one is not refused.
    """
    fit = fit_sweep(trace.travel, trace.reading, resolution=resolution, at=trace.at)
    if earlier is not None and (jump := jump_of(fit)) is not None:
        s, r, at = earlier.travel, earlier.reading, earlier.at
        before = jump_of(fit_sweep(s, r, resolution=resolution, at=at))
        if before is not None and is_one_jump([before, jump]):
            fit = dataclasses.replace(fit, refused=None)
    step = max(1, len(trace.travel) // MOST_POINTS)
    shown = [i for i, aside in enumerate(fit.aside) if aside or i % step == 0]
    return FittedPass(
        sweep=trace.sweep,
        placement=trace.placement,
        push=trace.push,
        travel=[trace.travel[i] for i in shown],
        reading=[trace.reading[i] for i in shown],
        aside=[place for place, i in enumerate(shown) if fit.aside[i]],
        slope=float(fit.slope),
        intercept=float(fit.intercept),
        words=remark_words(fit.refused, units) if fit.refused is not None else "",
    )

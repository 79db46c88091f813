"""Decides whether the passes so far settle the verdict, so that the last one is not
needed.

Pure. There is one such look, when the last set-up lacks one pass; it is a stricter one
than the planned look, so that both together err as seldom (`bench.uncertainty.EARLY`).
"""

from __future__ import annotations

from collections.abc import Sequence

from bench.checks.model import Check, Step
from bench.checks.shared.results import SQUARE_DOUBTED
from bench.finding import Finding
from bench.procedure.prompt import ProcedureState, wanted
from bench.uncertainty.verdicts import decided_early

FEWEST_PASSES = 2  # passes in every set-up: fewer show no scatter


def may_stop_early(check: Check, steps: Sequence[Step], facts: ProcedureState) -> bool:
    """Whether the early look is taken now: one pass lacks in the last set-up, and
    nothing was extended."""
    last = len(steps) - 1
    if not check.stops_early or facts.step != last or facts.extra or facts.settled_at:
        return False
    lacks = wanted(steps[last], facts) - facts.taken
    return last > 0 and lacks == 1 and min(facts.accepted[: last + 1]) >= FEWEST_PASSES


def settles_early(finding: Finding) -> bool:
    """Whether a finding of the passes so far needs no other: its verdict holds at the
    stricter confidence, and nothing speaks against it."""
    first = finding.quantities[0]
    if finding.doubts or first.tolerance is None:
        return False
    if not SQUARE_DOUBTED.isdisjoint(finding.codes):
        return False
    return decided_early(
        first.value,
        first.uncertainty,
        first.degrees_of_freedom,
        first.tolerance,
        finding.confidence,
    )

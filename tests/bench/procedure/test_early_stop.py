"""The early look: when it is taken, and what it takes to spare the last pass."""

from __future__ import annotations

import math

import pytest

from bench.checks import find
from bench.checks.model import EvidenceGear
from bench.finding import Doubt, Finding, Quantity, Remark
from bench.procedure.early_stop import may_stop_early, settles_early
from bench.procedure.prompt import ProcedureState, advance, ask, wanted

CHECK = find("fence-square")
STEPS = CHECK.plan({}, EvidenceGear())
TOLERANCE = 0.05 / 300


@pytest.mark.parametrize(
    ("kept", "extra", "may"),
    [
        ([3, 2], 0, True),
        ([3, 1], 0, False),  # two passes lack
        ([2, 0], 0, False),  # the first set-up: nothing is known of the fence yet
        ([3, 3], 0, False),
        ([3, 3], 1, False),  # extended: every later look uses 99 % as it is
    ],
)
def test_the_moment_of_the_look(kept: list[int], extra: int, may: bool) -> None:
    facts = ProcedureState(acknowledged=True, accepted=kept, extra=extra)
    advance(STEPS, facts)
    assert may_stop_early(CHECK, STEPS, facts) == may


def test_other_checks_take_all_their_passes() -> None:
    other = find("rip-fence")
    steps = other.plan({}, EvidenceGear())
    facts = ProcedureState(acknowledged=True, accepted=[2])
    advance(steps, facts)
    assert not may_stop_early(other, steps, facts)


def test_the_last_pass_is_not_asked_for() -> None:
    facts = ProcedureState(acknowledged=True, placed=True, rested=True, accepted=[3, 2])
    advance(STEPS, facts)
    facts.settled_at = STEPS[-1].placement
    assert [wanted(step, facts) for step in STEPS] == [3, 2]
    advance(STEPS, facts)
    assert ask((), STEPS, facts).phase == "working-out"


def found(value: float, expanded: float = 3e-5, dof: float = 3.0, **more: object) -> Finding:
    quantity = Quantity("fence", value, "rad", expanded, dof, TOLERANCE, "outside")
    return Finding(check="fence-square", quantities=[quantity], verdict="outside", **more)  # type: ignore[arg-type]


def test_what_settles_it() -> None:
    from scipy.special import stdtrit

    strict = 3e-5 * stdtrit(3, 0.9975) / stdtrit(3, 0.975)
    assert settles_early(found(TOLERANCE + 1.01 * strict))
    assert not settles_early(found(TOLERANCE + 0.99 * strict))
    assert settles_early(found(0.0, expanded=3e-5, dof=math.inf))
    sure = TOLERANCE + 5 * strict
    assert not settles_early(found(sure, doubts=[Doubt("frozen", "handle-left")]))
    # where the square may not have been turned over, no pass is spared
    assert not settles_early(found(sure, remarks=[Remark("square-poor", severity="warning")]))

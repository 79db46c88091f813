"""Passes kept and not kept: what a push that was not kept leaves behind is no slip of anybody's."""

from __future__ import annotations

from typing import Any

import pytest

from bench.checks import find
from bench.checks.model import EvidenceGear
from bench.procedure.journal import Reporter
from bench.procedure.passes import AcceptedPasses
from bench.procedure.prompt import ProcedureState
from bench.procedure.status_message import StatusMessage
from bench.protocol import PassNotice
from bench.stream.sweep_detector import Sweep

BROKEN = StatusMessage("pass-broken")


class Journal:
    """What was written down of each sweep, in order."""

    def __init__(self) -> None:
        self.ended: list[tuple[str, StatusMessage | None]] = []

    def event(self, run_id: str, kind: str, data: Any) -> None: ...

    def start_sweep(self, run_id: str, sweep_id: str, placement: str, hold: str | None) -> None: ...

    def end_sweep(self, sweep_id: str, state: str, **more: Any) -> None:
        self.ended.append((state, more["reason"]))

    def undo_sweep(self, sweep_id: str, reason: StatusMessage) -> None: ...

    def pass_accepted(self, trace: Any, *, straight: bool) -> None: ...


class Passes:
    def __init__(self, kind: str = "fence-square") -> None:
        steps = find(kind).plan({}, EvidenceGear())
        self.said: list[PassNotice] = []
        self.journal = Journal()
        self.facts = ProcedureState(accepted=[0] * len(steps))
        self.passes = AcceptedPasses(steps, self.facts, None, Reporter("run", self.journal, self.said.append))

    def take(self, start: float, to: float, readings: int = 40) -> str:
        """One movement; the codes of what is said of it."""
        travel = [start + (to - start) * n / (readings - 1) for n in range(readings)]
        at = [0.02 * n for n in range(readings)]
        before = len(self.said)
        self.passes.judge(Sweep(to > start, travel, [3e-4 * s for s in travel], at))
        return " ".join(remark.code for one in self.said[before:] for remark in one.remarks)

    @property
    def pushes(self) -> list[bool]:
        return [trace.push for trace in self.passes.traces]


@pytest.fixture
def passes() -> Passes:
    return Passes()


def fails(passes: Passes, how: str) -> None:
    if how == "broken":
        passes.passes.refuse(BROKEN, push=True)
    elif how == "few readings":
        assert passes.take(0, 150, 3) == "too-few-readings"
    else:
        passes.take(0, 150)
        trace = passes.passes.latest()
        assert trace is not None
        passes.passes.take_back(
            trace, StatusMessage("pass-not-straight"), state="refused" if how == "jumped" else "undone"
        )


@pytest.mark.parametrize("how", ["broken", "few readings", "jumped", "undone"])
def test_the_draw_back_of_a_push_that_was_not_kept_is_none_that_comes_first(passes: Passes, how: str) -> None:
    fails(passes, how)
    assert passes.take(150, 0) == "returned"
    assert passes.take(0, 150) == "pass-kept" and passes.take(150, 0) == "returned"
    assert passes.pushes == [True, False]
    assert ("refused", StatusMessage("return-of-refused")) in passes.journal.ended


@pytest.mark.parametrize("before", [None, False])
def test_a_travel_that_counts_the_other_way_is_still_told(passes: Passes, before: bool | None) -> None:
    """A push that looks like a draw back comes first, whether or not one broke before."""
    if before is not None:
        passes.passes.refuse(BROKEN, push=before)
    assert passes.take(150, 0) == "returned-first"
    assert passes.pushes == [False]


def test_along_a_straightedge_it_is_told_as_to_the_right() -> None:
    assert Passes("fence-straight").take(300, -300) == "returned-first-right"


def test_one_draw_back_only(passes: Passes) -> None:
    fails(passes, "broken")
    assert passes.take(150, 0) == "returned"
    assert passes.take(150, 0) == "returned-first"


@pytest.mark.parametrize("kind", ["fence-square", "fence-straight"])
def test_a_pass_over_another_stretch_is_told_at_once(kind) -> None:
    passes = Passes(kind)
    assert passes.take(-300, 300) == "pass-kept"
    passes.take(300, -300)
    assert passes.take(290, 890) == "pass-elsewhere"  # pushed on from where the first one ended
    assert passes.take(890, -300) == "returned"  # no travel that counts backward
    assert passes.take(-280, 310) == "pass-kept"
    assert passes.pushes == [True, False, True]


def test_a_pass_that_leaves_out_the_beginning_is_refused_while_it_is_at_hand() -> None:
    passes = Passes("fence-square")
    for _ in range(2):
        assert passes.take(0, 400) == "pass-kept"
        passes.take(400, 0)
    assert passes.take(115, 400) == "pass-elsewhere"  # long enough, and yet another stretch
    passes.take(400, 0)
    assert passes.take(20, 410) == "pass-kept"


@pytest.mark.parametrize(
    ("kind", "code"), [("fence-square", "pass-kept"), ("fence-straight", "pass-elsewhere")]
)
def test_between_set_ups_a_travel_may_be_zeroed_but_not_along_a_straightedge(kind, code) -> None:
    passes = Passes(kind)
    passes.take(0, 300)
    passes.facts.step = 1
    assert passes.take(400, 700) == code

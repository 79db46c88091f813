"""Widths that cannot be right, of runners and of strips: said first, and nothing is advised on them."""

from __future__ import annotations

import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.finding import Finding
from bench.gear import Jig
from bench.procedure.conclusion import conclude
from bench.render.remarks import notes_of


def concluded(evidence: Evidence) -> Finding:
    return conclude(evidence, id="x", at="2026-01-01T00:00:00+00:00")


def fit(slot, runner, **more) -> Finding:
    traces = [Trace("slot-left", [0, 350, 700], slot), Trace("runner-left", [0, 225, 450], runner)]
    traces += [Trace(name.replace("_", "-"), [0.0, 450.0], widths) for name, widths in more.items()]
    return concluded(Evidence("runner-fit", traces, {}, EvidenceGear(jig=Jig("sled"))))


def strip(near, far) -> Finding:
    traces = [Trace("near", [0.0] * len(near), near), Trace("far", [0.0] * len(far), far)]
    evidence = Evidence("test-board", traces, {"apart": 370.0}, EvidenceGear(jig=Jig("sled")))
    return concluded(evidence)


@pytest.mark.parametrize(
    ("slot", "runner", "says"),
    [
        ([19.1] * 3, [0.748] * 3, "Was runner left read in inches"),
        ([0.752] * 3, [19.0] * 3, "Was slot left read in inches"),
        ([0.752] * 3, [0.748] * 3, "Were they read in inches"),
        (
            [19.1, 19.1, 91.1],
            [19.0] * 3,
            "slot left at 700 mm reads 91.10 mm, the others there about 19.10 mm",
        ),
        ([19.1] * 3, [19.0, 10.9, 19.0], "runner left at 225 mm reads 10.90 mm"),
        ([19.1] * 3, [17.2] * 3, "slot left and runner left are 1.90 mm apart"),
        ([19.0] * 3, [20.5] * 3, "slot left and runner left are 1.50 mm apart"),
    ],
)
def test_runners_and_slots_that_cannot_be(slot, runner, says) -> None:
    found = fit(slot, runner)
    assert says in notes_of(found, "mm")[0]
    assert not found.codes & {"tight", "nearly-tight", "loose"}


def test_spacings_measured_in_two_ways() -> None:
    """One centre to centre, the other from the inner walls: a runner's width apart."""
    more = {"slot_right": [19.1] * 2, "runner_right": [19.0] * 2}
    found = fit([19.1] * 3, [19.0] * 3, slot_spacing=[300.0] * 2, runner_spacing=[281.0] * 2, **more)
    assert "slot spacing and runner spacing are 19.00 mm apart" in notes_of(found, "mm")[0]


@pytest.mark.parametrize(
    ("slot", "runner"),
    [([19.1, 18.97, 19.12], [19.0] * 3), ([19.5, 19.4, 19.3], [18.9, 19.0, 19.0]), ([9.6] * 3, [9.5] * 3)],
)
def test_worn_narrow_and_pinched_ones_are_no_slips(slot, runner) -> None:
    found = fit(slot, runner)
    assert not found.doubts and not found.codes & {"width-odd", "slot-far-from-runner"}


@pytest.mark.parametrize(
    ("near", "far", "says"),
    [
        ([0.999] * 3, [0.942] * 3, "Were they read in inches"),
        ([25.39] * 3, [0.942] * 3, "Was the far end read in inches"),
        ([1.0] * 3, [23.9] * 3, "Was the near end read in inches"),
    ],
)
def test_strips_in_inches(near, far, says) -> None:
    assert says in notes_of(strip(near, far), "mm")[0]


def test_a_strip_as_it_is_says_nothing_of_inches() -> None:
    assert strip([25.39] * 3, [23.91] * 3).doubts == []

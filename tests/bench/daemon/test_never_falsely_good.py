"""Nothing is falsely good: what a check doubts itself is said within one pass, and never ends in a verdict or a move.

Each failure is shown to the check by `falsely_good.Job`, on a clock of its own, at rates from 2 to 200 readings a
second; beside each an honest twin, which must come to its verdict. A few go through the daemon as it runs.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import product
from statistics import fmean
from typing import Any

import msgspec
import pytest
from everyday import ci, everyday

from bench.finding import Finding
from bench.procedure.conclusion import conclude

from .falsely_good import CYCLE, LENGTH, PUSH, REST, Job, Stops, place

RATES = (2, 3, 5, 8, 10, 13, 20, 50, 100, 200)  # readings a second
FEW = (5,)
EVERYDAY = [*FEW, *(pytest.param(r, marks=pytest.mark.slow) for r in RATES if r not in FEW)]
SLOW = [
    pytest.param(r, seed, marks=pytest.mark.slow)
    for r in RATES
    if r not in FEW
    for seed in (1, 2)[: 1 + (r <= 20)]
]


def stays(when: Callable[[Job, float], bool]) -> Callable[[Job, float, float], float]:
    """The display stands at what it showed last, while that is so."""
    last = [2.5]

    def show(job: Job, t: float, value: float) -> float:
        if not when(job, t):
            last[0] = value
        return last[0]

    return show


def in_the_air(begin: float, end: float) -> Callable[[Job, float, float], float]:
    """Over that share of the pass the tip touches nothing: the plunger is out as far as it goes."""
    return lambda job, t, value: -0.2 if t > 0 and begin <= place(t) / LENGTH <= end else value


FAILURES: dict[str, Callable[[], dict[str, Any]]] = {
    "frozen": lambda: {"indicator": stays(lambda job, t: t > 0)},
    "in the air all the time": lambda: {"indicator": lambda job, t, value: -0.2 if t > 0 else value},
    "frozen in the second set-up": lambda: {"indicator": stays(lambda job, t: job.step == 1 and t > 0)},
    "frozen half-way through the first pass": lambda: {
        "indicator": stays(lambda job, t: t > REST + PUSH / 2)
    },
    "frozen half-way through every pass": lambda: {
        "indicator": stays(lambda job, t: t > 0 and place(t) > 125)
    },
    "frozen after the first pass": lambda: {"indicator": stays(lambda job, t: t > REST + PUSH + 0.5)},
    "flickers between two counts": lambda: {
        "indicator": lambda job, t, value: 2.5 + 0.001 * (job.chance.random() < 0.5) if t > -0.2 else value
    },
    "inches, 0.00005": lambda: {"indicator": lambda job, t, value: value / 25.4, "count": 5e-5},
    "inches, 0.0001": lambda: {"indicator": lambda job, t, value: value / 25.4, "count": 1e-4},
    "inches, 0.0005": lambda: {"indicator": lambda job, t, value: value / 25.4, "count": 5e-4},
    "inches, 0.0005, undeclared": lambda: {
        "indicator": lambda job, t, value: value / 25.4,
        "count": 5e-4,
        "declared": None,
    },
    "coarser than declared": lambda: {"count": 0.01},
    "in the air, near third": lambda: {"indicator": in_the_air(-1.0, 0.33)},
    "in the air, middle third": lambda: {"indicator": in_the_air(0.34, 0.67)},
    "in the air, far third": lambda: {"indicator": in_the_air(0.67, 2.0)},
    "travel stuck": lambda: {"travel": lambda job, t, value: 10.0},
    "travel shows noise only": lambda: {"travel": lambda job, t, value: 10 + job.chance.gauss(0, 0.05)},
    "travel wanders": lambda: {"travel": lambda job, t, value: 10 + job.chance.gauss(0, 0.5)},
    "travel backward": lambda: {"travel": lambda job, t, value: 300.0 - value},
    "cables swapped": lambda: {
        "indicator": lambda job, t, value: place(t) if t > 0 else 0.0,
        "travel": lambda job, t, value: round(job.true(t, value), 3),
        "count": 0.01,
    },
}
# each is like another one that is tried every day
ALIKE = {
    "frozen in the second set-up",
    "frozen half-way through every pass",
    "inches, 0.00005",
    "inches, 0.0001",
    "inches, 0.0005",
    "in the air, near third",
    "in the air, far third",
    "travel shows noise only",
}
# what no reading shows before there are two passes to compare, or a few steps of a coarse count
LATER = {"frozen after the first pass": 2, "coarser than declared": 3}


@pytest.mark.parametrize(("rate", "seed"), [(5, 1), ci((5, 2)), *SLOW])
@pytest.mark.parametrize("failure", [name if name not in ALIKE else ci(name) for name in FAILURES])
def test_never_falsely_good(failure: str, rate: float, seed: int) -> None:
    """Out by 2.4 times the tolerance: no verdict inside and no move, and a word within the first pass spoiled."""
    job = Job(rate=rate, seed=seed, **FAILURES[failure]())
    finding = job.work()
    assert finding is None or (finding.verdict == "cannot-tell" and finding.doubts), job.said
    assert finding is None or finding.move is None
    step = 1 if "second" in failure else 0
    told = min((t for s, t, _ in job.said if s == step), default=None)
    assert told is not None and told < REST + LATER.get(failure, 1) * CYCLE, job.said


@pytest.mark.parametrize("rate", EVERYDAY)
@pytest.mark.parametrize(
    ("rotation", "verdict", "count"),
    [
        (5e-5, "inside", 0.01),
        (-4e-4, "outside", 0.001),
        ci((5e-5, "inside", 0.001)),
        ci((-4e-4, "outside", 0.01)),
    ],
)
def test_honest_work_is_left_in_peace(rate: float, rotation: float, verdict: str, count: float) -> None:
    def seated(job: Job, t: float, value: float) -> float:
        """The square lifted and pressed home before each push, which moves the number."""
        return value - 0.3 * (PUSH + REST + PUSH < (t - REST) % CYCLE < CYCLE - 0.7)

    job = Job(rate=rate, rotation=rotation, count=count, declared=count, indicator=seated)
    finding = job.work()
    assert finding is not None and finding.verdict == verdict and not finding.doubts
    assert finding.quantities[0].value == pytest.approx(rotation, abs=finding.quantities[0].uncertainty)
    asked = [words for _, _, words in job.said if "number moves" not in words]
    # a coarse number may not move through the first pass: then a proof is asked for, and lifting the square is one
    assert not asked or (count == 0.01 and all("did not move" in words for words in asked))


def test_a_coarse_number_that_stands_is_good_once_it_was_seen_to_move() -> None:
    """Dead square by a hundredth: without the sheet of paper nobody knows, with it the answer is good."""

    def still(job: Job, t: float, value: float) -> float:
        return 2.5

    def proved(job: Job, t: float, value: float) -> float:
        return 2.6 if REST + PUSH + 1.0 < t < REST + PUSH + 2.0 else 2.5

    coarse = {"rate": 5.0, "count": 0.01, "declared": 0.01}
    unproved, good = Job(**coarse, indicator=still), Job(**coarse, indicator=proved)
    finding = unproved.work()
    assert finding is not None and finding.verdict == "cannot-tell"
    assert [doubt.code for doubt in finding.doubts] == ["frozen", "frozen"]
    assert finding.settle is not None and finding.settle.part == "a number that moves"
    finding = good.work()
    assert finding is not None and finding.verdict == "inside" and not finding.doubts
    assert any(words == "The number moves: good." for _, _, words in good.said)


def test_a_draw_back_that_came_first_can_be_taken_back() -> None:
    job = Job(rate=5.0, travel=lambda job, t, value: 300.0 - value)
    job.work()
    first = job.run.passes.traces[0]
    assert not first.push
    while job.run.passes.latest() is not first:
        job.run.undo(job.clock)
    job.run.undo(job.clock)
    assert job.run.passes.placement == "handle-left" and not job.run.passes.traces


# ---- read at a stop -----------------------------------------------------------------------


def lives(job: Job, placement: str, taken: int, still: bool) -> float:
    """Lifted between readings; held still it shows the same good thing every time."""
    return 20.0 if still else 20.0 + job.chance.uniform(0.5, 3.0)


STOPS = {
    "slot-blade": {},
    "plate-wobble": {},
    "test-board": {"board": 400.0},
}


ONE_NUMBER = {
    "a number": lambda *some: 20.0,
    "flickers between two counts": lambda job, *some: 20.0 + 0.001 * (job.chance.random() < 0.5),
}


@pytest.mark.parametrize(
    ("kind", "declared", "shows"), everyday(product(STOPS, (0.001, None), ONE_NUMBER), 5)
)
def test_one_number_for_ever_at_spots_and_widths(kind: str, declared: float | None, shows: str) -> None:
    job = Stops(kind, options=STOPS[kind], declared=declared, shows=ONE_NUMBER[shows])
    finding = job.work()
    assert finding is not None and finding.verdict == "cannot-tell" and finding.move is None
    assert [doubt.code for doubt in finding.doubts] == ["frozen-spots"]
    assert job.said and "one and the same number" in job.said[0][2]
    honest = Stops(kind, options=STOPS[kind], shows=lives)
    finding = honest.work()
    assert finding is not None and finding.verdict == "inside" and not honest.said


def test_means_of_one_number_are_one_number() -> None:
    """A mean of 13 readings of 20.2 is not 20.2, in binary."""
    job = Stops("plate-wobble", shows=lambda *some: 20.2)
    job.work()
    evidence = job.run.evidence()
    for trace in evidence.traces[::2]:
        trace.reading[:] = [fmean([20.2] * 13)]
    finding = conclude(evidence, id="x", at="2026-01-01T00:00:00+00:00")
    assert [doubt.code for doubt in finding.doubts] == ["frozen-spots"] and finding.verdict == "cannot-tell"


def test_frozen_from_the_second_place_on() -> None:
    def show(job: Job, placement: str, taken: int, still: bool) -> float:
        return 20.0 if placement == "rear" or still else 20.0 + job.chance.random()

    finding = Stops("slot-blade", shows=show).work()
    assert finding is not None and finding.verdict == "cannot-tell"
    assert [(doubt.code, doubt.placement) for doubt in finding.doubts] == [("frozen-spots", "rear")]


def test_few_numbers_far_apart_are_no_flicker() -> None:
    """An instrument that sends at its own button shows a handful of numbers. How far they lie apart is no count of
    it: 0.64 mm between the two ends of a strip is a taper, and no flicker between two counts."""
    job = Stops("test-board", options=STOPS["test-board"], shows=lives)
    job.work()
    evidence = job.run.evidence()
    for trace in evidence.traces:
        trace.reading[:] = [25.0 if trace.placement == "near" else 25.64]
    seldom = msgspec.structs.replace(evidence, alive=["near"], shown=[25.0, 25.64])
    finding = conclude(seldom, id="x", at="2026-01-01T00:00:00+00:00")
    assert not finding.doubts and finding.verdict == "outside"
    same = msgspec.structs.replace(seldom, shown=[25.0])
    for trace in same.traces:
        trace.reading[:] = [25.0]
    finding = conclude(same, id="x", at="2026-01-01T00:00:00+00:00")
    assert [doubt.code for doubt in finding.doubts] == ["frozen-spots"]


MARKS = tuple(25.0 * n for n in range(1, 10))


def at_mark(job: Job, placement: str, taken: int, still: bool) -> float:
    side = 1.0 if placement == "handle-left" else -1.0
    return 2.5 + side * 5e-5 * 25.0 * (taken % 100) + job.chance.gauss(0, 4e-4)


@pytest.mark.parametrize(
    ("code", "shows", "count"),
    [
        ("frozen", lambda *some: 2.5, 0.001),
        ("of-inches", lambda *some: at_mark(*some) / 25.4, 5e-5),
        ("finer", lambda *some: at_mark(*some) / 25.4 + 5e-4 * some[0].chance.randrange(3), 5e-4),
        ("steep", lambda job, p, taken, still: 25.0 * (taken % 100), 0.01),
    ],
)
def test_at_marks(code: str, shows: Callable[..., float], count: float) -> None:
    job = Stops(marks=MARKS, shows=shows, count=count)
    finding = job.work()
    assert finding is not None and finding.verdict == "cannot-tell" and finding.move is None
    assert code in [doubt.code for doubt in finding.doubts]
    assert job.said and job.said[0][0] == 0


def test_honest_marks_come_to_their_verdict() -> None:
    job = Stops(marks=MARKS, shows=at_mark)
    finding: Finding | None = job.work()
    assert finding is not None and finding.verdict == "inside" and not job.said


# ---- through the daemon as it runs ----------------------------------------------------------


FROZEN = [(150.0, "the number did not move"), (0.0, "Returned to the start"), (150.0, "2 of 2 kept")]
BACKWARD = [
    (0.0, "the travel counts backward"),
    (150.0, "1 of 2 kept"),
    (0.0, "Returned"),
    (150.0, "2 of 2 kept"),
]


@pytest.mark.ci
@pytest.mark.parametrize(("code", "way"), [("frozen", FROZEN), ("backward", BACKWARD)])
def test_said_by_the_daemon(rigs, run, code: str, way: list[tuple[float, str]]) -> None:
    rig = rigs()
    rig.rotation = 5e-4
    if code == "frozen":
        rig.reading = lambda: 2.5
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--sweeps", "2", "--json")
    check.hear("Press Enter")
    check.enter()
    for placement in ("handle-left", "handle-right"):
        check.hear_set_up(placement)
        rig.s = 0.0 if code == "frozen" else 150.0  # there the scale counts down as the sled is pushed
        check.enter()
        check.hear("ready")
        for to, says in way:
            rig.go(to)
            check.hear(says)
    assert check.wait() == 1
    finding = check.answer()
    assert finding["verdict"] == "cannot-tell" and finding["move"] is None
    assert [doubt["code"] for doubt in finding["doubts"]] == [code, code]

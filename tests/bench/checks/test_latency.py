"""Readings that come late by different ages are noticed from the passes themselves, and nothing else is taken for it.

The passes are made from a hand's path in time (minimum jerk: Flash and Hogan, J. Neurosci. 5 (1985) 1688, eq. 3), each
reading as old as its instrument makes it, and paired at the times of arrival, as the daemon does.
"""

from __future__ import annotations

import math
import random

import numpy as np
import pytest
from everyday import ci, everyday
from fence_bodies import Disturbed, Hands, check, draw

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.checks.shared.latency import relative_latency
from bench.checks.shared.return_error import cycles
from bench.gear import Indicator
from bench.render.remarks import notes_of

A = 3e-3  # rad: 0.9 mm per 300
COUNT = 0.001  # mm
RATE = 0.02  # s


def way(start: float, to: float, seconds: float):
    def place(t: float) -> float:
        x = min(1.0, max(0.0, t / seconds))
        return start + (to - start) * x**3 * (10 - 15 * x + 6 * x * x)

    return place


def trace(
    start: float,
    to: float,
    *,
    seconds: float = 1.3,
    late: float = 0.0,
    travel_late: float = 0.0,
    slope: float = A,
    form=lambda s: 0.0,
    shift: float = 0.0,
    yaw: float = 0.0,
    noise: random.Random | None = None,
    name: str = "handle-left",
) -> Trace:
    """shift, yaw: what a pull-back reads otherwise: lost motion in mm, the other wall in rad."""
    place = way(start, to, seconds)
    at = [RATE * n for n in range(int(seconds / RATE) + 1)]
    travel = [round(place(t - travel_late), 2) for t in at]
    reading = []
    for t in at:
        s = place(t - late)
        back = (shift + yaw * s) if to < start else 0.0
        rough = noise.gauss(0, 0.0007) if noise else 0.0
        reading.append(round((2.5 + slope * s + form(s) + back + rough) / COUNT) * COUNT)
    return Trace(name, travel, reading, to > start, f"{start}-{to}-{slope}", at=at)


def loops(count: int = 2, **how) -> list[tuple[Trace, Trace]]:
    return cycles([trace(a, b, **how) for _ in range(count) for a, b in ((0.0, 150.0), (150.0, 0.0))])


@pytest.mark.parametrize("seconds", [0.8, ci(1.3), 3.0])
@pytest.mark.parametrize(
    ("late", "travel_late"), [(0.15, 0.0), (0.0, 0.15), (0.06, 0.2), (0.25, 0.05), (0.05, 0.0)]
)
def test_the_difference_of_the_ages_is_found(late: float, travel_late: float, seconds: float) -> None:
    tau = relative_latency(
        loops(late=late, travel_late=travel_late, seconds=seconds, noise=random.Random(3)), COUNT
    )
    assert tau is not None and abs(tau - (late - travel_late)) < 0.02


@pytest.mark.parametrize(
    "how",
    [
        {},
        {"late": 0.2, "travel_late": 0.2},
        {"late": 0.005},
        {"slope": 2e-5, "late": 0.1},  # hardly turned: it bends nothing
        {"shift": 0.05},
        {"shift": -0.03, "yaw": 4e-4},
        {"form": lambda s: 0.05 * math.sin(s / 50)},
    ],
)
@pytest.mark.parametrize("seed", everyday(range(4), 4))
def test_nothing_else_is_taken_for_it(how: dict, seed: int) -> None:
    assert relative_latency(loops(3, noise=random.Random(seed), **how), COUNT) is None


def test_a_wave_of_the_surface_shows_it_better_and_one_cycle_shows_too_little() -> None:
    wave = {"form": lambda s: 0.02 * math.sin(s / 8), "slope": 3e-4, "late": 0.1}
    tau = relative_latency(loops(**wave), COUNT)
    assert tau is not None and abs(tau - 0.1) < 0.02
    assert relative_latency(loops(1, late=0.15), COUNT) is None


def test_passes_without_times_tell_nothing() -> None:
    bare = [
        (Trace(**{**_of(push), "at": None}), Trace(**{**_of(pull), "at": None}))
        for push, pull in loops(late=0.2)
    ]
    assert relative_latency(bare, COUNT) is None


def _of(one: Trace) -> dict:
    return {field: getattr(one, field) for field in one.__struct_fields__}


@pytest.mark.parametrize(
    ("late", "travel_late", "says"),
    [
        (0.15, 0.0, 'Write late = "150 ms" under [indicator]'),
        (0.0, 0.1, 'Write late = "100 ms" under [travel]'),
        (0.0, 0.0, None),
    ],
)
def test_the_finding_says_what_to_write(late: float, travel_late: float, says: str | None) -> None:
    noise = random.Random(7)
    traces = [
        trace(a, b, late=late, travel_late=travel_late, slope=sign * A, name=name, noise=noise)
        for name, sign in (("handle-left", 1), ("handle-right", -1))
        for a, b in ((0.0, 150.0), (150.0, 0.0), (0.0, 150.0))
    ]
    check = find("fence-square")
    gear = EvidenceGear(indicator=Indicator(resolution=COUNT))
    found = check.evaluate(Evidence("fence-square", traces, {"placements": "both"}, gear))
    notes = " ".join(notes_of(found, "mm"))
    assert (says in notes) if says else ("late =" not in notes)
    assert "backlash" not in found.codes


def test_readings_on_no_grid_that_no_lateness_brings_together_show_none() -> None:
    """A count of 0, as where no grid is seen: whatever lateness is tried, the ways part more evenly than they lie."""
    hands, calm = Hands(), Disturbed()
    for seed in (2, 3, 5):
        rng = np.random.default_rng([seed])
        saw = draw(rng, hands, calm)
        saw.form = saw.form - 0.02 * ((saw.places >= 65.0) & (saw.places < 105.0))
        traces = [
            Trace(name, s.tolist(), r.tolist(), push, f"{n}", at=t.tolist())
            for n, (name, push, s, r, t) in enumerate(check(rng, saw, hands, calm))
        ]
        for pair in cycles(traces):
            assert relative_latency([pair, pair], 0.0) is None

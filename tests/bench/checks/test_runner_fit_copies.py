"""Many copies of a runner worked out together are each of them worked out alone; few tell as much as many."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.checks.model import Trace
from bench.checks.shared import runner_widths
from bench.gear import Caliper
from bench.geometry.runner_copies import Copies, plays
from bench.geometry.runner_play import Widths, fit_at, positions, runner_fit

K = 3


def bodies(rng: np.random.Generator, two: bool) -> tuple[list[Widths], list[Widths]]:
    def one(width: float, length: float, centre: float) -> Widths:
        inner = rng.choice(np.arange(20, length - 10, 10), rng.integers(0, 4), replace=False)
        stations = np.concatenate(([0.0], np.sort(inner), [length]))
        return Widths(
            stations,
            width + 0.02 * rng.standard_normal(stations.size),
            centre * rng.standard_normal(stations.size),
        )

    sides = 2 if two else 1
    return [one(19.0, 420.0, 0.01) for _ in range(sides)], [one(19.06, 600.0, 0.01) for _ in range(sides)]


@given(st.integers(0, 10**6), st.booleans())
def test_each_copy_is_the_fit_of_its_own_widths(seed: int, two: bool) -> None:
    rng = np.random.default_rng(seed)
    runners, slots = bodies(rng, two)
    at = positions(runners, slots)
    copies = Copies(
        [0.02 * rng.standard_normal((K, r.s.size)) for r in runners],
        [0.02 * rng.standard_normal((K, s.s.size)) for s in slots],
        0.03 * rng.standard_normal(K),
        0.02 * rng.standard_normal(K),
    )
    relief, yaw, side = plays(runners, slots, at, copies)
    for k in range(K):
        mine = [Widths(r.s, r.w + copies.runners[i][k], r.c) for i, r in enumerate(runners)]
        theirs = [
            Widths(s.s, s.w + copies.slots[i][k] + copies.common[k], s.c + i * copies.offset[k])
            for i, s in enumerate(slots)
        ]
        for row, place in enumerate(at):
            alone = fit_at(mine, theirs, place)
            assert max(relief[row, k], 0.0) == pytest.approx(alone.relief, abs=1e-8)
            if abs(relief[row, k]) < 1e-8:  # it only touches: either is right
                continue
            expected = np.inf if alone.yaw_play is None else alone.yaw_play
            assert yaw[row, k] == pytest.approx(expected, rel=1e-6, abs=1e-10)
            expected = np.inf if alone.side_play is None else alone.side_play
            assert side[row, k] == pytest.approx(expected, rel=1e-6, abs=1e-8)


@pytest.mark.ci
def test_a_few_pairs_tell_as_much_as_many_copies(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beside a thousand; a standard deviation of as few independent ones would be known to a tenth only."""
    rng = np.random.default_rng(5)
    traces = [
        Trace(name, list(map(float, s)), list(w + 0.01 * rng.standard_normal(len(s))))
        for name, s, w in (("slot-left", (0, 150, 400, 600), 19.08), ("runner-left", (0, 200, 420), 19.0))
    ]
    found = runner_widths.runners_and_slots(traces, Caliper())
    fit = runner_fit(found.runners, found.slots)
    few = runner_widths.error_effects(found, fit)
    monkeypatch.setattr(runner_widths, "COPIES_OF_A_KIND", 1000)
    many = runner_widths.error_effects(found, fit)
    assert few.keys() == many.keys() == {"widths as read", "inside against outside jaws"}
    for name, effect in few.items():
        assert effect[:2] == pytest.approx(many[name][:2], rel=0.06)  # yaw play, side play

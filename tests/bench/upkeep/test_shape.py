"""Level, step and line told apart, against a general library."""

from __future__ import annotations

import itertools
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from bench.upkeep.shape import best_shape, fit_shapes

values = st.lists(st.floats(-10, 10).map(lambda v: round(v, 3)), min_size=6, max_size=20)
gaps = st.lists(st.floats(0.5, 60), min_size=20, max_size=20)


@pytest.mark.ci  # the import alone takes a second
@given(y=values, gaps=gaps, seed=st.integers(0, 1000))
def test_sums_and_slope_are_those_of_statsmodels(y: list[float], gaps: list[float], seed: int) -> None:
    """Ordinary least squares with the same columns leaves the same sum of squares."""
    import numpy as np
    from statsmodels.regression.linear_model import OLS

    toss = random.Random(seed)
    n = len(y)
    t = list(itertools.accumulate(gaps[:n]))
    m = [toss.uniform(6, 12) for _ in range(n)]
    found = fit_shapes(t, y, m)
    one = np.ones(n)
    line = OLS(y, np.column_stack([one, t, m])).fit()
    assert found["trend"].sums.residual() == pytest.approx(line.ssr, rel=1e-6, abs=1e-7)
    assert found["trend"].slope == pytest.approx(line.params[1], rel=1e-6, abs=1e-8)
    level = OLS(y, np.column_stack([one, m])).fit()
    assert found["level"].sums.residual() == pytest.approx(level.ssr, rel=1e-6, abs=1e-7)
    steps = [OLS(y, np.column_stack([one, np.arange(n) >= k, m])).fit().ssr for k in range(1, n)]
    assert found["step"].sums.residual() == pytest.approx(min(steps), rel=1e-6, abs=1e-7)


@pytest.mark.parametrize(("kind", "count"), [("step", 12), ("trend", 12), ("level", 12)])
def test_each_is_known_for_what_it_is(kind: str, count: int) -> None:
    toss = random.Random(7)
    right = 0
    for _ in range(100):
        y = [toss.gauss(0, 1) for _ in range(count)]
        if kind == "step":
            y = [v + (6 if n >= 7 else 0) for n, v in enumerate(y)]
        elif kind == "trend":
            y = [v + 0.8 * n for n, v in enumerate(y)]
        right += best_shape(list(range(count)), y).kind == kind
    assert right >= 80


def test_too_few_or_all_on_one_day_are_a_level() -> None:
    assert best_shape([0, 1], [0.0, 9.0]).kind == "level"
    assert "trend" not in fit_shapes([5.0] * 8, [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0])

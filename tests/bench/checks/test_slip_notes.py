"""Slips that readings show: inches in a column of mm, at marks and swept, a plunger that sticks; none where none is."""

from __future__ import annotations

import numpy as np
import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.conclude import conclude
from bench.finding import Finding
from bench.gear import Indicator, Jig

JIG = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
MARKS = np.arange(25.0, 226.0, 25.0)
INCH = 25.4


def found(read, count: float | None = None, places: np.ndarray = MARKS) -> Finding:
    traces = []
    for name, b in (("handle-left", 3.2e-4), ("handle-right", -3.8e-4)):
        for n in range(3):
            depth = 2.5 + b * places + 2e-5 * (n - 1) * places
            traces.append(Trace(name, places.tolist(), read(depth).tolist(), True, f"{name}-{n}"))
    gear = EvidenceGear(indicator=Indicator(resolution=count), jig=JIG)
    return conclude(Evidence("fence-square", traces, {}, gear), id="x", at="2026-01-01T00:00:00+00:00")


def rounded(values: np.ndarray, count: float) -> np.ndarray:
    return np.round(np.round(values / count) * count, 6)


@pytest.mark.parametrize("places", [MARKS, np.linspace(0, 220, 60)])
@pytest.mark.parametrize("declared", [None, 0.001])
def test_inches_of_a_fine_indicator_in_a_column_of_mm(places, declared) -> None:
    notes = found(lambda d: rounded(d / INCH, 0.00005), declared, places).notes
    assert sum("inches or mm?" in note for note in notes) == 2
    for count in (0.0005, 0.001, 0.01):
        assert not any("inches" in n for n in found(lambda d, c=count: rounded(d, c), declared, places).notes)


def test_inches_of_a_coarse_indicator_at_marks() -> None:
    """0.01 mm declared, 0.0005 in shown: a grid that is a twentieth of the count."""
    assert any("inches or mm?" in n for n in found(lambda d: rounded(d / INCH, 0.0005), 0.01).notes)
    # means of many readings at a mark lie on no grid, or on that of their last decimal
    mean = np.random.default_rng(3)
    assert not any(
        "inches" in n for n in found(lambda d: np.round(d + mean.normal(0, 1e-4, d.size), 6), 0.01).notes
    )


def stuck(depth: np.ndarray) -> np.ndarray:
    """It follows when it is 0.012 mm behind; coarser jumps in a long pass are refused as a bumped stand."""
    out, at = [], depth[0]
    for d in depth:
        at = d if abs(d - at) > 0.012 else at
        out.append(at)
    return rounded(np.array(out), 0.001)


@pytest.mark.parametrize("places", [MARKS, np.linspace(0, 220, 60)])
def test_a_plunger_that_sticks(places) -> None:
    assert any("a plunger that sticks" in n for n in found(stuck, 0.001, places).notes)
    for count in (0.001, 0.01, 0.0127):
        assert not any("sticks" in n for n in found(lambda d, c=count: rounded(d, c), count, places).notes)
    dusty = np.where((places > 60) & (places < 90), 0.04, 0.0)
    assert not any(
        "sticks" in n for n in found(lambda d: rounded(d * 0 + 2.5 + dusty, 0.001), 0.001, places).notes
    )

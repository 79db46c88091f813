"""Slips that readings show: inches in a column of mm, at marks and swept, a plunger that sticks; none where none is."""

from __future__ import annotations

import numpy as np
import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.finding import Finding
from bench.gear import Indicator, Jig
from bench.procedure.conclusion import conclude
from bench.render.remarks import notes_of

JIG = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
MARKS = np.arange(25.0, 226.0, 25.0)
INCH = 25.4

GRIDS = {"of-inches", "finer", "coarser", "grid-finer", "unlike"}


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
@pytest.mark.parametrize("declared", [None, pytest.param(0.001, marks=pytest.mark.ci)])
def test_inches_of_a_fine_indicator_in_a_column_of_mm(places, declared) -> None:
    finding = found(lambda d: rounded(d / INCH, 0.00005), declared, places)
    assert [d.placement for d in finding.doubts if d.code in GRIDS] == ["handle-left", "handle-right"]
    for count in (0.0005, 0.001, 0.01) if declared is None else (declared,):
        assert not found(lambda d, c=count: rounded(d, c), declared, places).codes & GRIDS


def test_inches_of_a_coarse_indicator_at_marks() -> None:
    """0.01 mm declared, 0.0005 in shown: a grid that is a twentieth of the count."""
    assert found(lambda d: rounded(d / INCH, 0.0005), 0.01).codes & GRIDS
    # means of many readings at a mark lie on no grid, or on that of their last decimal
    mean = np.random.default_rng(3)
    assert not found(lambda d: np.round(d + mean.normal(0, 1e-4, d.size), 6), 0.01).codes & GRIDS


def stuck(depth: np.ndarray) -> np.ndarray:
    """It follows when it is 0.012 mm behind; coarser jumps in a long pass are refused as a bumped stand."""
    out, at = [], depth[0]
    for d in depth:
        at = d if abs(d - at) > 0.012 else at
        out.append(at)
    return rounded(np.array(out), 0.001)


@pytest.mark.parametrize("places", [MARKS, np.linspace(0, 220, 60)])
def test_a_plunger_that_sticks(places) -> None:
    assert "sticks" in found(stuck, 0.001, places).codes
    for count in (0.001, 0.01, 0.0127):
        assert "sticks" not in found(lambda d, c=count: rounded(d, c), count, places).codes
    dusty = np.where((places > 60) & (places < 90), 0.04, 0.0)
    assert "sticks" not in found(lambda d: rounded(d * 0 + 2.5 + dusty, 0.001), 0.001, places).codes


@pytest.mark.parametrize(
    ("kind", "rows"),
    [
        ("slot-blade", [("front", 0, 2.5), ("rear", 160, 2.52)]),
        ("plate-wobble", [(f"turn-{45 * k}", 0, 1.5 + 0.02 * (k % 3)) for k in range(8)]),
        ("side-play", [("leaned-left", 0, 2.0), ("leaned-right", 0, 2.08)]),
    ],
)
def test_single_readings_in_two_units(kind: str, rows: list[tuple[str, float, float]]) -> None:
    def doubts(shown) -> list[str]:
        traces = [
            Trace(name, [at], [shown(k, n, r)], True, f"{k}")
            for k, (name, at, r) in enumerate(rows)
            for n in range(3)
        ]
        finding = conclude(Evidence(kind, traces), id="x", at="2026-01-01T00:00:00+00:00")
        return [doubt.code for doubt in finding.doubts]

    assert doubts(lambda k, n, r: r) == []
    assert doubts(lambda k, n, r: r / INCH if (k, n) == (1, 1) else r)[0] == "spread"
    assert doubts(lambda k, n, r: r / INCH if k == 1 else r)[0] in ("spread", "set-ups-apart")


def test_an_inch_user_reads_inches_in_the_notes() -> None:
    """0.1 mm per 300 mm is 4 thou in a foot of 12 in: NIST SP 811, B.8, an inch is 25.4 mm exactly."""
    traces = [Trace("handle-left", list(MARKS[:4]), [2.5, 2.51, 2.52, 2.53], True, "1")]
    found = conclude(
        Evidence("fence-square", traces, {}, EvidenceGear(jig=JIG)), id="x", at="2026-01-01T00:00:00+00:00"
    )
    notes = notes_of(found, "inch")
    assert any("4 thou per ft" in n for n in notes) and not any(" mm " in n for n in notes)
    assert any("0.10 mm per 300 mm" in n for n in notes_of(found, "mm"))


def test_a_reading_that_never_changes_is_asked_about(recorded) -> None:
    """A plunger that does not touch, or a display on hold, makes every fence dead square."""
    dead = [(n, p, 5 * k, "2.000") for n, p in ((1, "handle-left"), (2, "handle-right")) for k in range(40)]
    found = recorded("fence-square", dead)
    asked = [note for note in notes_of(found, "mm") if "did not move" in note]
    assert len(asked) == 2 and "handle left" in asked[0] and "touch" in asked[0]
    judged = recorded("fence-square", dead, gear=EvidenceGear(indicator=Indicator(resolution=0.001), jig=JIG))
    assert judged.verdict == judged.quantities[0].verdict == "cannot-tell" and judged.move is None
    assert [doubt.code for doubt in judged.doubts] == ["frozen", "frozen"]
    alive = [(*row[:3], "2.001") if row[2] == 100 else row for row in dead]
    assert "frozen" not in recorded("fence-square", alive).codes

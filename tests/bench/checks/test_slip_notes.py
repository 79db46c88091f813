"""Slips that readings show: inches in a column of mm, at marks and swept, a plunger that sticks; none where none is."""

from __future__ import annotations

import numpy as np
import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.finding import Finding
from bench.gear import Indicator, Jig
from bench.procedure.conclusion import conclude

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
@pytest.mark.parametrize("declared", [None, pytest.param(0.001, marks=pytest.mark.ci)])
def test_inches_of_a_fine_indicator_in_a_column_of_mm(places, declared) -> None:
    notes = found(lambda d: rounded(d / INCH, 0.00005), declared, places).notes
    assert sum("inches or mm?" in note for note in notes) == 2
    for count in (0.0005, 0.001, 0.01) if declared is None else (declared,):
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


@pytest.mark.parametrize(
    ("kind", "rows"),
    [
        ("slot-blade", [("front", 0, 2.5), ("rear", 160, 2.52)]),
        ("plate-wobble", [(f"turn-{45 * k}", 0, 1.5 + 0.02 * (k % 3)) for k in range(8)]),
        ("side-play", [("leaned-left", 0, 2.0), ("leaned-right", 0, 2.08)]),
    ],
)
def test_single_readings_in_two_units(kind: str, rows: list[tuple[str, float, float]]) -> None:
    def notes(shown) -> list[str]:
        traces = [
            Trace(name, [at], [shown(k, n, r)], True, f"{k}")
            for k, (name, at, r) in enumerate(rows)
            for n in range(3)
        ]
        return conclude(Evidence(kind, traces), id="x", at="2026-01-01T00:00:00+00:00").notes

    assert not any("Take them again" in n or "take them again" in n for n in notes(lambda k, n, r: r))
    assert "misread" in notes(lambda k, n, r: r / INCH if (k, n) == (1, 1) else r)[0]
    second = notes(lambda k, n, r: r / INCH if k == 1 else r)[0]
    assert "ake them again" in second


def test_an_inch_user_reads_inches_in_the_notes() -> None:
    from bench.checks.shared.note_units import in_units

    said = [
        "Shift by 0.254 to 0.508 mm.",
        "It is +0.025 mm per 300 mm, between -0.05 and 0.1 mm per 300 mm off.",
    ]
    assert in_units(said, "mm") == said
    # 0.025 per 300 is 0.001 in a foot of 12 in: NIST SP 811, B.8, an inch is 25.4 mm exactly
    assert in_units(said, "inch") == [
        "Shift by 10 thou to 20 thou.",
        "It is +1 thou per ft, between -2 thou per ft and 4 thou per ft off.",
    ]
    assert in_units(["254 mm of reading_mm; give width_in, or mm."], "inch") == [
        "10 in of reading_mm; give width_in, or mm."
    ]
    traces = [t for t in (Trace("handle-left", list(MARKS[:4]), [2.5, 2.51, 2.52, 2.53], True, "1"),)]
    gear = EvidenceGear(jig=JIG)
    kind = Evidence("fence-square", traces, {}, gear)
    notes = conclude(kind, id="x", at="2026-01-01T00:00:00+00:00", units="inch").notes
    assert not any(" mm " in n for n in notes)


def test_a_reading_that_never_changes_is_asked_about(recorded) -> None:
    """A plunger that does not touch, or a display on hold, makes every fence dead square."""
    dead = [(n, p, 5 * k, "2.000") for n, p in ((1, "handle-left"), (2, "handle-right")) for k in range(40)]
    found = recorded("fence-square", dead)
    asked = [note for note in found.notes if "did not change" in note]
    assert len(asked) == 2 and "handle-left" in asked[0] and "touch" in asked[0]
    judged = recorded("fence-square", dead, gear=EvidenceGear(indicator=Indicator(resolution=0.001), jig=JIG))
    assert judged.verdict == judged.quantities[0].verdict == "cannot-tell" and judged.move is None
    assert [doubt.code for doubt in judged.doubts] == ["frozen", "frozen"]
    alive = [(*row[:3], "2.001") if row[2] == 100 else row for row in dead]
    assert not any("did not change" in note for note in recorded("fence-square", alive).notes)

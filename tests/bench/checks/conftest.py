"""Recorded files in, findings out, by the road that `evaluate` takes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from pathlib import Path

import pytest

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, PriorKnowledge
from bench.cli.recorded_sweeps import read_sweeps
from bench.finding import Finding
from bench.procedure.conclusion import conclude


@pytest.fixture
def recorded(tmp_path: Path) -> Callable[..., Finding]:
    def work(
        kind: str,
        rows: Iterable[Iterable[object]],
        header: str = "sweep,placement,travel_mm,reading_mm",
        *,
        gear: EvidenceGear | None = None,
        known: PriorKnowledge | None = None,
        options: Mapping[str, object] | None = None,
    ) -> Finding:
        path = tmp_path / "recorded.csv"
        lines = [",".join(str(cell) for cell in row) for row in rows]
        path.write_text("\n".join([header, *lines]) + "\n")
        check = find(kind)
        values = {o.name: o.default for o in check.options if o.default is not None} | dict(options or {})
        used = gear or EvidenceGear()
        traces = read_sweeps(path, check, values, used)
        evidence = Evidence(kind, traces, values, used, known or PriorKnowledge())
        return conclude(evidence, id="x", at="2026-01-01T00:00:00+00:00")

    return work


@pytest.fixture
def line() -> Callable[..., list[tuple[object, ...]]]:
    """Rows of one sweep: a straight line sampled along the travel."""

    def rows(
        sweep: object, placement: str, slope: float, length: float = 300.0, n: int = 61, start: float = 0.0
    ) -> list[tuple[object, ...]]:
        places = [start + length * i / (n - 1) for i in range(n)]
        return [(sweep, placement, f"{s:.3f}", f"{2.0 + slope * (s - start):.6f}") for s in places]

    return rows

"""An export worked out again under the same settings gives the same answer, whichever way instruments count."""

from __future__ import annotations

import io

import pytest

from bench.checks import find
from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.cli.recorded_sweeps import read_sweeps
from bench.gear import Indicator, Travel
from bench.log.export import as_shown, sweeps_csv
from bench.procedure.conclusion import conclude


@pytest.mark.parametrize("indicator", ["pushed-in", "pulled-out"])
@pytest.mark.parametrize("travel", ["away", "toward"])
def test_signs_survive_an_export(tmp_path, indicator, travel) -> None:
    gear = EvidenceGear(indicator=Indicator(grows=indicator), travel=Travel(grows=travel, by_marks=False))
    traces = [
        Trace(
            placement,
            [i * 5.0 for i in range(41)],
            [2 + slope * i * 5.0 for i in range(41)],
            sweep=f"{n}{placement}",
        )
        for n in range(2)
        for placement, slope in (("handle-left", 2.5e-4), ("handle-right", -3.5e-4))
    ]
    evidence = Evidence("fence-square", traces, gear=gear)
    out = io.StringIO()
    sweeps_csv(as_shown(evidence), out, ("sweep", "placement", "travel", "reading"))
    path = tmp_path / "export.csv"
    path.write_text(out.getvalue())
    again = Evidence("fence-square", read_sweeps(path, find("fence-square"), {}, gear), gear=gear)
    first, second = (conclude(e, id="", at="").quantities[0].value for e in (evidence, again))
    assert first == pytest.approx(3e-4, abs=1e-8)
    assert second == pytest.approx(first, abs=1e-12)

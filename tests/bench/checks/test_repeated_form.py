"""What repeats at one place in every pass is the surface's form; what happens once is a disturbance.

The arm is a list of heights; the truth is that both set-ups ride over the same ones.
"""

from __future__ import annotations

import numpy as np
import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.daemon.evaluation_worker import fit_pass
from bench.finding import EvidenceError, Finding
from bench.gear import Indicator, Jig
from bench.procedure.conclusion import conclude
from bench.render.remarks import notes_of

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0)
A, E = 3e-4, 5e-5


def passes(ledge: dict[str, list[float]], *, wide: float = 60.0) -> list[Trace]:
    """Three passes a set-up over an arm that lies lower by `ledge` (of each pass) over the last `wide` mm."""
    chance, traces = np.random.default_rng(3), []
    for name, sign, b in (("handle-left", 1.0, A - E), ("handle-right", -1.0, A + E)):
        for n, depth in enumerate(ledge[name]):
            s = np.linspace(0.0, 220.0, 120)
            r = 2.5 + sign * (b + chance.normal(0, 1e-5)) * s + chance.normal(0, 5e-4, s.size)
            r = r - depth * (s > 220.0 - wide)
            traces.append(Trace(name, s.tolist(), np.round(r, 3).tolist(), True, f"{name}-{n}"))
    return traces


def found(traces: list[Trace]) -> Finding:
    gear = EvidenceGear(indicator=Indicator(resolution=0.001), jig=SLED)
    return conclude(Evidence("fence-square", traces, {}, gear), id="x", at="2026-01-01T00:00:00+00:00")


@pytest.mark.parametrize("depth", [0.06, 0.3])
def test_a_ledge_in_every_pass_is_kept_and_shown(depth: float) -> None:
    finding = found(passes({"handle-left": [depth] * 3, "handle-right": [depth] * 3}))
    fence = finding.quantities[0]
    assert abs(fence.value - A) <= fence.uncertainty < 4e-5
    assert [r.placement for r in finding.remarks if r.code == "form-repeats"] == [
        "handle-left",
        "handle-right",
    ]
    assert not any(r.severity == "refused" for r in finding.remarks)
    assert any("belongs to the edge" in note for note in notes_of(finding, "mm"))


def test_a_ledge_in_one_set_up_only_stands_in_the_budget() -> None:
    finding = found(passes({"handle-left": [0.06] * 3, "handle-right": [0.0] * 3}))
    fence = finding.quantities[0]
    row = next(r for r in finding.budget if r.part == "form that repeats")
    assert row.share > 0.5
    assert abs(fence.value - A) <= fence.uncertainty


def test_a_stand_bumped_once_is_refused_still() -> None:
    finding = found(passes({"handle-left": [0.0, 0.1, 0.0], "handle-right": [0.0] * 3}))
    assert [r.sweep for r in finding.remarks if r.severity == "refused"] == ["handle-left-1"]
    assert "form-repeats" not in finding.codes
    with pytest.raises(EvidenceError):  # bumped by something else in every pass
        found(passes({"handle-left": [0.1, -0.3, 0.05], "handle-right": [0.0] * 3}))


def test_the_second_pass_that_jumps_alike_is_not_refused_at_the_bench() -> None:
    first, second = passes({"handle-left": [0.1] * 3, "handle-right": [0.1] * 3})[:2]
    assert fit_pass(first, 0.001, "mm").words
    assert fit_pass(second, 0.001, "mm", first).words == ""
    bumped = passes({"handle-left": [-0.2] * 3, "handle-right": [0.1] * 3}, wide=120.0)[0]
    assert fit_pass(bumped, 0.001, "mm", first).words

"""A test board beside the latest sweeps in the log; a side that leaning could not prove; options that are for nothing."""

from __future__ import annotations

from pathlib import Path

import msgspec
import pytest
from command import command

from bench.checks.model import Evidence, EvidenceGear, LeanTest, PriorKnowledge, SweepHistory, Trace
from bench.finding import Finding, Move, Quantity
from bench.gear import Indicator, Jig, Saw
from bench.log import history
from bench.log.writer import LogWriter
from bench.procedure.conclusion import conclude
from bench.render.remarks import notes_of

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0, widest_board=400.0)
GEAR = EvidenceGear(indicator=Indicator(resolution=0.001), jig=SLED, saw=Saw("saw"))
AT = "2026-01-01T00:00:00+00:00"


def test_the_latest_sweep_counts_until_the_fence_is_moved(tmp_path: Path) -> None:
    writer = LogWriter.open(
        tmp_path / "log.db",
        boot_id="b",
        program="t",
        on_saved=lambda saved: None,
        on_trouble=lambda words: None,
    )
    move = Move("left", "away", 0.15, 0.01, [0.15], 0.0, "")

    def keep(number: int, jig: str = "sled", check: str = "fence-square") -> None:
        fence = Quantity("fence", number * 1e-4, "rad", 2e-5, 4.0, 1.67e-4, "outside", "")
        found = Finding(id=f"f{number}", at=AT, check=check, jig=jig, saw="saw", quantities=[fence])
        gear = msgspec.structs.replace(GEAR, jig=Jig(jig))
        writer.begin_check(f"r{number}", check, jig=jig, saw="saw", options={}, gear=gear)
        writer.finding(f"r{number}", found, Evidence(check, [], {}, gear))
        writer.move_planned(f"move-f{number}", f"f{number}", move)
        writer.finish(f"r{number}")
        writer.flush()

    def told() -> SweepHistory | None:
        return history.known(tmp_path / "log.db", "test-board", GEAR, {}).sweep

    try:
        keep(1)
        keep(2)
        keep(3, jig="other")
        assert told() == SweepHistory(2e-4, 2e-5, AT)
        writer.move_made("move-f2", {"distance_mm": 0.15})
        writer.flush()
        assert told() is None  # it tells of the fence as it was
        keep(4)
        assert told() == SweepHistory(4e-4, 2e-5, AT)
        keep(5, check="test-board")
        assert told() == SweepHistory(4e-4, 2e-5, AT)  # its move is only planned
        writer.move_made("move-f5", {"distance_mm": 0.15})
        writer.flush()
        assert told() is None  # the board's answer moved the same fence
    finally:
        writer.close()


@pytest.mark.parametrize(
    ("sweep", "says"), [(1e-3, "It agrees with the passes"), (0.6e-3, "The two differ by more")]
)
def test_a_board_is_told_beside_the_sweep_in_the_log(sweep: float, says: str) -> None:
    """The widths of a simulated board of a fence out by 0.001 rad, strip read 369.42 mm apart."""
    traces = [
        Trace(end, [place], [width])
        for end, place, width in (("near", 15.0, 25.3921), ("far", 384.42, 23.9144))
        for _ in range(3)
    ]
    known = PriorKnowledge(sweep=SweepHistory(sweep, 2e-5, AT), yaw_play=1e-4)
    evidence = Evidence("test-board", traces, {"turns": 4, "kept": "left", "apart": 369.42}, GEAR, known)
    found = conclude(evidence, id="x", at=AT)
    assert found.quantities[0].value == pytest.approx(1e-3, abs=1e-6)
    notes = notes_of(found, "mm")
    assert any(says in note for note in notes)
    assert any("2026-01-01" in note for note in notes)


def test_a_lean_that_showed_no_play_proves_no_side() -> None:
    places = [float(s) for s in range(0, 200, 10)]
    traces = [
        Trace("handle-left", places, [2.0 + 0.0004 * s for s in places], sweep=str(n), seat=str(n))
        for n in range(3)
    ]
    lean = LeanTest("handle-left", 2.0, 2.001)
    evidence = Evidence("fence-square", traces, {"placements": "handle-left"}, GEAR, PriorKnowledge(), [lean])
    found = conclude(evidence, id="x", at=AT)
    assert "lean-without-play" in found.codes and "lean-with-play" not in found.codes
    (side,) = [remark for remark in found.remarks if remark.code == "side-as-said"]
    assert side.values == {"proof": "without-play"}


@pytest.mark.parametrize(
    ("kind", "option", "value"),
    [
        ("fence-straight", "--mount", "standing"),
        pytest.param("runner-fit", "--side", "left", marks=pytest.mark.ci),
        pytest.param("test-board", "--side", "right", marks=pytest.mark.ci),
    ],
)
def test_what_a_kind_has_no_use_for_is_refused(tmp_path: Path, kind: str, option: str, value: str) -> None:
    done = command("evaluate", kind, "any.csv", option, value, home=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert option in done.stderr and kind in done.stderr

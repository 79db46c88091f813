"""The checks of saw and sled by the command line: files and options in, one JSON object out, exit status."""

from __future__ import annotations

import json
import math
import sys
from pathlib import Path

import pytest

from bench.cli import main

SETTINGS = """
[indicator]
resolution = "0.001 mm"
[saw.cabinet]
rip_fence = "right"
toe = "0.08 mm per 500 mm"
[jig.sled]
saw = "cabinet"
pivot = "right"
pivot_to_blade = "250 mm"
pivot_to_screw = "500 mm"
[leaves]
set = ["0.05 mm", "0.10 mm", "0.15 mm"]
"""
HEAD = "sweep,placement,travel_mm,reading_mm"


@pytest.fixture
def evaluate(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    def work(kind: str, rows: list[tuple[object, ...]], *options: str, settings: str = SETTINGS):
        told = tmp_path / "settings.toml"
        told.write_text(settings)
        path = tmp_path / "recorded.csv"
        path.write_text("\n".join([HEAD, *(",".join(map(str, row)) for row in rows)]) + "\n")
        command = ["evaluate", kind, str(path), "--json", "--settings", str(told), *options]
        monkeypatch.setattr(sys, "argv", ["sweepgauge", *command])
        with pytest.raises(SystemExit) as left:
            main()
        out, err = capsys.readouterr()
        return left.value.code, (json.loads(out) if out else None), err

    return work


def line(sweep: object, placement: str, slope: float) -> list[tuple[object, ...]]:
    return [(sweep, placement, s, f"{2 + slope * s:.4f}") for s in range(0, 305, 5)]


def value(finding: dict, name: str) -> float:
    return next(q["value"] for q in finding["quantities"] if q["name"] == name)


def test_fence_square_with_its_move(evaluate) -> None:
    """a +0.0003, pivot 250 right of the blade, screw 250 left of it: +0.150, away. e +0.00005."""
    rows = [r for n in range(3) for r in line(n, "handle-left", 2.5e-4) + line(n, "handle-right", -3.5e-4)]
    status, finding, _ = evaluate("fence-square", rows)
    assert status == 1 and finding["verdict"] == "outside"
    assert value(finding, "fence") == pytest.approx(3e-4, abs=1e-6)
    assert value(finding, "square") == pytest.approx(5e-5, abs=1e-6)
    move = finding["move"]
    assert (move["end"], move["way"]) == ("left", "away")
    assert move["distance"] == pytest.approx(0.150, abs=0.001) and move["leaves"] == [0.15]
    turned, finding, _ = evaluate("fence-square", rows, "--side", "left")
    assert turned == 1 and value(finding, "fence") == pytest.approx(-3e-4, abs=1e-6)
    assert finding["move"]["way"] == "toward"


def test_rip_fence_with_the_blades_rotation(evaluate) -> None:
    """b_blade +0.0001, b_fence -0.0002: toe -0.0003, opens 0.090 over 300; more than 0.08 over 500 is too much."""
    rows = [r for n in range(3) for r in line(n, "-", -2e-4)]
    status, finding, _ = evaluate("rip-fence", rows, "--blade", "0.0001")
    assert status == 1 and finding["verdict"] == "outside"
    assert value(finding, "toe") == pytest.approx(-3e-4, abs=1e-6)
    alone, finding, said = evaluate("rip-fence", rows, settings="")
    assert alone == 0 and finding["verdict"] is None and "No saw is named" in said
    assert [q["name"] for q in finding["quantities"]] == ["rip-fence"]


def test_slot_blade_by_spots_and_by_turns(evaluate) -> None:
    spots = [(n, "front", 0, "1.000") for n in range(3)] + [(n, "rear", 200, "1.030") for n in range(3)]
    status, finding, _ = evaluate("slot-blade", spots)
    assert status == 0 and value(finding, "blade") == pytest.approx(-1.5e-4)
    _, finding, _ = evaluate("slot-blade", spots, "--slot", "left")
    assert value(finding, "blade") == pytest.approx(1.5e-4)
    turns = [r for k in range(4) for r in line(k, f"turn-{90 * k}", 3e-4 * math.cos(k * math.pi / 2) + 1e-4)]
    _, finding, _ = evaluate("slot-blade", turns)
    assert value(finding, "blade") == pytest.approx(-1e-4, abs=2e-6)


def test_plate_wobble(evaluate) -> None:
    rows = [
        (1, f"turn-{t}", 0, f"{1 + 0.02 * math.cos(math.radians(t - 60)):.4f}") for t in range(0, 360, 30)
    ]
    status, finding, _ = evaluate("plate-wobble", rows, "--radius", "100 mm", "--rim", "5 in")
    assert status == 0 and finding["verdict"] == "inside"
    assert value(finding, "tilt") == pytest.approx(0.04, abs=1e-4)
    assert value(finding, "phase") == pytest.approx(math.radians(60), abs=0.01)
    assert any("127 mm out, the tilt is 0.051 mm" in note for note in finding["notes"])


def test_side_play(evaluate) -> None:
    rows = [
        (n, f"{how}-{way}", at, r)
        for n in range(5)
        for how, at in (("leaned", 0), ("twisted", 250))
        for way, r in (("left", 2.0), ("right", 2.1))
    ]
    status, finding, _ = evaluate("side-play", rows)
    assert status == 0 and finding["verdict"] == "inside"
    assert value(finding, "side-play") == pytest.approx(0.1) and value(finding, "yaw-play") == pytest.approx(
        4e-4
    )


@pytest.mark.parametrize("kind", ["fence-square", "rip-fence", "slot-blade", "plate-wobble", "side-play"])
def test_a_placement_of_another_check(evaluate, kind) -> None:
    status, finding, said = evaluate(kind, [(1, "nowhere", s, 1.0) for s in range(20)])
    assert (status, finding) == (2, None)
    assert len(said.strip().splitlines()) == 1 and "recorded.csv:2: unknown placement 'nowhere'" in said

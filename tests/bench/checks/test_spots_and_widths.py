"""Wobble, play, runners, straightness and the test board by the road of recorded files."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from bench.checks.model import EvidenceGear
from bench.finding import EvidenceError
from bench.gear import Caliper, Jig, Saw
from bench.render.remarks import notes_of

SLED = Jig("sled", pivot="right", pivot_to_blade=250.0, pivot_to_screw=500.0, widest_board=600.0)
WIDTHS = "what,station_mm,width_mm"


def test_plate_wobble_finds_its_first_harmonic(recorded) -> None:
    """Half a swing of 0.02 at 120 degrees and a warp of twice the frequency, against numpy's own FFT."""
    turns = range(0, 360, 30)
    reads = [
        1 + 0.02 * math.cos(math.radians(t - 120)) + 0.004 * math.cos(math.radians(2 * t)) for t in turns
    ]
    harmonic = np.fft.rfft(reads)[1] * 2 / len(reads)
    found = recorded(
        "plate-wobble",
        [(1, f"turn-{t}", 0, f"{r:.6f}") for t, r in zip(turns, reads, strict=True)],
        gear=EvidenceGear(saw=Saw("saw", wobble=0.10)),
        options={"radius": 100.0},
    )
    value = {q.name: q.value for q in found.quantities}
    fine = np.radians(np.arange(0, 360, 0.01))  # its peaks lie between the marks
    whole = 0.02 * np.cos(fine - math.radians(120)) + 0.004 * np.cos(2 * fine)
    assert value["total"] == pytest.approx(np.ptp(whole), abs=2e-6)
    assert value["tilt"] == pytest.approx(2 * abs(harmonic), abs=2e-6)
    assert value["phase"] == pytest.approx(-np.angle(harmonic) % (2 * math.pi), abs=1e-3)
    assert 0 <= value["phase"] < 2 * math.pi
    assert value["warp"] == pytest.approx(0.008, abs=2e-5)
    assert found.verdict == "inside"
    with pytest.raises(EvidenceError):
        recorded("plate-wobble", [(1, "turn-0", 0, 1), (1, "turn-90", 0, 1)])


def test_side_and_yaw_play(recorded) -> None:
    """Five leans each way, 0.10 apart; twisted at 250 mm, 0.10 apart: 0.0004 (19.00 in 19.10, 500 long)."""
    rows = []
    for n in range(5):
        jitter = 0.001 * (n - 2)
        rows += [
            (n, "leaned-left", 0, 1.00 + jitter),
            (n, "leaned-right", 0, 1.10 + jitter),
            (n, "twisted-left", 250, 1.00 - jitter),
            (n, "twisted-right", 250, 1.10 - jitter),
        ]
    found = recorded("side-play", rows, gear=EvidenceGear(jig=SLED))
    side, yaw = found.quantities
    assert (side.name, side.unit, yaw.name, yaw.unit) == ("side-play", "mm", "yaw-play", "rad")
    assert side.value == pytest.approx(0.10, abs=1e-9)
    assert yaw.value == pytest.approx(4e-4, abs=1e-12)
    assert found.verdict == "inside"


@pytest.mark.parametrize("pinch", [None, 18.99])
def test_runner_in_its_slot(recorded, pinch) -> None:
    rows = [("slot-left", s, 19.10) for s in range(0, 701, 50)] + [
        ("runner-left", s, 19.00) for s in (0, 250, 500)
    ]
    if pinch is not None:
        rows[7] = ("slot-left", 350, pinch)
    found = recorded("runner-fit", rows, WIDTHS, gear=EvidenceGear(jig=SLED, caliper=Caliper()))
    value = {q.name: q.value for q in found.quantities}
    assert found.positions
    if pinch is None:
        assert value["yaw-play"] == pytest.approx(4e-4)
        assert value["side-play"] == pytest.approx(0.100)
        assert value["relief"] == 0
        assert any(p.side_play is None for p in found.positions)  # only one station in the slot
    else:
        assert value["relief"] == pytest.approx(0.01)
        assert any("ake 0.01 mm off" in note for note in notes_of(found, "mm"))


def test_two_runners_want_their_spacing(recorded) -> None:
    rows = [
        (f"{what}-{side}", s, w)
        for what, w in (("slot", 19.1), ("runner", 19.0))
        for side in ("left", "right")
        for s in (0, 500)
    ]
    with pytest.raises(EvidenceError, match="slot-spacing"):
        recorded("runner-fit", rows, WIDTHS)
    spacing = [(f"{what}-spacing", s, 300.0) for what in ("slot", "runner") for s in (0, 500)]
    found = recorded("runner-fit", [*rows, *spacing], WIDTHS)
    assert found.quantities[1].value == pytest.approx(0.1)


@pytest.mark.parametrize("fence", ["near", "far"])
def test_a_crowned_fence(recorded, fence) -> None:
    """The crown of the worked contact line, f = 0.05 (1 - (x/450)^2), under a straightedge bowed by 0.03."""
    chance = random.Random(5)
    rows = []
    for n in range(3):
        for placement, sign in (("as-is", 1), ("rolled-over", -1)):
            for x in range(-450, 451, 5):
                f = 0.05 * (1 - (x / 450) ** 2)
                g = 0.03 * (1 - (x / 450) ** 2) + 1e-4 * x
                rows.append((n, placement, x, f"{1 + f + sign * g + chance.gauss(0, 0.0005):.4f}"))
    jig = Jig("sled", fence=fence, widest_board=400.0)
    found = recorded("fence-straight", rows, gear=EvidenceGear(jig=jig))
    value = {q.name: q for q in found.quantities}
    for name in ("minimum-zone", "least-squares"):
        assert abs(value[name].value - 0.05) <= value[name].uncertainty + 0.001
    assert value["bow"].value == pytest.approx(0.05, abs=0.003)
    assert value["bow"].way == "crown"
    assert found.profile is not None and len(found.profile) > 50
    assert found.contact
    left = next(c for c in found.contact if c.to <= 0)
    # a crown falls off to the left: there the face of a near fence runs away from the operator going right
    assert (left.rotation > 0) == (fence == "near")


def test_straightness_without_a_sled(recorded) -> None:
    rows = [
        (n, placement, x, f"{1 + 1e-4 * x:.4f}")
        for n in range(2)
        for placement in ("as-is", "rolled-over")
        for x in range(0, 601, 10)
    ]
    found = recorded("fence-straight", rows)
    assert len(found.contact) == 3
    assert found.quantities[0].value <= 0.002
    with pytest.raises(EvidenceError, match="rolled-over"):
        recorded("fence-straight", [r for r in rows if r[1] == "as-is"])


@pytest.mark.parametrize(
    ("apart", "near", "far", "kept", "a"),
    [
        (369.42, 25.3921, 23.9144, "left", 1e-3),
        (368.00, 25.4081, 26.8801, "left", -1e-3),
        (369.42, 25.3921, 23.9144, "right", -1e-3),
    ],
)
def test_boards_cut_by_independent_simulation(recorded, apart, near, far, kept, a) -> None:
    rows = [("near", near)] * 3 + [("far", far)] * 3
    found = recorded(
        "test-board",
        rows,
        "end,width_mm",
        gear=EvidenceGear(jig=SLED),
        options={"apart": apart, "turns": 4, "kept": kept},
    )
    (board,) = found.quantities
    assert board.value == pytest.approx(a, abs=1e-6)
    assert found.verdict == "outside"
    assert board.way == ("left end too near you" if a > 0 else "left end too far from you")


def test_strips_of_one_file_come_one_after_the_other(recorded) -> None:
    rows = [
        (end, w + 0.01 * k)
        for end, w in (("near", 26.5), ("far", 26), ("near", 27), ("far", 26.4))
        for k in (0, 1)
    ]
    found = recorded("test-board", rows, "end,width_mm", options={"apart": 370.0, "strips": 2})
    assert found.quantities[0].value == pytest.approx(0.55 / (4 * 370))
    assert not found.codes & {"widths-differ", "one-strip"}


def test_inches_are_exact(recorded) -> None:
    rows = [("near", 1.0)] * 2 + [("far", 0.99)] * 2
    found = recorded("test-board", rows, "end,width_in", options={"apart": 254.0, "turns": 4})
    assert found.quantities[0].value == pytest.approx(0.01 * 25.4 / (4 * 254.0))

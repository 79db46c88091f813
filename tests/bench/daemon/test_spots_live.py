"""Spots taken live through the running daemon: sled leaned and twisted by hand, then a fence check that knows the play."""

from __future__ import annotations

import pytest

LEANS = {"leaned-left": 2.45, "leaned-right": 2.55, "twisted-left": 2.46, "twisted-right": 2.54}


@pytest.mark.slow  # twenty spots, each held still for half a second
def test_play_is_measured_and_known_to_the_next_check(rigs, run) -> None:
    """0.10 mm of side play, 0.08 mm at 250 mm: 0.00032 rad; the next single push lives by it."""
    rig = rigs(marks='["20 mm", "60 mm", "100 mm", "140 mm"]')
    daemon = run("daemon")
    daemon.hear("ready")
    check = run("check", "side-play", "--json")
    check.hear("Press Enter")
    check.enter()
    for placement, value in LEANS.items():
        check.hear_set_up(placement)
        rig.offset = value
        check.enter()
        for taken in range(1, 6):
            check.enter()
            check.hear(f"{taken} of 5 kept")
    assert check.wait() == 0
    finding = check.answer()
    side, yaw = finding["quantities"]
    assert side["value"] == pytest.approx(0.10, abs=0.002)
    assert yaw["value"] == pytest.approx(3.2e-4, abs=1e-5)
    assert finding["verdict"] is None

    rig.offset = 2.5
    fence = run("check", "fence-square", "--sweeps", "1", "--placements", "handle-left", "--json")
    fence.hear("to the LEFT of the arm")  # the cautions were acknowledged minutes ago
    fence.enter()
    for number, place in enumerate((20, 60, 100, 140), 1):
        fence.hear(f"mark {number} of 4")
        rig.s = float(place)
        fence.enter()
        fence.hear(f"mark {number} of 4: ")
    fence.wait()
    budget = {row["part"]: row["standard_uncertainty"] for row in fence.answer()["budget"]}
    assert budget["between sweeps"] == pytest.approx(yaw["value"] / 12**0.5, rel=1e-6)
    assert daemon.end() == 0

"""After a move the wrong way the verifying check says so."""

from __future__ import annotations

import pytest


def push(rig, check, a: float) -> None:
    for placement in ("handle-left", "handle-right"):
        check.hear_set_up(placement)
        rig.s = 0.0
        rig.rotation = a
        rig.side = "right" if placement == "handle-left" else "left"
        check.enter()
        check.hear("ready")
        rig.go(150.0, 600.0)
        check.hear("1 of 1 kept")


@pytest.mark.ci
def test_a_move_the_wrong_way_is_remarked(rigs, run) -> None:
    rig = rigs()
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--sweeps", "1", "--json")
    check.enter()
    push(rig, check, 1e-3)
    assert check.wait() == 1
    finding = check.answer()
    moved = run("moved", "--distance", "0.5 mm", "--how", "leaves")
    assert moved.wait() == 0
    after = run("check", "fence-square", "--sweeps", "1", "--verifies", finding["id"], "--json")
    after.enter()
    push(rig, after, 2e-3)
    assert after.wait() == 1
    assert after.answer()["remarks"][0]["code"] == "moved-wrong-way"
    shown = run("log", "show", finding["id"], "--json")
    shown.wait()
    (move,) = shown.answer()["moves"]
    assert move["made"]["distance_mm"] == 0.5
    assert move["verified_by"] is not None

"""What goes wrong with hands on the sled, through a real daemon: it is said, and the answer stays right."""

from __future__ import annotations

import pytest

A = 0.0003  # rad: the fence is out by 0.09 mm in 300; the square is true

pytestmark = pytest.mark.slow


def begin(rigs, run, *more: str):
    rig = rigs()
    rig.rotation = A
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--json", *more)
    check.hear("Press Enter")
    check.enter()
    return rig, check


def place(rig, check, placement: str) -> None:
    check.hear_set_up(placement)
    rig.side = "right" if placement == "handle-left" else "left"
    check.enter()
    check.hear("ready")


def right(check) -> dict:
    assert check.wait() == 1
    found = check.answer()
    fence = found["quantities"][0]
    assert fence["value"] == pytest.approx(A, abs=max(8e-6, fence["uncertainty"]))
    assert fence["uncertainty"] < 2e-4
    return found


def test_a_stand_bumped_between_passes_and_in_a_draw_back(rigs, run) -> None:
    """A step between two passes shifts them and turns neither; one in a draw back costs no push."""
    rig, check = begin(rigs, run, "--sweeps", "3")
    place(rig, check, "handle-left")
    rig.go(150.0)
    check.hear("1 of 3 kept")
    rig.offset += 0.15  # at rest, at the end
    rig.go(0.0)
    check.hear("Returned to the start")
    rig.offset -= 0.4  # at rest, at the start
    rig.go(150.0)
    check.hear("2 of 3 kept")
    rig.go(80.0)
    rig.offset += 0.3  # while it is drawn back
    rig.go(0.0)
    check.hear("jumps by")
    check.hear("ready: 3 of 3")
    rig.go(150.0)
    check.hear("3 of 3 kept")
    rig.s = 0.0
    place(rig, check, "handle-right")
    for number in (1, 2, 3):
        rig.go(150.0)
        check.hear(f"{number} of 3 kept")
        if number < 3:
            rig.go(0.0)
            check.hear("Returned to the start")
    found = right(check)
    assert sum(sweep["push"] for sweep in found["sweeps"]) == 6


def test_a_sled_not_pushed_the_whole_way(rigs, run) -> None:
    """After a whole pass a short one is refused; a first one that was short is taken back when it shows."""
    rig, check = begin(rigs, run, "--sweeps", "2")
    place(rig, check, "handle-left")
    rig.go(80.0)
    check.hear("1 of 2 kept")
    rig.go(0.0)
    check.hear("Returned to the start")
    rig.go(160.0)
    check.hear("mm shows it was not whole")
    check.hear("1 of 2 kept")
    rig.go(0.0)
    rig.go(90.0)
    check.hear("push right through to the end")
    rig.go(0.0)
    rig.go(160.0)
    check.hear("2 of 2 kept")
    rig.s = 0.0
    place(rig, check, "handle-right")
    rig.go(160.0)
    check.hear("1 of 2 kept")
    rig.go(0.0)
    check.hear("Returned to the start")
    rig.go(160.0)
    found = right(check)
    # what was no whole pass took its draw back with it: nothing now comes before the first push
    assert found["sweeps"][0]["push"]
    assert found["doubts"] == []


def test_only_drawn_back(rigs, run) -> None:
    """Whoever sets up at the far end and draws back is told that only pushes count."""
    rig, check = begin(rigs, run, "--sweeps", "1")
    rig.s = 150.0
    place(rig, check, "handle-left")
    rig.go(0.0)
    words = check.hear("draw back")
    assert "only pushes count" in words
    assert "grows" in words
    rig.go(150.0)
    check.hear("1 of 1 kept")
    rig.s = 0.0
    place(rig, check, "handle-right")
    rig.go(150.0)
    right(check)

"""A scale that counts toward the operator: turned for the sled's way, not for a place along a fence."""

from __future__ import annotations

import pytest


def settings(tmp_path) -> None:
    path = tmp_path / "settings.toml"
    path.write_text(path.read_text().replace("[travel]\n", '[travel]\ngrows = "toward"\n'))


@pytest.mark.ci
def test_a_profile_is_not_mirrored(rigs, run, tmp_path) -> None:
    """A face that bends at its far end only: there, and not at its near end, the live profile bends too."""
    rig = rigs()
    settings(tmp_path)
    run("daemon").hear("ready")
    check = run("check", "fence-straight", "--sweeps", "1", "--json")
    check.enter()
    for placement in ("as-is", "pressed", "rolled-over"):
        check.hear_set_up(placement)
        rig.s = 0.0
        rig.reading = lambda: 2.0 + 0.1 * (rig.s / 200) ** 3
        check.enter()
        check.hear("ready")
        rig.go(200.0, 200.0)
        check.hear("1 of 1 kept")
    assert check.wait() in (0, 1), check.hear("no such words")
    profile = check.answer()["profile"]
    assert profile[0][0] >= -1 and profile[-1][0] > 150  # places as the scale shows them
    heights = [f for _, f in profile]
    third = len(heights) // 3

    def sag(piece: list[float]) -> float:
        return (piece[0] + piece[-1]) / 2 - piece[len(piece) // 2]

    assert sag(heights[-third:]) > 2 * abs(sag(heights[:third]))


@pytest.mark.ci
def test_the_sleds_way_is_turned(rigs, run, tmp_path) -> None:
    rig = rigs()
    settings(tmp_path)
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--sweeps", "1", "--json")
    check.enter()
    for placement, side in (("handle-left", "right"), ("handle-right", "left")):
        check.hear_set_up(placement)
        rig.s, rig.rotation, rig.side = 200.0, 3e-4, side
        # pushed away the scale counts down, the surface walks the same way as ever
        rig.reading = lambda: rig.offset + (1 if rig.side == "right" else -1) * 3e-4 * (200.0 - rig.s)
        check.enter()
        check.hear("ready")
        rig.go(0.0, 200.0)
        check.hear("1 of 1 kept")
    check.wait()
    fence = check.answer()["quantities"][0]
    assert fence["value"] == pytest.approx(3e-4, abs=fence["uncertainty"])
    assert fence["way"] == "left end too near you"

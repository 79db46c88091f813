"""`sweepgauge learn` on a running daemon beside the tests' own cables, driven by Enter, as a user without a screen."""

from __future__ import annotations

import signal

import pytest

from bench.settings.settings_file import load


@pytest.fixture
def bare(rigs, run, tmp_path, monkeypatch):
    """The rig's cables, a daemon that nothing was told of, and the way to the command."""
    rig = rigs()
    (tmp_path / "settings.toml").unlink()
    daemon = run("daemon", ports=f"{tmp_path}/port-*")
    daemon.hear("ready")
    return rig, run, tmp_path / "settings.toml", daemon


def press(rig, mm: float = 2.0) -> None:
    """A finger on the plunger: in, and out again."""
    rest = rig.offset
    for n in (*range(11), *range(10, -1, -1)):
        rig.offset = rest + mm * n / 10
        rig.rest(0.02)


@pytest.mark.ci
def test_the_plunger_is_found_and_kept(bare) -> None:
    rig, run, settings, _ = bare
    learn = run("learn", "indicator", "--json")
    learn.enter()  # too early: it answers nothing that is yet to be seen
    learn.hear("Press the indicator's plunger")
    rig.rest(1.0)  # the cables are listened to
    press(rig)
    learn.hear("Enter keeps it")
    assert not settings.exists()
    learn.enter()
    assert learn.wait() == 0
    answer = learn.answer()
    assert (answer["what"], answer["phase"], answer["port"]) == ("indicator", "kept", rig.names["indicator"])
    assert load(settings).gear.indicator.grows == "pushed-in"


@pytest.mark.slow  # a daemon, three commands
def test_a_daemon_killed_in_mid_learning_leaves_nothing_and_the_sled_is_found_after(bare, tmp_path) -> None:
    rig, run, settings, daemon = bare
    learn = run("learn", "travel")
    learn.hear("Push the sled AWAY")
    rig.rest(1.0)
    rig.go(80.0)
    learn.hear("Enter keeps it")
    daemon.end(signal.SIGKILL)
    assert learn.wait() == 2
    assert "the daemon went away" in learn.rest()
    assert [p.name for p in tmp_path.iterdir() if "settings" in p.name] == []
    run("daemon", ports=f"{tmp_path}/port-*").hear("ready")
    learn = run("learn", "travel")
    learn.hear("Push the sled AWAY")
    rig.rest(1.0)
    rig.go(160.0)
    learn.hear("Enter keeps it")
    learn.enter()
    assert learn.wait() == 0
    kept = load(settings)
    assert kept.travel is not None and kept.gear.travel.grows == "away"


@pytest.mark.ci  # a daemon each
@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("learn", "leaf"), "no indicator is set up"),
        (("learn", "indicator", "--leaf", "0.1 mm"), "--leaf goes with"),
        (("learn", "leaf", "--leaf", "thin"), "--leaf: "),
    ],
)
def test_wrong_use_is_one_line_and_exit_2(bare, args, words) -> None:
    _, run, _, _ = bare
    command = run(*args)
    assert command.wait() == 2
    (line,) = command.rest().strip().splitlines()
    assert words in line


@pytest.mark.ci  # a daemon each
def test_where_no_cable_is_that_is_said_and_a_silent_one_too(rigs, run, tmp_path) -> None:
    rig = rigs()
    (tmp_path / "settings.toml").unlink()
    daemon = run("daemon", ports=f"{tmp_path}/none-*")
    daemon.hear("ready")
    learn = run("learn", "indicator")
    learn.hear("No cable is heard yet")
    learn.end()
    daemon.end()
    rig.sends = False
    run("daemon", ports=f"{tmp_path}/port-*").hear("ready")
    run("learn", "indicator").hear("press its send button")

"""The machine's clock is set while a pass runs: the answer is the same, the order is kept, and it is said."""

from __future__ import annotations

import sqlite3
import time
from pathlib import Path

import pytest

from bench.daemon.machine import WallClock
from bench.render.clock import jump_words

A = 0.0003  # rad

# Python's own hook at start, in place of the machine's clock: seconds to add stand in a file
HOOK = """
import pathlib, time
_real, _file = time.time, pathlib.Path({file!r})
time.time = lambda: _real() + float(_file.read_text() or 0)
"""


def test_only_a_jump_is_one() -> None:
    at = {"wall": 1000.0, "count": 5.0}
    clock = WallClock(lambda: at["wall"], lambda: at["count"], lambda: at["count"] > 100)
    assert clock.jumped() is None
    at["wall"], at["count"] = at["wall"] + 60.3, at["count"] + 60.0  # nudged
    assert clock.jumped() is None
    assert not clock.set_now()
    at["wall"] -= 3600.0
    assert clock.jumped() == pytest.approx(-3600.0)
    assert clock.jumped() is None
    at["count"] += 100.0
    assert clock.set_now()
    assert not clock.set_now()


@pytest.mark.parametrize(
    ("jump", "words"),
    [(-3600.0, "1.0 h back"), (86400.0, "24 h forward"), (5.0, "5 s forward"), (-1.7e9, "days back")],
)
def test_a_jump_in_words(jump: float, words: str) -> None:
    assert words in jump_words(jump)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("jump", "says"), [("-3600", "1.0 h back"), ("86400", "24 h forward"), ("1970", "days back")]
)
def test_the_clock_jumps_in_mid_sweep(rigs, run, tmp_path: Path, monkeypatch, jump: str, says: str) -> None:
    ahead = tmp_path / "ahead"
    ahead.write_text("0")
    (tmp_path / "sitecustomize.py").write_text(HOOK.format(file=str(ahead)))
    monkeypatch.setenv("PYTHONPATH", str(tmp_path))
    rig = rigs()
    rig.rotation = A
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--sweeps", "2", "--json")
    check.hear("Press Enter")
    check.enter()
    for placement in ("handle-left", "handle-right"):
        check.hear_set_up(placement)
        rig.side, rig.s = ("right" if placement == "handle-left" else "left"), 0.0
        check.enter()
        for number in (1, 2):
            if number == 1:
                check.hear("ready: 1 of 2")
            rig.go(60.0)
            if (placement, number) == ("handle-left", 2):
                new = jump if jump != "1970" else str(1000.0 - time.time())
                beside = ahead.with_suffix(".new")
                beside.write_text(new)
                beside.replace(ahead)
            rig.go(150.0)
            check.hear(f"{number} of 2 kept")
            if number == 1:
                rig.go(0.0)
                check.hear("Returned to the start")
    assert check.wait() == 1
    found = check.answer()
    fence = found["quantities"][0]
    assert fence["value"] == pytest.approx(A, abs=max(8e-6, fence["uncertainty"]))
    assert fence["uncertainty"] < 1e-4
    assert sum(sweep["push"] for sweep in found["sweeps"]) == 4
    assert any(says in note and "during this check" in note for note in found["notes"])
    if jump == "1970":
        assert found["at"].startswith("1970-01-01")
    with sqlite3.connect(tmp_path / "log.db") as db:
        order = db.execute("SELECT started_monotonic_ns FROM sweep WHERE state = 'whole' ORDER BY sweep_key")
        times = [at for (at,) in order]
        flagged = db.execute("SELECT count(*) FROM event WHERE kind = 'clock-jumped'").fetchone()
    assert times == sorted(times)
    assert flagged == (1,)

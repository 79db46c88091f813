"""The tap test: a stand that comes back goes on to the push, one that does not is said and asked again."""

from __future__ import annotations

import sqlite3
import time

import pytest

from bench.asking import Facts, ask
from bench.checks.model import Step
from bench.daemon.still import Taken
from bench.daemon.tapping import not_back

STEPS = (Step("a", "Set it up.", "sweep", side="right"), Step("b", "Measure it.", "width"))


@pytest.mark.parametrize(
    ("after", "spread", "off"),
    [(2.5, 0.0, None), (2.501, 0.0, None), (2.503, 0.0, 0.003), (2.503, 0.012, None), (2.49, 0.012, -0.01)],
)
def test_how_near_it_must_come_back(after: float, spread: float, off: float | None) -> None:
    """Within a count, or 1.5 times the noise at rest, the larger; common practice, no source."""
    found = not_back(Taken(2.5, spread, 50, 1.0), Taken(after, spread, 50, 3.0), 0.001)
    assert found == (None if off is None else pytest.approx(off))


def test_only_what_is_swept_is_tapped_and_every_set_up_anew() -> None:
    facts = Facts(acknowledged=True, placed=True, kept=[0, 0], tap_wanted=True)
    assert ask((), STEPS, facts).phase == "tap"
    assert not ask((), STEPS, facts).enter  # the number at rest is taken by itself
    facts.tap_rest = True
    assert ask((), STEPS, facts).enter
    facts.lean_wanted = True
    assert ask((), STEPS, facts).phase == "tap"  # a sled let go after leaning would move the number too
    facts.tapped = True
    assert ask((), STEPS, facts).phase == "lean"
    facts.leaned = [0]
    assert ask((), STEPS, facts).phase == "sweep"
    facts.tapped, facts.step = False, 1
    assert ask((), STEPS, facts).phase == "width"


def tap(rig, stays: float) -> None:
    """The number jumps and comes back, but for what stays."""
    rig.offset += 0.06
    time.sleep(0.1)
    rig.offset += stays - 0.06


@pytest.mark.slow
def test_a_stand_that_does_not_hold_is_asked_again(rigs, run, tmp_path) -> None:
    rig = rigs()
    rig.side, rig.rotation = "right", 0.0003
    run("daemon").hear("ready")
    check = run("check", "fence-square", "--tap", "--sweeps", "1")
    check.hear("Press Enter")
    check.enter()
    check.hear("handle-left")
    check.enter()
    check.hear("Hands off everything")
    check.hear("Tap the indicator's post")
    tap(rig, 0.02)
    check.enter()
    check.hear("did not come back: it stands 0.020 mm off")
    check.hear("Hands off everything")
    check.hear("Tap the indicator's post")
    tap(rig, 0.0)
    check.enter()
    check.hear("the stand holds")
    check.hear("ready: 1 of 1")
    rig.go(150.0)
    check.hear("1 of 1 kept")
    check.hear("handle-right")
    rig.s = 0.0
    check.enter()
    check.hear("Hands off everything")  # another set-up
    with sqlite3.connect(tmp_path / "log.db") as db:
        events = db.execute("SELECT data_json FROM event WHERE kind = 'tap' ORDER BY event_key").fetchall()
    assert [('"came_back": true' in text or '"came_back":true' in text) for (text,) in events] == [
        False,
        True,
    ]

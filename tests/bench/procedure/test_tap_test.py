"""The tap test: a stand that comes back goes on to the push, one that does not is said and asked again."""

from __future__ import annotations

import sqlite3
import statistics

import pytest
from everyday import ci

from bench.checks.model import Evidence, EvidenceGear, Step, TapTest, Trace
from bench.procedure.conclusion import conclude
from bench.procedure.prompt import ProcedureState, ask
from bench.procedure.set_up_tests import not_back
from bench.render.remarks import notes_of
from bench.stream.rest_detector import RestReading
from hw.virtual.hands import Hands
from hw.virtual.saw import VirtualSaw

STEPS = (Step("a", "Set it up.", "sweep", side="right"), Step("b", "Measure it.", "width"))


@pytest.mark.parametrize(
    ("after", "spread", "off"),
    [
        (2.5, 0.0, None),
        (2.5013, 0.002, None),
        (2.5016, 0.002, 0.0016),
        (2.503, 0.0, 0.003),
        (2.503, 0.012, None),
        (2.49, 0.012, -0.01),
    ],
)
def test_how_near_it_must_come_back(after: float, spread: float, off: float | None) -> None:
    """Within a count and a half, or 1.5 times the noise at rest, the larger; common practice, no source."""
    found = not_back(RestReading(2.5, spread, 50, 1.0), RestReading(after, spread, 50, 3.0), 0.001)
    assert found == (None if off is None else pytest.approx(off))


def test_only_what_is_swept_is_tapped_and_every_set_up_anew() -> None:
    facts = ProcedureState(acknowledged=True, placed=True, accepted=[0, 0], tap_wanted=True)
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


@pytest.mark.parametrize("seeds", [range(8), ci(range(8, 25))])
def test_a_good_indicator_with_a_count_of_lost_motion_comes_back(seeds: range) -> None:
    """Virtual stands that hold, tapped twice: none is suspected; its plunger rests a count aside at most."""
    off = []
    for seed in seeds:
        clock = [0.0]
        hands = Hands(VirtualSaw.draw(seed), lambda clock=clock: clock[0])
        hands.saw.place("handle-left")

        def readings(hands: Hands = hands, clock: list[float] = clock) -> RestReading:
            values = []
            for _ in range(60):
                clock[0] += 1 / 120
                values.append(hands.indicator_at(clock[0]))
            return RestReading(statistics.fmean(values), max(values) - min(values), 60, clock[0])

        readings()
        before = readings()
        for _ in range(2):
            hands.push_plunger(0.06, clock[0], 0.1, 0.02)
            readings()
        off.append(not_back(before, readings(), 0.001))
    assert off == [None] * len(seeds)


def noted(*taps: TapTest, units: str = "mm") -> list[str]:
    at = [float(s) for s in range(0, 200, 2)]
    pushes = [Trace("handle-left", at, [2.5 + 1e-4 * s for s in at], sweep=f"s{k}") for k in range(2)]
    evidence = Evidence(
        "fence-square", pushes, {"placements": "handle-left"}, EvidenceGear(), taps=list(taps)
    )
    notes = notes_of(conclude(evidence, id="x", at="2026-01-01T00:00:00+00:00"), units)  # type: ignore[arg-type]
    return [note for note in notes if note.startswith("Tap test")]


def test_the_finding_tells_how_far_the_number_stayed_off() -> None:
    assert noted() == []
    good, bad = TapTest("handle-left", 2.5, 2.501), TapTest("handle-left", 2.5, 2.52, False)
    assert noted(good) == ["Tap test at handle left: the number came back to within 0.001 mm."]
    assert noted(bad, bad, good) == [
        "Tap test at handle left: the number came back to within 0.001 mm. Before that it stayed 0.020 mm off."
    ]
    assert noted(bad) == ["Tap test at handle left: the number never came back. It stayed 0.020 mm off."]
    (inches,) = noted(good, units="inch")
    assert "mm" not in inches


def tap(rig, stays: float) -> None:
    """The number jumps and comes back, but for what stays."""
    rig.offset += 0.06
    rig.rest(0.1)
    rig.offset += stays - 0.06


@pytest.mark.slow
def test_a_stand_that_does_not_hold_is_asked_again(rigs, run, tmp_path) -> None:
    rig = rigs()
    rig.side, rig.rotation = "right", 0.0003
    daemon = run("daemon")
    daemon.hear("ready")
    check = run("check", "fence-square", "--tap", "--sweeps", "1", "--json")
    check.hear("Press Enter")
    check.enter()
    check.hear("to the LEFT of the arm")
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
    check.hear("to the RIGHT of the arm")
    rig.s = 0.0
    check.enter()
    check.hear("Hands off everything")  # another set-up
    daemon.end(9)
    check.hear("went away")
    run("daemon").hear("goes on")  # what was tapped is not forgotten, what was placed is
    check.hear("to the RIGHT of the arm")
    rig.side = "left"
    check.enter()
    check.hear("Tap the indicator's post")
    tap(rig, 0.0)
    check.enter()
    check.hear("ready: 1 of 1")
    rig.go(150.0)
    check.wait()
    finding = check.answer()
    taps = [note for note in finding["notes"] if note.startswith("Tap test")]
    assert [note.split(":")[0] for note in taps] == ["Tap test at handle left", "Tap test at handle right"]
    assert taps[0].endswith("Before that it stayed 0.020 mm off.")
    shown = run("log", "show", finding["id"], "--json")
    assert shown.wait() == 0
    kept = [
        (t["placement"], round(t["after"] - t["before"], 3), t["came_back"])
        for t in shown.answer()["evidence"]["taps"]
    ]
    assert kept == [("handle-left", 0.02, False), ("handle-left", 0.0, True), ("handle-right", 0.0, True)]
    with sqlite3.connect(tmp_path / "log.db") as db:
        events = db.execute("SELECT data_json FROM event WHERE kind = 'tap' ORDER BY event_key").fetchall()
    assert [('"came_back": true' in text or '"came_back":true' in text) for (text,) in events] == [
        False,
        True,
        True,
    ]

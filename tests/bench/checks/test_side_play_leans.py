"""side-play: a rigid runner pressed to the walls of its slot by shapely, and what the check makes of the readings."""

from __future__ import annotations

import math

import pytest
from shapely import affinity
from shapely.geometry import Polygon, box

from bench.checks import find
from bench.checks.model import EvidenceGear
from bench.finding import EvidenceError
from bench.gear import Indicator, Jig
from bench.render.remarks import notes_of

GEAR = EvidenceGear(indicator=Indicator(resolution=0.001), jig=Jig("sled"))
RUNNER, SLOT, LENGTH = 19.00, 19.10, 500.0


def inside(x: float, yaw: float) -> bool:
    slot = box(-SLOT / 2 - 1e-7, -2000, SLOT / 2 + 1e-7, 2000)
    runner: Polygon = box(-RUNNER / 2, -LENGTH / 2, RUNNER / 2, LENGTH / 2)
    runner = affinity.translate(affinity.rotate(runner, yaw, origin=(0, 0), use_radians=True), xoff=x)
    return slot.contains(runner)


def most(fits) -> float:
    low, high = 0.0, 1.0
    for _ in range(50):
        middle = (low + high) / 2
        low, high = (middle, high) if fits(middle) else (low, middle)
    return low


def readings(v: float, jitter: float = 0.0) -> list[tuple]:
    """A plunger on the right of the sled's side reads its X: leaned near the middle, twisted at v beyond it."""
    side, yaw = most(lambda x: inside(x, 0.0)), most(lambda t: inside(0.0, t))
    rows = []
    for n in range(5):
        off = jitter * (n - 2)
        rows += [(n, "leaned-left", 0, 2 - side + off), (n, "leaned-right", 0, 2 + side + off)]
        # counter-clockwise the far part goes left
        rows += [
            (n, "twisted-left", v, 2 - abs(v) * yaw - off),
            (n, "twisted-right", v, 2 + abs(v) * yaw - off),
        ]
    return rows


@pytest.mark.parametrize("v", [250.0, 300.0, -250.0])
def test_a_runner_in_its_slot_by_shapely(recorded, v) -> None:
    """19.00 x 500 in 19.10, straight and fully in: side play 0.100, yaw play 0.000400."""
    found = recorded("side-play", readings(v), gear=GEAR, options={"runner_length": LENGTH})
    side, yaw = found.quantities
    assert (side.name, side.unit, yaw.name, yaw.unit) == ("side-play", "mm", "yaw-play", "rad")
    assert side.value == pytest.approx(0.100, abs=1e-4)
    assert yaw.value == pytest.approx(4e-4, rel=0.002)
    assert found.verdict == "inside"  # of what is good enough by common practice
    assert not found.codes & {"plays-differ", "twisted-near"}
    assert "cuts-scatter" in found.codes


def test_the_other_side_turns_the_sign(recorded) -> None:
    rows = [(n, p, v, 4 - r) for n, p, v, r in readings(250.0)]
    assert recorded("side-play", rows, gear=GEAR, options={"side": "left"}).quantities[
        0
    ].value == pytest.approx(0.1, abs=1e-4)
    wrong = recorded("side-play", rows, gear=GEAR)
    assert wrong.quantities[0].value < 0
    assert "leaned-wrong" in wrong.codes
    assert "twisted-wrong" in wrong.codes
    assert wrong.quantities[1].value > 0


def test_rows(recorded) -> None:
    from scipy.special import stdtrit

    rows = readings(250.0, jitter=0.002)
    found = recorded("side-play", rows, gear=GEAR)
    std = {row.part: row.standard_uncertainty for row in found.budget}
    each = 0.002 * math.sqrt(2.5)  # standard deviation of five evenly spread readings
    assert std["scatter of the leans"] == pytest.approx(each * math.sqrt(2 / 5), rel=1e-3)
    assert std["indicator over the span used"] == pytest.approx(0.001 / math.sqrt(3), rel=0.01)
    yaw = found.quantities[1]
    u = (
        math.sqrt(
            (each * math.sqrt(2 / 5)) ** 2
            + (0.001 / math.sqrt(3)) ** 2
            + (0.0005 * math.sqrt(2 / 3)) ** 2
            + (yaw.value * 15.0 / math.sqrt(3)) ** 2  # the twist's place
        )
        / 250
    )
    assert yaw.uncertainty == pytest.approx(stdtrit(yaw.degrees_of_freedom, 0.975) * u, rel=0.01)


def test_a_place_that_was_only_taken_by_eye_widens_the_twist_and_is_said(recorded) -> None:
    rows = readings(250.0, jitter=0.0005)
    by_eye, pencilled = (
        recorded("side-play", rows, gear=GEAR, options=options) for options in ({}, {"place_error": 2.0})
    )
    assert "place-usual" in by_eye.codes and "place-usual" not in pencilled.codes
    assert pencilled.quantities[1].uncertainty < by_eye.quantities[1].uncertainty / 2


def test_how_long_the_runners_are_is_said_once_for_the_sled(recorded) -> None:
    gear = EvidenceGear(indicator=Indicator(resolution=0.001), jig=Jig("sled", runner_length=LENGTH))
    rows = readings(150.0)
    by_option = recorded("side-play", rows, gear=GEAR, options={"runner_length": LENGTH})
    by_sled = recorded("side-play", rows, gear=gear)
    assert by_sled.quantities == by_option.quantities and "runner-usual" not in by_sled.codes
    longer = EvidenceGear(jig=Jig("sled", runner_length=700.0))
    assert find("side-play").plan({}, longer)[2].at == 350.0


def test_half_of_the_play_unaccounted_for(recorded) -> None:
    rows = [(n, p, v, r) for n, p, v, r in readings(250.0) if not p.startswith("leaned")]
    rows += [(n, f"leaned-{w}", 0, 2 + d) for n in range(5) for w, d in (("left", 0.0), ("right", 0.03))]
    found = recorded("side-play", rows, gear=GEAR, options={"runner_length": LENGTH})
    (differ,) = [r for r in found.remarks if r.code == "plays-differ"]
    assert differ.values["leaned"] == pytest.approx(0.03) and differ.values["twisted"] > 0.06
    near = recorded("side-play", readings(100.0), gear=GEAR, options={"runner_length": LENGTH})
    assert any("Read it at 250 mm or more" in note for note in notes_of(near, "mm"))


def test_tight_loose_and_read_once(recorded) -> None:
    for play, said in ((0.02, "play-little"), (0.2, "play-much")):
        rows = [(1, "leaned-left", 0, 2.0), (1, "leaned-right", 0, 2.0 + play)]
        found = recorded("side-play", rows, gear=GEAR)
        assert [q.name for q in found.quantities] == ["side-play"]
        assert said in found.codes
        assert "read-once" in found.codes


def test_play_free_leaned_left_and_leaned_right(recorded) -> None:
    left, right = [2.000, 2.003, 2.001], [2.100, 2.101, 2.107]
    rows = [
        (n, f"leaned-{w}", 0, r)
        for w, reads in (("left", left), ("right", right))
        for n, r in enumerate(reads)
    ]
    found = recorded("side-play", rows, gear=GEAR)
    (note,) = [n for n in notes_of(found, "mm") if n.startswith("Held freely, the sled may shift")]
    assert f"by {sum(right) / 3 - sum(left) / 3:.3f} mm" in note
    assert "Leaned left it came back within 0.003 mm, leaned right within 0.007 mm" in note
    once = recorded("side-play", [rows[0], rows[3]], gear=GEAR)
    assert "shift-free" in once.codes


def test_the_count_is_seen_where_it_is_not_declared(recorded) -> None:
    """Readings in steps of 0.01 carry half of that at each end (rectangular), whatever the settings leave out."""
    rows = [
        (n, f"leaned-{w}", 0, d) for n in range(5) for w, d in (("left", 2.0), ("right", 2.13 + n % 2 / 100))
    ]
    found = recorded("side-play", rows, gear=EvidenceGear(jig=Jig("sled")))
    row = next(r for r in found.budget if r.part == "resolution")
    assert row.standard_uncertainty == pytest.approx(0.005 / math.sqrt(3) * math.sqrt(2))


def test_what_is_lacking_is_said(recorded) -> None:
    with pytest.raises(EvidenceError, match="leaned-left with leaned-right"):
        recorded("side-play", [(1, "leaned-left", 0, 2)], gear=GEAR)
    with pytest.raises(EvidenceError, match="runners' middle"):
        recorded("side-play", [(1, "twisted-left", 0, 2), (1, "twisted-right", 0, 2.1)], gear=GEAR)


def test_what_is_asked_for_live() -> None:
    steps = find("side-play").plan({"twist_at": 260.0}, EvidenceGear())
    assert [s.placement for s in steps] == ["leaned-left", "leaned-right", "twisted-left", "twisted-right"]
    assert {(s.gather, s.repeat, s.side) for s in steps} == {("spot", 5, "right")}
    assert [s.at for s in steps] == [0.0, 0.0, 260.0, 260.0]


@pytest.mark.parametrize("lacking", ["leaned-left", "leaned-right", "twisted-left", "twisted-right"])
def test_one_way_of_two_is_no_play_and_is_said(recorded, lacking: str) -> None:
    found = recorded("side-play", [row for row in readings(250.0) if row[1] != lacking], gear=GEAR)
    (there,) = found.quantities
    assert there.name == ("yaw-play" if lacking.startswith("leaned") else "side-play")
    assert any(f"not {lacking.replace('-', ' ')}" in note for note in notes_of(found, "mm"))


@pytest.mark.parametrize(
    ("limits", "said"),
    [
        ({}, "inside"),
        ({"play_most": 0.15}, "inside"),
        ({"play_most": 0.05}, "outside"),
        ({"play_least": 0.2}, "outside"),
        ({"play_least": 0.03, "play_most": 0.1005}, "cannot-tell"),
    ],
)
def test_a_verdict_by_what_was_said_or_is_common_practice(recorded, limits, said) -> None:
    found = recorded("side-play", readings(250.0, jitter=0.002), gear=GEAR, options=limits)
    assert found.verdict == found.quantities[0].verdict == said
    least, most = limits.get("play_least", 0.0), limits.get("play_most")
    assert found.quantities[0].band == ((0.03, 0.15) if not limits else (least, most) if most else None)
    assert (found.settle is None) == (said != "cannot-tell")
    assert found.quantities[1].verdict is None


def test_the_twist_is_asked_for_half_a_runner_off() -> None:
    check = find("side-play")
    at = {s.placement: s.at for s in check.plan({"runner_length": 600.0}, EvidenceGear())}
    assert at["twisted-left"] == at["twisted-right"] == 300.0
    assert find("side-play").plan({}, EvidenceGear())[2].at == 250.0
    assert find("side-play").plan({"twist_at": 210.0, "runner_length": 600.0}, EvidenceGear())[2].at == 210.0

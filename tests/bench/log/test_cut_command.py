"""`cut` on a log: the forecast from what was measured of a sled and its saw, and the sleds of a shop."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.cli import cli
from bench.cli.common import CommandError
from bench.finding import Contact, Finding, Move, Quantity, SweepRow
from bench.gear import Jig, Saw

MOVE = Move("left", "away", 0.15, 0.011, [0.15], 0.0, "")
PROFILE = [(float(x), 0.02 * (1 - (x / 450) ** 2)) for x in range(-450, 451, 50)]
CONTACT = [Contact(-400.0, 0.0, -200.0, 0.00004, 0.00001)]


def angle(name: str, value: float, uncertainty: float = 2e-5) -> Quantity:
    return Quantity(name, value, "rad", uncertainty, 9.0, 1.67e-4 if name == "fence" else None)


def keep(
    life,
    name: str,
    check: str,
    quantities: list[Quantity],
    *,
    jig: str | None = "big-sled",
    hold: str | None = None,
    supersedes: str | None = None,
    **more: object,
) -> Finding:
    sled = Jig(jig, saw="cabinet", widest_board=400.0) if jig is not None else None
    gear = EvidenceGear(jig=sled, saw=Saw("cabinet"))
    options = {} if hold is None else {"hold": hold}
    life.begin(f"run-{name}", check, jig=jig, saw="cabinet", gear=gear, hold=hold, options=options)
    finding = Finding(id=name, check=check, jig=jig, saw="cabinet", quantities=quantities, **more)
    trace = Trace("handle-left", [0.0, 100.0, 220.0], [0.0, 0.0, 0.0])
    evidence = Evidence(check, [trace] if check == "fence-square" else [], options, gear)
    life.writer.finding(f"run-{name}", finding, evidence, supersedes=supersedes)
    return finding


def everything(life, *, jig: str = "big-sled", fence: float = 1e-4) -> None:
    square = [angle("fence", fence), angle("slot-curvature", 2e-7, 4e-8)]
    keep(life, f"fence-{jig}", "fence-square", square, jig=jig)
    keep(life, f"straight-{jig}", "fence-straight", [], jig=jig, profile=PROFILE, contact=CONTACT)
    keep(life, f"play-{jig}", "side-play", [angle("yaw-play", 2e-4)], jig=jig)


def cut(path: Path, *more: str) -> tuple[int, dict, str]:
    """Exit status, what was printed as JSON, and all words; wrong use is status 2."""
    done = CliRunner().invoke(cli, ["cut", "--log", str(path), *more], standalone_mode=False)
    if isinstance(done.exception, CommandError):
        return 2, {}, str(done.exception)
    assert done.exception is None
    return done.return_value, json.loads(done.output) if "--json" in more else {}, done.output


def by_part(told: dict) -> dict[str, dict]:
    return {row["part"]: row for row in told["rows"]}


def test_what_was_measured_is_in_the_forecast(live: Callable, path: Path) -> None:
    life = live()
    everything(life)
    keep(life, "blade", "slot-blade", [angle("blade", 2e-4)], jig=None)
    life.writer.close()
    code, told, _ = cut(path, "--json")
    assert (told["jig"], told["saw"], told["board_mm"], told["cut_mm"]) == ("big-sled", "cabinet", 400, 300)
    rows = by_part(told)
    assert set(rows) == {
        "fence",
        "bow",
        "slot",
        "play",
        "seat",
    }  # pushed clear: the blade's rear turns no edge
    assert rows["fence"]["value"] == 1e-4 and rows["fence"]["finding"] == "fence-big-sled"
    # crown 0.02 over 450: the board rests 200 left of the blade, the handle 75 left of it
    assert rows["bow"]["value"] == pytest.approx(2 * 0.02 * (200 - 75) / 450**2, rel=0.05)
    # swept over 220 mm that end 30 mm from the sled fence, cut over 300 mm that end at it
    assert rows["slot"]["value"] == pytest.approx(2e-7 * (30 + 110 - 150))
    assert rows["play"]["standard_uncertainty"] == pytest.approx(2e-4 / 12**0.5)
    assert [row["part"] for row in rows.values() if row["assumed"]] == ["seat"]
    assert told["square"]["value"] == pytest.approx(sum(row["value"] for row in rows.values()))
    worths = [row["worth"] for row in told["rows"]]
    assert worths == sorted(worths, reverse=True) and told["first"]["part"] == told["rows"][0]["part"]
    assert told["first"]["words"].startswith("Square the sled fence")
    assert "plate-wobble" in told["missing"] and "slot-blade" not in told["missing"]
    assert code == (1 if told["good_share"] < 0.95 else 0)


def test_a_cut_that_is_not_pushed_clear_has_the_blades_rear_in_it(live: Callable, path: Path) -> None:
    life = live()
    everything(life)
    keep(life, "blade", "slot-blade", [angle("blade", 2e-4)], jig=None)
    life.writer.close()
    heel = by_part(cut(path, "--json", "--clear", "no", "--cut", "400 mm")[1])["heel"]
    # the rear leans left, toward the kept part: from nothing to its lean over the chord
    assert heel["value"] == pytest.approx(-2e-4 * 200 / 400 / 2) and heel["finding"] == "blade"
    away = by_part(cut(path, "--json", "--clear", "no", "--at", "right")[1])["heel"]
    assert away["value"] == 0.0


def test_what_nobody_measured_is_named_and_assumed(live: Callable, path: Path) -> None:
    life = live()
    keep(life, "fence", "fence-square", [angle("fence", 1e-5)])
    life.writer.close()
    _, told, _ = cut(path, "--json", "--jig", "big-sled")
    rows = by_part(told)
    assert {part for part, row in rows.items() if row["assumed"]} == {"bow", "slot", "play", "seat"}
    assert all(row["finding"] is None for row in rows.values() if row["assumed"])
    assert told["missing"][:3] == ["fence-straight", "side-play", "slot-blade"]
    _, _, words = cut(path, "--jig", "big-sled")
    assert "not measured: a usual figure" in words and "Not measured here: sled fence straight" in words


def test_a_fence_that_was_moved_since_is_not_known(live: Callable, path: Path) -> None:
    life = live()
    out = keep(life, "out", "fence-square", [angle("fence", 8e-4)])
    life.writer.move_planned("move-out", out.id, MOVE)
    life.writer.move_made("move-out", {"distance_mm": 0.15})
    life.writer.close()
    assert by_part(cut(path, "--json")[1])["fence"] | {"worth": 0} == {
        "part": "fence",
        "value": 0.0,
        "standard_uncertainty": pytest.approx(0.1 / 300 / 3**0.5),
        "check": "fence-square",
        "finding": None,
        "age_days": None,
        "assumed": True,
        "worth": 0,
    }


def test_what_happened_to_the_gear_outdates_what_told_of_it(live: Callable, make, path: Path) -> None:
    life = live()
    everything(life)
    for what in ("dropped", "runners"):
        life.writer.event(None, "gear-event", {"jig": "big-sled", "what": what, "note": ""})
    life.writer.close()
    rows = by_part(cut(path, "--json")[1])
    assert {part for part, row in rows.items() if row["assumed"]} == {"fence", "play", "seat"}
    assert rows["slot"]["finding"] == "fence-big-sled"  # the slot stays as it was
    later = live(at=path, clock=make.Clock(wall_s=1_800_100_000.0))
    keep(later, "again", "fence-square", [angle("fence", 2e-5)])
    later.writer.close()
    assert by_part(cut(path, "--json")[1])["fence"]["finding"] == "again"


def test_a_held_sled_scatters_as_its_passes_do(live: Callable, path: Path) -> None:
    life = live()
    rows = [SweepRow("handle-left", True, 200, 0, slope, 1e-6) for slope in (1e-5, 3e-5, 5e-5)]
    keep(life, "held", "fence-square", [angle("fence", 0.0)], hold="left", sweeps=rows)
    keep(life, "play", "side-play", [angle("yaw-play", 4e-4)])
    life.writer.close()
    rows = by_part(cut(path, "--json")[1])
    assert rows["play"]["standard_uncertainty"] == pytest.approx(2e-5)
    assert "seat" not in rows  # reseated passes have it in their scatter
    free = by_part(cut(path, "--json", "--held", "no")[1])
    assert free["play"]["standard_uncertainty"] == pytest.approx(4e-4 / 12**0.5) and "seat" in free


def test_several_sleds_are_listed_shortly(live: Callable, path: Path) -> None:
    life = live()
    everything(life, jig="big-sled", fence=0.0)
    everything(life, jig="small-sled", fence=6e-4)
    life.writer.close()
    code, told, _ = cut(path, "--json")
    assert code == 1
    assert [(one["jig"], one["state"]) for one in told["sleds"]] == [
        ("big-sled", "good"),
        ("small-sled", "bad"),
    ]
    assert all(len(one["next"]) == len("2026-01-01") for one in told["sleds"])
    assert told["sleds"][1]["worst"] == "fence"
    _, _, words = cut(path)
    assert len(words.splitlines()) == 2 and "small-sled: not good enough" in words


@pytest.mark.parametrize(
    ("more", "named"),
    [
        (("--jig", "none"), "no sled is called 'none'; there are: big-sled"),
        (("--board", "long"), "--board"),
        (("--at", "behind"), "--at takes left or across or right"),
        (("--cut", "9 km"), "--cut"),
    ],
)
def test_wrong_use_is_said_in_one_line(live: Callable, path: Path, more: tuple[str, ...], named: str) -> None:
    life = live()
    everything(life)
    life.writer.close()
    code, _, words = cut(path, *more)
    assert code == 2 and named in words and len(words.splitlines()) == 1


def test_an_empty_log_says_that_all_is_assumed(live: Callable, path: Path) -> None:
    live().writer.close()
    code, told, _ = cut(path, "--json")
    assert code == 1 and told["jig"] is None and all(row["assumed"] for row in told["rows"])

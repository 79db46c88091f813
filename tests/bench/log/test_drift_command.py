"""`drift` on a log: one line of history a sled, cut where a move was made; what was superseded does not count."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import msgspec
import pytest
from command import command

from bench.checks.model import Evidence, EvidenceGear
from bench.finding import BudgetRow, Finding, Move, Quantity

MOVE = Move("left", "away", 0.15, 0.011, [0.15], 0.0, "Move the left end away by 0.15 mm.")


def keep(
    life,
    name: str,
    day: int,
    value: float,
    *,
    jig: str = "big-sled",
    supersedes: str | None = None,
    check: str = "fence-square",
):
    life.begin(f"run-{name}", jig=jig)
    finding = Finding(
        id=name,
        check=check,
        jig=jig,
        at=f"2026-03-{day:02}T10:00:00+00:00",
        quantities=[Quantity("fence", value, "rad", 2e-5, 9.0, 0.000167, "inside", "left end too near you")],
        verdict="inside",
        budget=[BudgetRow("between sweeps", "A", 5e-6, 4, 1.0)],
    )
    life.writer.finding(
        f"run-{name}", finding, Evidence(check, [], {}, EvidenceGear()), supersedes=supersedes
    )
    return finding


def drift(path: Path, *more: str) -> tuple[int, dict, str]:
    asked = command("drift", "--log", str(path), *more)
    return asked.returncode, json.loads(asked.stdout) if "--json" in more else {}, asked.stdout + asked.stderr


@pytest.fixture
def history(live: Callable, path: Path) -> Path:
    life = live()
    first = keep(life, "out", 1, 8e-4)
    life.writer.move_planned("move-out", first.id, MOVE)
    life.writer.move_made("move-out", {"distance_mm": 0.15})
    for day, value in ((2, 1.0e-5), (9, 1.4e-5), (16, 0.8e-5)):
        keep(life, f"d{day}", day, value)
    keep(life, "other", 16, 3e-4, jig="small-sled")
    life.writer.close()
    return path


def test_quiet_since_the_move(history: Path) -> None:
    code, told, _ = drift(history, "--json", "--jig", "big-sled")
    assert code == 0
    (series,) = told["series"]
    assert (series["jig"], series["quantity"], series["alarm"]) == ("big-sled", "fence", False)
    assert [len(p["results"]) for p in series["baselines"]] == [1, 3]
    assert series["baselines"][1]["after_move_of"] == "out"
    assert series["look_again"] == "2026-03-31"  # as long again as nothing was seen


def test_a_knock_is_told_with_exit_1(live: Callable, history: Path) -> None:
    life = live(at=history)
    keep(life, "knocked", 20, 9e-5)
    life.writer.close()
    code, told, _ = drift(history, "--json", "--jig", "big-sled")
    assert code == 1
    assert told["series"][0]["baselines"][1]["results"][-1]["alarm"] == "step"
    code, _, words = drift(history)
    assert code == 1
    assert "in that direction" in words  # it rose, and what is above zero is worded so
    assert "dropped" in words and "Look again now" in words and "small-sled" in words
    assert drift(history, "--jig", "small-sled")[0] == 0


def test_a_look_that_another_took_the_place_of_does_not_count(live: Callable, history: Path) -> None:
    life = live(at=history)
    keep(life, "close", 18, 9e-5)
    keep(life, "closer", 18, 1.1e-5, supersedes="close")
    life.writer.close()
    code, told, _ = drift(history, "--json", "--jig", "big-sled")
    assert code == 0
    assert [one["id"] for one in told["series"][0]["baselines"][1]["results"]] == [
        "d2",
        "d9",
        "d16",
        "closer",
    ]


@pytest.mark.ci
def test_nothing_yet_and_no_log(live: Callable, path: Path) -> None:
    life = live()
    life.writer.close()
    assert drift(path, "--json")[:2] == (0, {"series": [], "left_out": [], "unread": []})
    assert drift(path)[2] == "nothing yet\n"
    code, _, words = drift(path.with_name("none.db"))
    assert code == 2 and "none.db" in words and msgspec.json.encode(words).count(b"\\n") == 1


@pytest.mark.parametrize("kind", [(), ("--check", "fence-square")])
def test_what_a_boards_answer_had_moved_is_no_drift_of_the_sweeps(
    live, path: Path, kind: tuple[str, ...]
) -> None:
    """Sweep and board see one fence: the sweeps are cut where a board's move was made."""
    life = live()
    for day, value in ((1, 5.0e-4), (2, 5.04e-4), (3, 4.98e-4)):
        keep(life, f"before{day}", day, value)
    board = keep(life, "board", 4, 5.0e-4, check="test-board")
    life.writer.move_planned("move-board", board.id, MOVE)
    life.writer.move_made("move-board", {"distance_mm": 0.15})
    for day, value in ((5, 1.0e-5), (6, 1.4e-5)):
        keep(life, f"after{day}", day, value)
    life.writer.close()
    code, answer, _ = drift(path, "--json", *kind)
    (sweeps,) = (one for one in answer["series"] if one["check"] == "fence-square")
    assert code == 0 and [len(period["results"]) for period in sweeps["baselines"]] == [3, 2], sweeps
    assert len(answer["series"]) == (1 if kind else 2)

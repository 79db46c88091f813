"""Numbers that are pressed for: twice at once means one, and each can be taken back."""

from __future__ import annotations

import sqlite3
from typing import Any

import pytest

from bench.checks.model import EvidenceGear
from bench.procedure.check_procedure import CheckProcedure
from bench.procedure.status_message import StatusMessage
from bench.protocol import Begin, MarkNotice, Notice, PromptChanged

MARKS = (25.0, 75.0, 125.0)


class Journal:
    def __init__(self) -> None:
        self.events: list[tuple[str, Any]] = []
        self.ended: list[str] = []

    def event(self, run_id: str, kind: str, data: Any) -> None:
        self.events.append((kind, data.get("at")))

    def start_sweep(self, *row: Any) -> None: ...

    def end_sweep(self, sweep_id: str, state: str, **more: Any) -> None:
        self.ended.append(state)

    def undo_sweep(self, sweep_id: str, reason: str) -> None:
        self.ended.append("undone")

    def pass_accepted(self, trace: Any, *, straight: bool) -> None: ...


class Saw:
    """A check by marks, a clock, and an indicator that sends twenty readings a second."""

    def __init__(self, kind: str = "fence-square") -> None:
        self.now = 100.0
        self.said: list[Any] = []
        self.journal = Journal()
        self.run = CheckProcedure(
            "run", Begin(kind, sweeps=2), EvidenceGear(), marks=MARKS,
            journal=self.journal, tell=self.said.append, at_rest=lambda: True,
        )  # fmt: skip
        self.run.settle_down(self.now)
        for _ in ("cautions", "place"):
            self.press()

    def press(self, *, waits: bool = True) -> None:
        self.run.press(self.now, waits=waits)

    def wait(self, seconds: float, value: float = 2.5, speed: float = 0.0) -> None:
        for _ in range(round(seconds * 20)):
            self.now += 0.05
            value = round(value + speed * 0.05, 3)
            self.run.readings([self.now], [value], self.now)
            self.run.tick(self.now)

    def take(self, value: float = 2.5) -> None:
        self.wait(1.0, value)
        self.press()
        self.wait(1.0, value)

    @property
    def marks(self) -> list[float | None]:
        return [one.at for one in self.said if isinstance(one, MarkNotice)]


@pytest.fixture
def saw() -> Saw:
    return Saw()


@pytest.mark.parametrize("apart", [0.05, 0.35])
def test_a_press_right_after_a_press_takes_nothing(saw: Saw, apart: float) -> None:
    saw.wait(1.0)
    saw.press()
    saw.wait(apart)
    saw.press()
    saw.wait(5.0)
    assert saw.marks == [25.0]
    saw.take()
    assert saw.marks == [25.0, 75.0]


def test_a_press_that_chatters_on_is_one(saw: Saw) -> None:
    saw.wait(1.0)
    for _ in range(6):
        saw.press()
        saw.wait(0.3)
    saw.wait(5.0)
    assert saw.marks == [25.0]


def test_an_early_press_waits(saw: Saw) -> None:
    saw.wait(1.0)
    saw.press()
    saw.wait(1.0, 2.5, 1.0)  # the sled was not at the mark yet
    saw.press()
    saw.wait(3.0)
    assert saw.marks == [25.0, 75.0]


def test_a_running_reading_is_not_taken_and_the_reason_is_told(saw: Saw) -> None:
    saw.wait(1.0, 2.5, 1.0)
    saw.press()
    saw.wait(5.0, 3.5, 1.0)
    assert saw.marks == []
    (said,) = [one.code for one in saw.said if isinstance(one, Notice)]
    assert said == "reading-wanders"


def test_marks_are_taken_back_one_by_one_and_then_the_last_pass(saw: Saw) -> None:
    for value in (2.5, 2.6, 2.7, 2.8, 2.9):
        saw.take(value)
    assert saw.run.facts.accepted[0] == 1 and saw.run.facts.marks_taken == 2
    assert saw.run.undo(saw.now) == StatusMessage("mark-undone", {"at": 75.0})
    assert saw.run.ask.at == 75.0
    saw.take(2.95)
    assert saw.run.undo(saw.now) == StatusMessage("mark-undone", {"at": 75.0})
    assert saw.run.undo(saw.now) == StatusMessage("mark-undone", {"at": 25.0})
    assert saw.journal.events[-2:] == [("mark-undone", 75.0), ("mark-undone", 25.0)]
    assert saw.run.facts.accepted[0] == 1 and saw.journal.ended == ["whole", "refused"]
    assert saw.run.undo(saw.now).code == "pass-undone"
    assert saw.run.facts.accepted[0] == 0
    assert saw.run.undo(saw.now) == StatusMessage("nothing-to-undo")


def test_what_was_taken_again_is_what_counts(saw: Saw) -> None:
    for value in (2.5, 2.6):
        saw.take(value)
    saw.run.undo(saw.now)
    for value in (2.65, 2.7):
        saw.take(value)
    (trace,) = saw.run.passes.traces
    assert trace.travel == list(MARKS) and trace.reading == pytest.approx([2.5, 2.65, 2.7])


def test_a_press_that_waits_is_taken_back_alone(saw: Saw) -> None:
    saw.take()
    saw.press()
    assert saw.run.undo(saw.now).code == "press-undone"
    saw.wait(3.0)
    assert saw.marks == [25.0] and saw.run.facts.marks_taken == 1
    assert isinstance(saw.said[-1], PromptChanged) and not saw.said[-1].ask.waiting


@pytest.mark.parametrize("kind", ["slot-blade", "test-board"])
def test_spots_and_widths_are_taken_back_one_by_one(kind: str) -> None:
    saw = Saw(kind)
    for _ in range(2):
        saw.take()
    assert sum(saw.run.facts.accepted) == 2
    for left in (1, 0):
        saw.run.undo(saw.now)
        assert sum(saw.run.facts.accepted) == left


@pytest.mark.ci
def test_a_mark_taken_back_stays_so_through_a_restart(rigs, run, tmp_path) -> None:
    rig = rigs(marks='["20 mm", "60 mm", "100 mm", "140 mm"]')
    daemon = run("daemon")
    daemon.hear("ready")
    check = run("check", "fence-square", "--sweeps", "1", "--json")
    check.hear("Press Enter")
    check.enter()
    check.hear("to the LEFT of the arm")
    check.enter()
    for number, place in enumerate((20, 60), 1):
        check.hear(f"mark {number} of 4")
        rig.s = float(place)
        check.enter()
        check.hear(f"mark {number} of 4: ")
    undo = run("undo")
    assert undo.wait() == 0 and undo.process.stdout.read() == b"Mark at 60 mm taken back.\n"
    check.hear("mark 2 of 4")
    daemon.end()
    run("daemon").hear("Passes kept: 0")
    with sqlite3.connect(tmp_path / "log.db") as db:
        rows = db.execute("SELECT kind FROM event WHERE kind LIKE 'mark%' ORDER BY rowid").fetchall()
    assert [kind for (kind,) in rows] == ["mark", "mark", "mark-undone"]

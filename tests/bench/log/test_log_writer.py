"""The writer on real files: what is told as saved is there, what is left unfinished is found."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest

from bench.checks.model import Evidence, EvidenceGear, Lean, Trace
from bench.finding import Finding, Move, Quantity
from bench.gear import Indicator, Jig
from bench.log import load
from bench.log.rows import Saved, Stamp
from bench.log.writer import NOT_QUEUED, LogWriter

GEAR = EvidenceGear(
    indicator=Indicator(resolution=0.001), jig=Jig("big-sled", pivot_to_blade=250.0), leaves=(0.05,)
)


class Life:
    """One life of a writer with what it told."""

    def __init__(self, path: Path, boot_id: str = "boot-a") -> None:
        self.saved: list[Saved] = []
        self.trouble: list[str | None] = []
        self.writer = LogWriter.open(
            path,
            boot_id=boot_id,
            program="test 1",
            on_saved=self.saved.append,
            on_trouble=self.trouble.append,
        )

    def begin(self, run: str = "run-1") -> int:
        return self.writer.begin_check(
            run, "fence-square", jig="big-sled", saw=None, options={"sweeps": 3, "hold": "left"}, gear=GEAR
        )

    def sweep(self, sweep: str, run: str = "run-1", placement: str = "handle-right") -> Trace:
        trace = Trace(
            placement, [0.1 * n for n in range(50)], [n / 1000 for n in range(50)], True, sweep, "1"
        )
        self.writer.start_sweep(sweep, run, placement, push=True, seat="1")
        self.writer.chunk(sweep, "indicator", b"+ 0.001, MM\r\n" * 50, [20_000_000 * n for n in range(50)])
        self.writer.end_sweep(sweep, "whole", trace=trace)
        return trace


def found(name: str = "f-1") -> Finding:
    quantity = Quantity("fence", 0.0003, "rad", 0.00002, 11.3, 0.000167, "outside", "left end too near you")
    return Finding(
        id=name, check="fence-square", jig="big-sled", at="2026-01-01T10:00:00+00:00", quantities=[quantity],
        verdict="outside",
    )  # fmt: skip


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


def test_what_is_saved_comes_back_as_it_went_in(path: Path) -> None:
    life = Life(path)
    life.begin()
    traces = [life.sweep(f"s-{n}") for n in range(3)]
    evidence = Evidence(
        "fence-square", traces, {"sweeps": 3}, GEAR, leans=[Lean("handle-right", -0.01, 0.02)]
    )
    ticket = life.writer.finding("run-1", found(), evidence)
    assert life.writer.flush()
    assert life.saved[-1].upto >= ticket
    assert [sweep for saved in life.saved for sweep in saved.sweeps] == ["s-0", "s-1", "s-2"]
    assert life.writer.close()
    with sqlite3.connect(path) as db:
        assert load.finding(db, "f-1") == (found(), evidence)
        assert load.open_runs(db) == []
    db.close()
    assert life.trouble == []


def test_a_check_in_progress_is_found_again(path: Path) -> None:
    life = Life(path)
    life.begin()
    trace = life.sweep("s-0")
    life.writer.event("run-1", "lean", {"placement": "handle-right", "left": -0.01, "right": 0.02})
    life.writer.start_sweep("s-1", "run-1", "handle-right")
    life.writer.chunk("s-1", "indicator", b"x" * 7, [1000, 2000, 3000])
    life.writer.close()
    again = Life(path, "boot-b")
    left = again.writer.unfinished
    assert [run.run for run in left.runs] == ["run-1"]
    assert left.runs[0].gear == GEAR
    assert left.runs[0].sweeps[0].trace == trace
    assert [(s.sweep, s.readings) for s in left.interrupted] == [("s-1", 3)]
    assert any("3 readings are kept" in words for words in left.words)
    again.writer.close()
    third = Life(path, "boot-c")
    assert third.writer.unfinished.interrupted == []
    assert [s.state for s in third.writer.unfinished.runs[0].sweeps] == ["whole", "interrupted"]
    third.writer.close()

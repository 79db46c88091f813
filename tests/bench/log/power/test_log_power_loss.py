"""The power is cut at any moment, with any part of what was not yet synced on the disk: what was told as saved is there.

The way to find out is that of SQLite's own document on how it is tested (crash tests): note all that is written and
synced, and make the files that a cut would leave. Two controls show that the test can fail: with fewer syncs rows that
were acknowledged are lost, with none the file is damaged.
"""

from __future__ import annotations

import json
import random
import shutil
import sqlite3
from collections import Counter
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace

import pytest

from bench.log.writer import LogWriter


def what_is_left(path: Path, acks: list[str]) -> str:
    """Start again as the daemon does, and compare with what was told: "good", "damaged", "lost" (and it says so) or
    "lost in silence".
    """
    troubles: list[str | None] = []
    writer = LogWriter.open(
        path, boot_id="next", program="next", on_saved=lambda saved: None, on_trouble=troubles.append
    )
    try:
        writer.flush()
        told, damaged = bool(writer.unfinished.about_log), writer.unfinished.salvage is not None
    finally:
        writer.close()
    with closing(sqlite3.connect(path)) as db:
        if any(troubles) or db.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            return "damaged"
        states = dict(db.execute("SELECT sweep, state FROM sweep"))
        kept = db.execute("SELECT max(last_ticket) FROM boot WHERE program = 'test'").fetchone()[0] or 0
        pieces = {
            name: readings
            for name, readings in db.execute(
                "SELECT sweep, readings FROM sweep JOIN reading USING (sweep_key)"
            )
        }
    assert "running" not in states.values()
    # no half sweep looks whole
    assert damaged or all(pieces[name] == 60 for name, state in states.items() if state == "whole")
    lines = [line.split() for line in acks]
    swept = [words[1] for words in lines if words[0] == "sweep"]
    last = max([0, *(int(words[1]) for words in lines if words[0] == "ticket")])
    if kept >= last and all(states.get(name) == "whole" for name in swept):
        return "damaged" if told else "good"
    return "lost" if told else "lost in silence"


def cut_often(power: SimpleNamespace, folder: Path, synchronous: str, cuts: int, seed: int) -> Counter[str]:
    path = folder / synchronous / "log.sqlite"
    acks = power.write_log(power.disk, path, synchronous=synchronous)
    assert acks[-1] == "end 1"
    done = power.journal(path)
    replay, chance, found = power.Replay(done), random.Random(seed), Counter[str]()
    for moment in sorted(chance.choices(range(1, len(done) + 1), k=cuts)):
        replay.go_to(moment)
        left = folder / f"{synchronous}-left"
        left.mkdir()
        replay.cut(left, path.name, chance.choice([0.0, 0.25, 0.5, 0.75, 1.0]), chance)
        found[what_is_left(left / path.name, replay.acks)] += 1
        shutil.rmtree(left)
    return found


def say(found: dict[str, Counter[str]], cuts: int) -> None:
    passed = set(found["FULL"]) == {"good"}
    limit = "FULL: all good; NORMAL loses; OFF damages"
    print(
        json.dumps({"test": "power loss", "figure": {"cuts": cuts, **found}, "limit": limit, "pass": passed})
    )


@pytest.mark.ci
def test_the_power_is_cut(power: SimpleNamespace, tmp_path: Path) -> None:
    assert set(cut_often(power, tmp_path, "FULL", 60, seed=1)) == {"good"}


@pytest.mark.slow
@pytest.mark.timeout(3000)
def test_three_thousand_cuts_and_the_two_controls(power: SimpleNamespace, tmp_path: Path) -> None:
    found = {
        mode: cut_often(power, tmp_path, mode, 3000 if mode == "FULL" else 300, seed=2)
        for mode in ("FULL", "NORMAL", "OFF")
    }
    say(found, 3000)
    assert set(found["FULL"]) == {"good"}
    assert found["NORMAL"]["lost"] > 0
    assert found["NORMAL"]["lost in silence"] == 0  # it is known by the numbers beside the log
    assert found["OFF"]["damaged"] > 0


def fail_at(power: SimpleNamespace, folder: Path, number: int, many: int) -> float | None:
    """The disk fails `many` calls long from call `number` on; s until that was told, None where SQLite bore it."""
    path = folder / f"at-{number}-{many}" / "log.sqlite"
    acks = power.write_log(power.disk, path, sweeps=12, pages=10, **{"at": number, "for": many})
    assert acks[-1] == "end 1", "recording did not come back by itself"
    assert what_is_left(path, acks) == "good"
    failed = [one.offset / 1e9 for one in power.journal(path) if one.kind == power.FAILED]
    told = [
        float(line.split()[1]) for line in acks if line.startswith("trouble") and not line.endswith(" none")
    ]
    if told:
        assert any(
            line.startswith("trouble") and line.endswith(" none") for line in acks
        )  # and that it is over
    return told[0] - failed[0] if told else None


def calls_of_a_life(power: SimpleNamespace, folder: Path) -> int:
    path = folder / "well" / "log.sqlite"
    power.write_log(power.disk, path, sweeps=12, pages=10)
    return sum(not one.path.endswith(".acks") for one in power.journal(path))


@pytest.mark.ci
@pytest.mark.parametrize("share", [0.02, 0.3, 0.55, 0.9])
def test_a_call_fails(power: SimpleNamespace, tmp_path: Path, share: float) -> None:
    number = max(1, round(share * calls_of_a_life(power, tmp_path)))
    took = fail_at(power, tmp_path, number, 3)
    assert took is None or took < 2.0


@pytest.mark.slow
@pytest.mark.timeout(3000)
def test_each_call_fails_once(power: SimpleNamespace, tmp_path: Path) -> None:
    calls = calls_of_a_life(power, tmp_path)
    took = [fail_at(power, tmp_path, number, many) for number in range(1, calls + 1) for many in (1, 4)]
    slowest = max(one for one in took if one is not None)
    figure = {
        "calls": calls,
        "runs": len(took),
        "told": sum(one is not None for one in took),
        "slowest_s": slowest,
    }
    print(
        json.dumps(
            {
                "test": "I/O error at the n-th call",
                "figure": figure,
                "limit": {"s": 2.0},
                "pass": slowest < 2.0,
            }
        )
    )
    assert slowest < 2.0

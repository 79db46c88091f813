"""The daemon is killed at the moment it says that something is kept: the log must hold it, however slow the disk.

A slow disk is simulated by a connection whose commit takes effect only after a delay, so that what was not
committed when the word was said is truly lost by the kill.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import msgspec
import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.finding import Finding, Move
from bench.log.writer import LogWriter
from bench.wire import Abandon, Asking, Begin, Done, Moved, Press, SweepSaid, Undo

# A parent that has loaded the program, and for each line "FROM TO" (s a commit takes) forks a daemon of its own.
NURSERY = r"""
import functools, os, random, sqlite3, sys, time

slow = [0.0, 0.0]

class Slow(sqlite3.Connection):
    def execute(self, sql, *args):
        if sql == "COMMIT":
            time.sleep(random.uniform(*slow))
        return super().execute(sql, *args)

sqlite3.connect = functools.partial(sqlite3.connect, factory=Slow)
from bench.daemon.service import run_daemon
from bench.settings import Paths, load
from pathlib import Path

folder = Path(sys.argv[1])
paths = Paths(*(folder / name for name in ("settings.toml", "log.db", "gear.toml", "socket")))
for line in sys.stdin:
    if (pid := os.fork()) == 0:
        random.seed()
        slow[:] = map(float, line.split())
        run_daemon(load(paths.settings, paths.gear), paths)
        os._exit(0)
    print(pid, flush=True)
    os.waitpid(pid, 0)
    print("ended", flush=True)
"""

FOUND, RUN = "found-1", "run-2"
BEGIN = Begin("fence-square", sweeps=50)


def record(path: Path) -> None:
    """A log with a result that asks for a move, and a check in progress with passes in its first set-up."""
    writer = LogWriter.open(
        path, boot_id="b", program="t", on_saved=lambda saved: None, on_trouble=lambda words: None
    )
    gear = EvidenceGear()
    move = Move("left", "away", 0.15, 0.011, [0.15], 0.0, "Move the left end away by 0.15 mm.")
    finding = Finding(
        id=FOUND, check="fence-square", jig="big-sled", move=move, verdict="outside", quantities=[]
    )
    writer.begin_check("run-1", "fence-square", jig="big-sled", saw=None, options={}, gear=gear)
    writer.finding("run-1", finding, Evidence("fence-square", [], {}, gear))
    writer.move_planned(f"move-{FOUND}", FOUND, move)
    writer.begin_check(RUN, "fence-square", jig="big-sled", saw=None, options={}, gear=gear)
    writer.event(RUN, "asked-for", msgspec.to_builtins(BEGIN))
    writer.event(RUN, "acknowledged", {})
    for number in range(3):
        trace = Trace("handle-left", [1.5 * n for n in range(100)], [0.0] * 100, sweep=f"pass-{number}")
        writer.start_sweep(trace.sweep, RUN, trace.placement)
        writer.end_sweep(trace.sweep, "whole", push=True, trace=trace)
    assert writer.close()


class Bed:
    """A daemon in a process of its own that can be killed, on a fresh copy of the recorded log each time."""

    def __init__(self, folder: Path, rig, wire) -> None:
        self.folder, self.rig, self.wire = folder, rig, wire
        record(folder / "recorded.db")
        self.parent = subprocess.Popen(
            [sys.executable, "-c", NURSERY, str(folder)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        self.pid = 0

    def start(self, slow: tuple[float, float]):
        for name in ("log.db", "log.db-wal", "log.db-shm", "log.db.lock", "socket"):
            (self.folder / name).unlink(missing_ok=True)
        shutil.copy(self.folder / "recorded.db", self.folder / "log.db")
        self.rig.s = 0.0
        self.parent.stdin.write(f"{slow[0]} {slow[1]}\n")
        self.parent.stdin.flush()
        self.pid = int(self.parent.stdout.readline())
        return self.wire()

    def kill(self) -> None:
        pid, self.pid = self.pid, 0
        os.kill(pid, signal.SIGKILL)
        assert self.parent.stdout.readline() == "ended\n"

    def holds(self, query: str, *values: str) -> bool:
        with closing(sqlite3.connect(self.folder / "log.db")) as db:
            assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            return db.execute(query, values).fetchone() is not None

    def close(self) -> None:
        if self.pid:
            self.kill()
        self.parent.communicate()


@pytest.fixture
def bed(tmp_path, rigs, wire) -> Iterator[Bed]:
    made = Bed(tmp_path, rigs(), wire)
    yield made
    made.close()


def heard(client, kind: type, met=lambda message: True):
    """The next message of that kind that is as it should be."""
    while True:
        message = client.next(20.0)
        assert message is not None, f"no {kind.__name__} was said"
        if isinstance(message, kind) and met(message):
            return message


def begun(bed: Bed, client) -> bool:
    client.send(Abandon(ref=1))
    client.send(msgspec.structs.replace(BEGIN, ref=2))
    run = heard(client, Asking, lambda m: m.ref == 2).run
    bed.kill()
    return bed.holds("SELECT 1 FROM check_run WHERE run = ? AND state = 'open'", run)


def acknowledged(bed: Bed, client) -> bool:
    client.send(Abandon(ref=1))
    client.send(BEGIN)
    client.send(Press(ref=3))
    heard(client, Done, lambda m: m.ref == 3)
    bed.kill()
    return bed.holds(
        "SELECT 1 FROM event JOIN check_run USING (run_key) WHERE kind = 'acknowledged' AND run <> ?", RUN
    )


def kept(bed: Bed, client) -> bool:
    client.send(Press())
    heard(client, Asking, lambda m: m.ask.ready)
    bed.rig.go(150.0, speed=600.0)
    sweep = heard(client, SweepSaid, lambda m: m.state == "kept").sweep
    bed.kill()
    return bed.holds("SELECT 1 FROM sweep WHERE sweep = ? AND state = 'whole'", sweep)


def noted(bed: Bed, client) -> bool:
    client.send(Moved(ref=1))
    assert heard(client, Done).text.startswith("Noted")
    bed.kill()
    return bed.holds("SELECT 1 FROM move WHERE made_json IS NOT NULL")


def taken_back(bed: Bed, client) -> bool:
    client.send(Undo(ref=1))
    assert "is taken back" in heard(client, Done).text
    bed.kill()
    return bed.holds("SELECT 1 FROM sweep WHERE sweep = 'pass-2' AND state = 'undone'")


def given_up(bed: Bed, client) -> bool:
    client.send(Abandon(ref=1))
    assert "is given up" in heard(client, Done).text
    bed.kill()
    return bed.holds("SELECT 1 FROM check_run WHERE run = ? AND state = 'abandoned'", RUN)


WORDS = {f.__name__: f for f in (begun, acknowledged, kept, noted, taken_back, given_up)}


def lost(bed: Bed, word: str, kills: int, slow: tuple[float, float]) -> int:
    return sum(not WORDS[word](bed, bed.start(slow)) for _ in range(kills))


EVERY = [name for name in WORDS if name != "kept"]  # the real push of kept takes a second


@pytest.mark.parametrize("word", [*EVERY, pytest.param("kept", marks=pytest.mark.ci)])
def test_what_was_said_is_in_the_log(word, bed) -> None:
    assert lost(bed, word, 1, (0.1, 0.2)) == 0


@pytest.mark.ci
@pytest.mark.parametrize("word", WORDS)
def test_on_a_disk_that_takes_a_second(word, bed) -> None:
    assert lost(bed, word, 1, (0.7, 1.0)) == 0


@pytest.mark.parametrize(
    "kills",
    [
        pytest.param(10, marks=pytest.mark.ci),
        pytest.param(200, marks=[pytest.mark.slow, pytest.mark.timeout(3600)]),
    ],
)
@pytest.mark.parametrize("word", WORDS)
def test_killed_at_each_word(word, kills, bed, figure) -> None:
    """0 to 200 ms a sync."""
    random.seed(kills)
    missing = lost(bed, word, kills, (0.0, 0.2))
    figure(f"killed at the word: {word}", {"kills": kills, "lost": missing}, {"lost": 0}, good=missing == 0)

"""A hand that pushes and draws back for ever, and one JSON line for each reliability figure."""

from __future__ import annotations

import os
import shutil
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import msgspec
import pytest

from bench.checks.model import Evidence, EvidenceGear, Trace
from bench.finding import Finding, Move
from bench.log.writer import LogWriter
from bench.protocol import Begin, InstrumentState


def hear_state(client, name: str, state: str) -> InstrumentState:
    """Wait until the daemon tells that of an instrument."""
    while True:
        said = client.next(60.0)
        assert said is not None, f"{name} was never told to be {state}"
        if isinstance(said, InstrumentState) and (said.name, said.state) == (name, state):
            return said


class Pushing:
    """Pushes the rig's sled to and fro in a thread until closed."""

    def __init__(self, rig, length: float = 120.0, speed: float = 1200.0) -> None:
        self._rig, self._length, self._speed = rig, length, speed
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.is_set():
            for to in (self._length, 0.0):
                self._rig.go(to, self._speed)
                self._stop.wait(0.9)

    def close(self) -> None:
        self._stop.set()
        self._thread.join(5)


@pytest.fixture
def pushing() -> Iterator[Callable[..., Pushing]]:
    made: list[Pushing] = []

    def start(rig, **kept: float) -> Pushing:
        made.append(Pushing(rig, **kept))
        return made[-1]

    yield start
    for one in made:
        one.close()


@pytest.fixture
def wire(tmp_path: Path) -> Iterator[Callable[[], object]]:
    """Connects to the daemon of this test's folder, waiting until it answers."""
    from bench.protocol.client import NoDaemon, WireClient

    made = []

    def connect(seconds: float = 60.0):
        until = time.monotonic() + seconds
        while True:
            try:
                client = WireClient(tmp_path / "socket")
            except NoDaemon:
                if time.monotonic() > until:
                    raise
                time.sleep(0.01)
                continue
            made.append(client)
            return client

    yield connect
    for client in made:
        client.close()


# A slow disk: a commit takes effect only after a delay, so that what was not committed is truly lost by a kill.
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
from bench.settings.settings_file import Paths, load
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


def _record(path: Path) -> None:
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
    writer.event(RUN, "asked-for", msgspec.to_builtins(Begin("fence-square", sweeps=50)))
    writer.event(RUN, "acknowledged", {})
    for number in range(3):
        trace = Trace("handle-left", [1.5 * n for n in range(100)], [0.0] * 100, sweep=f"pass-{number}")
        writer.start_sweep(trace.sweep, RUN, trace.placement)
        writer.end_sweep(trace.sweep, "whole", push=True, trace=trace)
    assert writer.close()


def _heard(client, kind: type, met=lambda message: True):
    last = []
    while (message := client.next(60.0)) is not None:
        if isinstance(message, kind) and met(message):
            return message
        last = [*last, message][-12:]
    raise AssertionError(f"no {kind.__name__} was said; the last that was said: {last}")


@pytest.fixture
def heard() -> Callable[..., object]:
    """The next message to a client that is of a kind and as it should be."""
    return _heard


class Bed:
    """A daemon in a process of its own that can be killed, on a fresh copy of the recorded log each time."""

    RUN, heard = RUN, staticmethod(_heard)

    def __init__(self, folder: Path, rig, wire) -> None:
        self.folder, self.rig, self.wire = folder, rig, wire
        _record(folder / "recorded.db")
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
    """A daemon that can be killed, on a log with a result that asks for a move and a check in progress."""
    made = Bed(tmp_path, rigs(), wire)
    yield made
    made.close()


@pytest.fixture
def recorded(tmp_path) -> Path:
    """The log of this test's folder, with a result that asks for a move and a check in progress."""
    _record(tmp_path / "log.db")
    return tmp_path / "log.db"

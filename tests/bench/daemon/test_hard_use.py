"""Cables pulled a hundred times, rubbish by the megabyte, clients of bad manners, copies taken while it works.

In small every day; the slow ones print a figure each. The limits are this project's own promises.
"""

from __future__ import annotations

import contextlib
import os
import random
import socket
import sqlite3
import statistics
import threading
import time
from pathlib import Path

import pytest

from bench.protocol import (
    Begin,
    GetStatus,
    InstrumentState,
    PassNotice,
    Press,
    PromptChanged,
    Readings,
    StatusReply,
    Watch,
)
from bench.protocol.client import WireClient


def slow(number: int):
    return pytest.param(number, marks=[pytest.mark.slow, pytest.mark.timeout(1200)])


def resident(pid: int) -> float:
    """MiB."""
    return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


def processor(pid: int) -> float:
    """s, of the program and the kernel for it."""
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


class Watcher:
    """Sees every reading: what is missing between them, and how late each block comes after its last stamp."""

    def __init__(self, client) -> None:
        self.client = client
        self.expected: dict[str, int] = {}
        self.lost = 0
        self.late: list[float] = []
        client.send(Watch())

    def look(self, seconds: float) -> list[object]:
        """For so long; what else was said."""
        out, until = [], time.monotonic() + seconds
        while (left := until - time.monotonic()) > 0:
            message = self.client.next(left)
            if isinstance(message, Readings):
                self.late.append(time.monotonic() - message.at[-1])
                self.lost += message.first - self.expected.get(message.instrument, message.first)
                self.expected[message.instrument] = message.first + len(message.values)
            elif message is not None:
                out.append(message)
        return out


@pytest.mark.parametrize("cycles", [pytest.param(1, marks=pytest.mark.ci), slow(100)])
def test_pulled_and_plugged_in_again(cycles: int, rigs, run, wire, figure) -> None:
    """Each time another device is behind the same name. What is measured is from the plug to the next reading."""
    rig = rigs(marks='["25 mm", "50 mm", "75 mm", "100 mm"]')
    daemon = run("daemon")
    daemon.hear("ready")
    client = wire()
    client.send(Watch())
    pid = daemon.process.pid
    chance = random.Random(cycles)
    back: list[float] = []
    spent = away = 0.0
    for _ in range(cycles):
        rig.unplug("indicator")
        before, began = processor(pid), time.monotonic()
        until = began + chance.uniform(0.3, 1.5)
        while True:
            message = client.next(max(0.01, until - time.monotonic()))
            gone = isinstance(message, InstrumentState) and message.name == "indicator"
            if gone and message.state == "absent":  # type: ignore[union-attr]
                break
            assert time.monotonic() < began + 10
        while (left := until - time.monotonic()) > 0:
            client.next(left)
        spent, away = spent + processor(pid) - before, away + time.monotonic() - began
        rig.plug("indicator")
        plugged = time.monotonic()
        while True:
            message = client.next(10.0)
            if (
                isinstance(message, Readings)
                and message.instrument == "indicator"
                and message.at[-1] > plugged
            ):
                break
        back.append(time.monotonic() - plugged)
    assert daemon.process.poll() is None
    if cycles > 10:
        figure("plugged in again: back in, s, median", round(statistics.median(back), 3), 1.0,
               good=statistics.median(back) <= 1.0)  # fmt: skip
        figure("the same, worst of a hundred", round(max(back), 3), 3.0, good=max(back) <= 3.0)
        share = spent / away
        figure("processor while one is pulled, share of a core", round(share, 4), 0.02, good=share <= 0.02)
    assert daemon.end() == 0


@pytest.mark.ci
def test_no_sweep_is_joined_across_a_pulled_cable(rigs, run, wire) -> None:
    rig = rigs()
    run("daemon").hear("ready")
    client = wire()
    client.send(Begin("fence-square", sweeps=1))
    until = time.monotonic() + 20
    while True:  # cautions, placement
        message = client.next(1.0)
        assert time.monotonic() < until
        if isinstance(message, PromptChanged) and message.ask is not None:
            if message.ask.enter:
                client.send(Press(waits=False))
            elif message.ask.ready:
                break
    mover = threading.Thread(target=rig.go, args=(240.0, 200.0))
    mover.start()
    said: list[PassNotice] = []
    pulled = plugged = False
    until = time.monotonic() + 20
    while mover.is_alive() or not said or said[-1].state == "running":
        assert time.monotonic() < until
        message = client.next(0.01)
        if isinstance(message, PassNotice):
            said.append(message)
        if rig.s > 100.0 and not pulled:
            rig.unplug("indicator")
            pulled = True
        elif rig.s > 140.0 and pulled and not plugged:
            rig.plug("indicator")
            plugged = True
    assert [one.state for one in said][:2] == ["running", "refused"]
    assert "went away" in said[1].words
    assert not any(one.state == "kept" for one in said)


@pytest.mark.parametrize("size", [pytest.param(20_000, marks=pytest.mark.ci), slow(1_000_000)])
def test_rubbish_through_a_real_port(size: int, rigs, run, wire, figure) -> None:
    """Random bytes in bursts; after each, two lines: the second is read. The daemon answers all the while.

    The second is sent twice: what steps from the line before it may wait in the gate for the next one to agree.
    """
    rig = rigs()
    daemon = run("daemon")
    daemon.hear("ready")
    client = wire()
    watcher = Watcher(client)
    rig.sends = False
    watcher.look(0.3)
    chance = random.Random(size)
    left, missed, bursts, slowest = size, 0, 0, 0.0
    memory = resident(daemon.process.pid)
    while left > 0:
        burst = chance.randbytes(chance.randint(1, 3000))
        left -= len(burst)
        bursts += 1
        # near the line before it: one that leaps to and fro is held back by the gate, well formed or not
        value = chance.choice((0.999, 1.001))
        rig.send("indicator", burst + b"\r\n+1.000 mm\r\n" + b"%+.3f mm\r\n" % value * 2)
        until, seen = time.monotonic() + 3.0, False
        while not seen and time.monotonic() < until:
            message = client.next(0.5)
            seen = isinstance(message, Readings) and abs(message.values[-1] - value) < 1e-9
        missed += not seen
        if bursts % 10 == 0:
            began = time.monotonic()
            client.ask(GetStatus(), StatusReply)
            slowest = max(slowest, time.monotonic() - began)
    grew = resident(daemon.process.pid) - memory
    if size > 100_000:
        figure("rubbish at a port: second good line not read", missed, 0, good=missed == 0)
        figure("the same: longest wait for an answer, s", round(slowest, 3), 0.2, good=slowest <= 0.2)
        figure("the same: memory added, MiB", round(grew, 2), 2.0, good=grew <= 2.0)
    assert missed == 0
    assert daemon.end() == 0


def bad_manners(path: Path, seconds: float, over: threading.Event) -> None:
    """One never reads, one sends ten megabytes without an end, one wrong UTF-8, one deep JSON, many come and go."""

    def connect() -> socket.socket:
        one = socket.socket(socket.AF_UNIX)
        one.settimeout(0.05)
        one.connect(str(path))
        return one

    deaf = connect()
    deaf.sendall(b'{"type": "watch"}\n' + b'{"type": "status"}\n' * 200)
    flood, sent, block = connect(), 0, b"x" * 65536
    until = time.monotonic() + seconds
    while time.monotonic() < until and not over.is_set():
        with contextlib.suppress(OSError):
            sent += flood.send(block)
        if sent > 10_000_000:
            flood.close()
            flood, sent = connect(), 0
        for rubbish in (b"\xff\xfe\xfd\n", b"[" * 60_000 + b"\n", b"", b""):
            with contextlib.suppress(OSError), connect() as one:
                one.sendall(rubbish)
        time.sleep(0.004)
    deaf.close()
    flood.close()


@pytest.mark.parametrize("seconds", [pytest.param(1, marks=pytest.mark.ci), slow(20)])
def test_clients_of_bad_manners(seconds: int, rigs, run, wire, figure, tmp_path) -> None:
    rigs()
    daemon = run("daemon")
    daemon.hear("ready")
    watcher = Watcher(wire())
    watcher.look(0.3 if seconds < 5 else 2.0)
    quiet = sorted(watcher.late)
    memory = resident(daemon.process.pid)
    watcher.late.clear()
    over = threading.Event()
    enemy = threading.Thread(target=bad_manners, args=(tmp_path / "socket", float(seconds), over))
    enemy.start()
    watcher.look(float(seconds))
    over.set()
    enemy.join()
    watcher.look(0.5)
    grew = resident(daemon.process.pid) - memory
    late = sorted(watcher.late)
    assert watcher.lost == 0 and min(watcher.expected.values()) > 50
    if seconds > 5:
        p99 = late[int(0.99 * len(late))]
        before = quiet[int(0.99 * len(quiet))]
        figure("others wait, 99th percentile, s", round(p99, 4), 0.02, good=p99 <= 0.02 + before)
        figure("memory added by bad manners, MiB", round(grew, 2), 5.0, good=grew <= 5.0)
    assert grew <= 8.0
    assert daemon.end() == 0


def back_up(log: Path, target: Path) -> None:
    """As `sqlite3 FILE ".backup COPY"` makes it."""
    opened = contextlib.closing(sqlite3.connect(f"{log.as_uri()}?mode=ro", uri=True))
    with opened as db, contextlib.closing(sqlite3.connect(target)) as copy:
        db.backup(copy)


@pytest.mark.parametrize("copies", [pytest.param(1, marks=pytest.mark.ci), slow(20)])
def test_copies_while_it_sweeps(copies: int, rigs, run, wire, pushing, figure, tmp_path) -> None:
    """Each copy is whole and holds what the log held at some moment: nothing that the log has not, in its order."""
    rig = rigs()
    daemon = run("daemon")
    daemon.hear("ready")
    pushing(rig)
    client = wire()
    client.send(Begin("fence-square", sweeps=50))
    watcher = Watcher(wire())
    until = time.monotonic() + 20
    kept = 0
    while kept < 1 and time.monotonic() < until:
        message = client.next(0.2)
        if isinstance(message, PromptChanged) and message.ask is not None and message.ask.enter:
            client.send(Press(waits=False))
        kept += isinstance(message, PassNotice) and message.state == "kept"
    assert kept
    watcher.look(0.2)
    watcher.late.clear()
    copied = []
    for number in range(copies):
        target = tmp_path / f"copy-{number}.db"
        taken = threading.Thread(target=back_up, args=(tmp_path / "log.db", target))
        taken.start()
        watcher.look(0.5)
        taken.join(10)
        copied.append(target)
    worst = max(watcher.late)
    assert daemon.end() == 0
    with sqlite3.connect(tmp_path / "log.db") as db:
        tables = [name for (name,) in db.execute("SELECT name FROM sqlite_master WHERE type = 'table'")]
        last = {name: rows(db, name) for name in tables if name in {"sweep", "event", "check_run"}}
    counts: list[int] = []
    for target in copied:
        with sqlite3.connect(target) as db:
            assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
            for name, whole in last.items():
                mine = rows(db, name)
                assert mine == whole[: len(mine)], name
            counts.append(len(rows(db, "event")) + len(rows(db, "sweep")))
    assert counts == sorted(counts)
    assert watcher.lost == 0
    if copies > 5:
        figure("copies while sweeping: whole and a beginning of the log", len(copied), copies, good=True)
        figure("the same: longest wait of a reading, s", round(worst, 3), 0.05, good=worst <= 0.05)


def rows(db: sqlite3.Connection, table: str) -> list[object]:
    """The keys of a table in the order of writing."""
    return [row[0] for row in db.execute(f"SELECT rowid FROM {table} ORDER BY rowid")]


@pytest.mark.parametrize("seconds", [pytest.param(4, marks=pytest.mark.ci), slow(600)])
def test_ten_clients_come_and_go(seconds: int, rigs, run, wire, figure, tmp_path) -> None:
    """While it is connected each sees every reading, whatever the nine others do."""
    rigs()
    daemon = run("daemon")
    daemon.hear("ready")
    wire()
    over = time.monotonic() + seconds
    seen, visits, lost, faults = [0] * 10, [0] * 10, [0] * 10, []

    def come_and_go(number: int) -> None:
        chance = random.Random(number)
        try:
            while time.monotonic() < over:
                client = WireClient(tmp_path / "socket")
                watcher = Watcher(client)
                watcher.look(min(chance.uniform(0.2, 8.0), max(0.1, over - time.monotonic())))
                client.close()
                seen[number] += len(watcher.late)
                lost[number] += watcher.lost
                visits[number] += 1
                time.sleep(chance.uniform(0.0, 0.3))
        except Exception as error:
            faults.append(repr(error))

    clients = [threading.Thread(target=come_and_go, args=(number,)) for number in range(10)]
    for one in clients:
        one.start()
    for one in clients:
        one.join()
    assert faults == []
    assert min(seen) > 10 * seconds
    if seconds > 100:
        figure("ten clients: visits", sum(visits), "-", good=True)
        figure("ten clients: numbers missing while connected", sum(lost), 0, good=sum(lost) == 0)
    assert sum(lost) == 0
    assert daemon.end() == 0

"""One writer per log, and nothing to clean after it was killed."""

from __future__ import annotations

import os
import signal
import subprocess
import sys

import pytest

from bench.log.read_only import open_read
from bench.log.rows import LogHeld

CONTENDER = r"""
import os, sys
from bench.log.read_only import open_read
from bench.log.rows import LogHeld
from bench.log.writer import LogWriter
sys.stdin.readline()
try:
    writer = LogWriter.open(sys.argv[1], boot_id="b", program="t", on_saved=lambda s: None, on_trouble=print)
except LogHeld as error:
    print(error, flush=True)
    sys.exit(2)
print("holding", flush=True)
sys.stdin.readline()
writer.close()
"""


def contenders(path, count: int) -> list[subprocess.Popen[str]]:
    started = [
        subprocess.Popen(
            [sys.executable, "-c", CONTENDER, str(path)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )
        for _ in range(count)
    ]
    for process in started:
        process.stdin.write("\n")
        process.stdin.flush()
    return started


def one_holds(processes: list[subprocess.Popen[str]]) -> subprocess.Popen[str]:
    """The winner; every loser has left with status 2, naming it."""
    first = {process: process.stdout.readline() for process in processes}
    (winner,) = [process for process, line in first.items() if line == "holding\n"]
    for process, line in first.items():
        if process is not winner:
            assert process.wait(60) == 2
            assert f"process {winner.pid} since " in line
            end(process)
    return winner


def end(process: subprocess.Popen[str]) -> None:
    process.stdin.close()
    process.stdout.close()
    process.wait(60)


def round_of(path, count: int) -> None:
    winner = one_holds(contenders(path, count))
    winner.send_signal(signal.SIGKILL)
    end(winner)


@pytest.mark.ci
def test_five_at_once_and_again_after_killing_the_winner(path) -> None:
    round_of(path, 5)
    round_of(path, 1)


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_fifty_rounds_of_five(path) -> None:
    for _ in range(50):
        round_of(path, 5)


def test_a_second_writer_in_the_same_process_is_refused_too(live, path) -> None:
    live()
    with pytest.raises(LogHeld, match=f"process {os.getpid()} since"):
        live()


def test_a_dead_holders_number_does_not_name_a_living_one(live, path) -> None:
    """The lock file of a killed process stays behind, and its number may be stale when the next one looks."""
    first = live()
    lock = path.with_name(path.name + ".lock")
    lock.write_text("999999999 2020-01-01T00:00:00+00:00\n")
    with pytest.raises(LogHeld, match="another process"):
        live()
    first.writer.close()
    live()


OTHER_PROGRAM = "import sqlite3, sys; db = sqlite3.connect(sys.argv[1]); db.execute('select count(*) from event').fetchall()"


def test_what_reads_the_log_gives_up_no_lock_of_the_writer(live, path) -> None:
    """Another program that is the last to close a log takes its write-ahead file away, with all that comes after. The
    kernel gives up a process's locks on a file as soon as it closes any descriptor of it (POSIX, fcntl)."""
    life = live()
    life.begin()
    assert life.writer.flush()
    with open_read(path) as db:
        db.execute("SELECT count(*) FROM event").fetchone()
    subprocess.run([sys.executable, "-c", OTHER_PROGRAM + "; db.close()", str(path)], check=True)
    assert path.with_name(path.name + "-wal").exists()
    life.whole_check("run-2")
    assert life.writer.flush()
    with open_read(path) as db:  # the file, as after a power cut
        assert db.execute("SELECT count(*) FROM finding").fetchone() == (1,)

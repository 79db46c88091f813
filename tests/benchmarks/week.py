"""A week of the daemon under a clock that runs faster; one JSON line a figure, exit 1 where one is missed.

    python tests/benchmarks/week.py [--days 7] [--speed 400]

What a day of readings at speed (soak.py) does not see: hundreds of quarters of an hour, midnights, the end of a month
and of daylight saving time in one night, a check begun and given up each day. Two instruments send about one reading a
second of that time, a sensor shows the shop's air. Needs a C compiler: `fast_clock.c` makes the daemon's clocks faster
and its waits shorter. A stall of this
machine is as many times longer for the daemon, which then tells it, rightly: such lines are counted apart. The log lies
in memory (/dev/shm), as a disk would be as slow. What is not seen is the review timer and the journal of systemd.
"""

from __future__ import annotations

import argparse
import json
import os
import re
import signal
import socket
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import closing
from itertools import combinations, pairwise
from pathlib import Path
from typing import NamedTuple

from daemon_figures import Feeder
from soak import Look, look, say

HERE = Path(__file__).parent
FIRST_DAY = (
    1_824_674_400  # 2027-10-28 00:00 in Central Europe: its summer time and October end three days later
)
ZONE = "CET-1CEST,M3.5.0,M10.5.0/3"  # in the words of POSIX (8.3, TZ)
DAY = 86_400
PATIENCE_S = 60.0
WARM = 0.3  # share of the looks after which memory is looked at
STALLED = ("has sent nothing for", " reads.", "has not answered for", "is written again")
DAEMON = """
import sys
from hw.climate import Climate
from bench.daemon import climate_sampler
climate_sampler.read_climate = lambda: [Climate("shop", 18.5, 48.0)]
from bench.cli import main
main()
"""


class FastDaemon:
    """The daemon with its own clock. process, client: as of daemon_figures.Daemon."""

    def __init__(self, folder: Path, ports: dict[str, str], speed: float) -> None:
        from bench.protocol.client import WireClient

        clock = folder / "fast_clock.so"
        command = ["cc", "-O2", "-shared", "-fPIC", "-o", str(clock), str(HERE / "fast_clock.c")]
        subprocess.run(command, check=True)
        text = "".join(f'[{name}]\nport = "{path}"\n' for name, path in ports.items())
        (folder / "settings.toml").write_text(text)
        self.began = time.monotonic_ns()
        clocks = {"SPEED": speed, "FROM": self.began, "WALL": FIRST_DAY}
        env = os.environ | {f"FAST_CLOCK_{name}": str(value) for name, value in clocks.items()}
        files = [f"--{name}={folder / at}" for name, at in FILES.items()]
        self.told = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)  # as systemd is told that it is ready
        self.told.bind(str(folder / "told"))
        self.told.settimeout(PATIENCE_S)
        with (folder / "journal").open("w") as journal:
            self.process = subprocess.Popen(
                [sys.executable, "-c", DAEMON, "daemon", *files],
                env=env | {"LD_PRELOAD": str(clock), "TZ": ZONE, "NOTIFY_SOCKET": str(folder / "told")},
                stderr=journal,
            )
        try:
            self.told.recv(100)
        except TimeoutError:
            raise RuntimeError((folder / "journal").read_text()) from None
        self.client = WireClient(folder / "socket")

    def stop(self) -> int:
        self.client.close()
        self.process.send_signal(signal.SIGTERM)
        status = self.process.wait(PATIENCE_S)
        self.told.close()
        return status


FILES = {"settings": "settings.toml", "log": "log.db", "socket": "socket"}


def week(folder: Path, days: float, speed: float) -> tuple[list[Look], Counter[str], int]:
    """An hourly look at the daemon, how often it told what, and its exit status."""
    from bench.protocol import Abandon, Begin, Notice, Press, Readings, Watch

    feeder = Feeder(["indicator", "travel"], speed)
    daemon = FastDaemon(folder, feeder.paths, speed)
    told, looks, day = Counter[str](), [], 0
    try:
        daemon.client.send(Watch(most=1.0))
        feeder.start()
        while (now := (time.monotonic_ns() - daemon.began) / 1e9 * speed) < days * DAY:
            if now > (day + 0.5) * DAY:
                day += 1
                for request in (Begin("fence-square"), Press(), Abandon()):
                    daemon.client.send(request)
            if now > (len(looks) + 1) * 3600:
                looks.append(look(daemon, folder, told["readings"]))
            message = daemon.client.next(0.5)
            told["readings"] += isinstance(message, Readings)
            if isinstance(message, Notice):
                told[message.code] += 1
        feeder.stop()
    finally:
        status = daemon.stop()
    return looks, told, status


class Kept(NamedTuple):
    """rows: of each table. sound: the file, and dates in order. air: when the shop's air was read, s. jumps: of the
    clock, s, as an event each."""

    rows: dict[str, int]
    sound: bool
    air: list[float]
    jumps: list[float]


def read_log(path: Path) -> Kept:
    with closing(sqlite3.connect(path)) as db:
        names = [
            n for (n,) in db.execute("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")
        ]
        rows = {name: db.execute(f'SELECT count(*) FROM "{name}"').fetchone()[0] for name in names}
        dates = [at for (at,) in db.execute("SELECT wall_s FROM event ORDER BY event_key")]
        air = [at for (at,) in db.execute("SELECT wall_s FROM climate ORDER BY wall_s")]
        told = db.execute("SELECT data_json FROM event WHERE kind = 'clock-jumped'")
        jumps = [abs(json.loads(data)["seconds"]) for (data,) in told]
        sound = db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    return Kept(rows, sound and dates == sorted(dates), air, jumps)


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--days", type=float, default=7.0)
    parser.add_argument("--speed", type=float, default=400.0)
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="sweepgauge-week-", dir="/dev/shm") as name:
        folder = Path(name)
        looks, told, status = week(folder, chosen.days, chosen.speed)
        kept = read_log(folder / "log.db")
        journal = (folder / "journal").read_text().splitlines()
        size = (folder / "log.db").stat().st_size / 2**20
    late = looks[int(WARM * len(looks)) :]
    slopes = [24 * (b.mib - a.mib) / (j - i) for (i, a), (j, b) in combinations(enumerate(late), 2)]
    threads, files = ({getattr(one, name) for one in late} for name in ("threads", "files"))
    lines = [line for line in journal if not any(words in line for words in STALLED)]
    gap = max(after - before for before, after in pairwise(kept.air))
    missed = 1 - len(kept.air) / (chosen.days * DAY / 900)
    kinds = Counter(re.sub(r"[\d.:-]+", "#", line) for line in lines)
    good = [
        say(
            "memory, MiB a day", round(statistics.median(slopes), 2), 1.0, days=chosen.days, mib=looks[-1].mib
        ),
        say("threads, most less least", max(threads) - min(threads), 2),
        say("open files, most less least", max(files) - min(files), 3),
        say("write-ahead file, MiB", round(max(one.wal_mib for one in looks), 2), 16.0),
        say("log, MiB a day", round(size / chosen.days, 3), 2.0, rows=kept.rows),
        say(
            "lines to the journal a day",
            round(len(lines) / chosen.days, 1),
            20.0,
            kinds=kinds.most_common(8),
            of_stalls=len(journal) - len(lines),
        ),
        say(
            "quarters of an hour without the shop's air, share", round(missed, 3), 0.02, longest_s=round(gap)
        ),
        say("largest jump of the clock that was told, s", max(kept.jumps, default=0.0), 600.0, told=told),
        say("log unsound, or dates out of order", not kept.sound, False),
        say("exit status", status, 0),
    ]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())

"""A day of readings through the daemon at speed, checks recorded all the while; one JSON line a figure.

    python tests/benchmarks/soak.py [--readings 1728000]

A day at 20 readings a second is 1.7 million. Memory is looked at once the allocator's pools have found their size: the
median slope of all pairs of looks, so that one jump is none. Threads, open files and the write-ahead file are counted
at each look.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import tempfile
import time
from itertools import combinations
from pathlib import Path
from typing import NamedTuple

from daemon_figures import Daemon, Sled, memory

RATE = 8000.0  # readings a second of both instruments together
LOOKS = 60
WARM = 0.3  # share of the readings after which memory is looked at
SLOPE_MIB, WAL_MIB = 1.0, 16.0  # a day; the file


class Look(NamedTuple):
    readings: int
    mib: float
    threads: int
    files: int
    wal_mib: float


def look(daemon: Daemon, folder: Path, readings: int) -> Look:
    process = Path("/proc") / str(daemon.process.pid)
    wal = max((one.stat().st_size for one in folder.glob("*-wal")), default=0)
    counts = [len(list((process / name).iterdir())) for name in ("task", "fd")]
    return Look(readings, memory(daemon.process.pid), counts[0], counts[1], wal / 2**20)


def soak(readings: int) -> tuple[list[Look], int]:
    """Looks at the daemon, and how many checks were begun."""
    from bench.protocol import Begin, FindingNotice, NoFinding, Press, Readings, Watch

    def begin() -> None:
        daemon.client.send(Begin("fence-square", sweeps=6, lean=False))
        for _ in ("cautions", "set-up"):
            time.sleep(0.3)
            daemon.client.send(Press())

    with tempfile.TemporaryDirectory() as name:
        feeder = Sled(["indicator", "travel"], RATE / 2)
        daemon = Daemon(Path(name), feeder.paths)
        try:
            daemon.client.send(Watch())
            begin()
            feeder.start()
            got, begun, looks = 0, 1, []
            while got < readings:
                message = daemon.client.next(10.0)
                if message is None:
                    raise RuntimeError(f"nothing came after {got} readings")
                if isinstance(message, Readings):
                    got += len(message.values)
                    if got >= len(looks) * readings / LOOKS:
                        looks.append(look(daemon, Path(name), got))
                elif isinstance(message, FindingNotice | NoFinding):
                    begin()
                    begun += 1
            feeder.stop()
            return looks, begun
        finally:
            daemon.stop()


def say(test: str, figure: float, limit: float, **more: object) -> bool:
    good = figure <= limit
    print(json.dumps({"test": test, "figure": figure, "limit": limit, "pass": good, **more}), flush=True)
    return good


def main() -> int:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--readings", type=int, default=1_728_000)
    chosen = parser.parse_args()
    looks, begun = soak(chosen.readings)
    late = looks[int(WARM * len(looks)) :]
    slopes = [(b.mib - a.mib) / (b.readings - a.readings) for a, b in combinations(late, 2)]
    day = statistics.median(slopes) * 1_728_000
    threads, files = ({getattr(one, name) for one in late} for name in ("threads", "files"))
    good = [
        say(
            "memory a day of readings, MiB", round(day, 2), SLOPE_MIB, readings=chosen.readings, checks=begun
        ),
        say("threads, most less least", max(threads) - min(threads), 2),
        say("open files, most less least", max(files) - min(files), 3),
        say("write-ahead file, MiB", round(max(one.wal_mib for one in looks), 2), WAL_MIB),
    ]
    return 0 if all(good) else 1


if __name__ == "__main__":
    sys.exit(main())

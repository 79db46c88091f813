"""The daemon's figures beside a yardstick in the same run; prints one JSON line each.

    python tests/benchmarks/daemon_figures.py [--seconds 5] [--only latency start]

With PYTHONPATH=OLDER, from another folder, it measures the code of another commit.

CPU per reading through the whole daemon (decode, stamp, pair, fan out to one client) beside a bare pyserial
`readline()` + `float()` loop on a pseudo-terminal fed by the same process in the same way; readings a second
without loss; last byte of a sweep to its finding; wire to client; start-up and memory.
"""

from __future__ import annotations

import argparse
import json
import os
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import tty
from itertools import combinations
from pathlib import Path

LINE = b"+0012.345 mm\r\n"


class Feeder:
    """Writes plain lines at a rate to pseudo-terminals, in blocks, as a busy cable would; each cable in its own time."""

    def __init__(self, names: list[str], rate: float) -> None:
        self.masters, self.paths, self.keep = {}, {}, []
        for name in names:
            master, slave = os.openpty()
            tty.setraw(slave)
            self.masters[name], self.paths[name] = master, os.ttyname(slave)
            self.keep.append(slave)
        self.rate, self.sent = rate, 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def start(self) -> None:
        self._thread.start()

    def _run(self) -> None:
        for master in self.masters.values():
            os.write(master, b"\r\n")  # what comes before the first line end after opening is dropped
        began = time.monotonic()
        masters = list(self.masters.values())
        counts = [0] * len(masters)
        while not self._stop.is_set():
            for place, master in enumerate(masters):
                # instruments do not wait for each other: all at once would be one turn of the loop for all
                due = int((time.monotonic() - began) * self.rate - place / len(masters))
                if due <= counts[place]:
                    continue
                view = b"".join(b"+%09.3f mm\r\n" % self.value(place, i) for i in range(counts[place], due))
                while view:
                    view = view[os.write(master, view) :]
                counts[place] = due
            time.sleep(0.004 / len(masters))
        self.sent = sum(counts)

    def value(self, place: int, number: int) -> float:
        return 10 + abs(number % 2000 - 1000) / 1000

    def stop(self) -> int:
        self._stop.set()
        self._thread.join()
        return self.sent


class Sled(Feeder):
    """Indicator and travel of a sled that goes 300 mm out in 2 s, rests 1 s, and comes back, for ever."""

    def value(self, place: int, number: int) -> float:
        at = max(number / self.rate - 2.0, 0.0) % 6.0
        travel = 300 * (min(at, 2) / 2 if at < 3 else 1 - min(at - 3, 2) / 2)
        return travel if place else 5 + travel / 1000 + (number * 7919 % 3 - 1) / 1000


def cpu(pid: int) -> float:
    """CPU seconds of all its threads, from the scheduler (a tick of 10 ms is a tenth of what is measured here)."""
    threads = Path(f"/proc/{pid}/task").iterdir()
    return sum(int((thread / "schedstat").read_text().split()[0]) for thread in threads) / 1e9


def memory(pid: int) -> float:
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmRSS"):
            return int(line.split()[1]) / 1024
    return 0.0


YARDSTICK = """
import sys, serial, time
port = serial.Serial(sys.argv[1], 9600, timeout=1)
n, until = 0, time.monotonic() + float(sys.argv[2])
before = time.process_time()
while time.monotonic() < until:
    line = port.readline()
    if line.strip():
        float(line.split()[0]); n += 1
print(n, time.process_time() - before)
"""


EMPTY = """
import asyncio, os, socket, sys, time
ours, theirs = socket.socketpair()
if os.fork() == 0:
    ours.close()
    while theirs.recv(65536):
        pass
    os._exit(0)
theirs.close()
said = b'{"type":"readings","instrument":"indicator","first":1234,"at":[1234.5678901],"values":[12.345]}\\n'
n = 0

async def main():
    fd = os.open(sys.argv[1], os.O_RDONLY | os.O_NONBLOCK | os.O_NOCTTY)

    def readable():
        global n
        n += os.read(fd, 65536).count(b"\\r")
        ours.send(said)

    asyncio.get_running_loop().add_reader(fd, readable)
    await asyncio.sleep(float(sys.argv[2]))

before = time.process_time()
asyncio.run(main())
print(n, time.process_time() - before)
"""


def yardstick(rate: float, seconds: float, program: str = YARDSTICK) -> float:
    """CPU seconds a reading of the bare loop; or of one on asyncio that only reads a block and sends a message."""
    feeder = Feeder(["indicator"], rate)
    loop = subprocess.Popen(
        [sys.executable, "-c", program, feeder.paths["indicator"], str(seconds)], stdout=subprocess.PIPE
    )
    time.sleep(0.5)
    feeder.start()
    out, _ = loop.communicate()
    feeder.stop()
    count, spent = out.split()
    return float(spent) / int(count)


class Daemon:
    def __init__(self, folder: Path, ports: dict[str, str]) -> None:
        self.folder = folder
        text = "".join(f'[{name}]\nport = "{path}"\n' for name, path in ports.items())
        (folder / "settings.toml").write_text(text)
        began = time.monotonic()
        self.process = subprocess.Popen(
            [
                *(sys.executable, "-m", "bench.cli", "daemon", "--settings", str(folder / "settings.toml")),
                *("--log", str(folder / "log.db"), "--socket", str(folder / "socket")),
            ],
            stderr=subprocess.DEVNULL,
        )
        from bench.protocol.client import NoDaemon, WireClient

        while True:
            try:
                self.client = WireClient(folder / "socket")
                break
            except NoDaemon:
                time.sleep(0.005)
        self.ready = time.monotonic() - began

    def stop(self) -> None:
        self.client.close()
        self.process.send_signal(signal.SIGTERM)
        self.process.wait(10)


def say(test: str, **figures: object) -> None:
    print(json.dumps({"test": test, **figures}), flush=True)


SCREEN = 10.0  # messages a second that a screen asks for; one that asks for each reading gets it as it comes


def through(
    names: list[str], rate: float, seconds: float, most: float | None = None
) -> tuple[float, int, int, float]:
    """CPU a reading, readings sent and received by one client, memory in MiB. most: as in `Watch`."""
    from bench.protocol import Readings, Watch

    with tempfile.TemporaryDirectory() as name:
        feeder = Feeder(names, rate)
        daemon = Daemon(Path(name), feeder.paths)
        try:
            time.sleep(1.5)  # numpy comes in after ready; it is not a reading's cost
            daemon.client.send(Watch(most=most))
            daemon.client.next(1.0)
            before = cpu(daemon.process.pid)
            feeder.start()
            got, until = 0, time.monotonic() + seconds
            while time.monotonic() < until:
                message = daemon.client.next(0.1)
                if isinstance(message, Readings):
                    got += len(message.values)
            sent = feeder.stop()
            quiet = time.monotonic() + 0.5
            while time.monotonic() < quiet:
                message = daemon.client.next(0.1)
                if isinstance(message, Readings):
                    got += len(message.values)
            spent = cpu(daemon.process.pid) - before
            return spent / max(1, sent), sent, got, memory(daemon.process.pid)
        finally:
            daemon.stop()


def in_check(rate: float, seconds: float) -> float:
    """CPU a reading of both instruments together while sweeps of a check are recorded."""
    from bench.protocol import Begin, Press, Readings, Watch

    with tempfile.TemporaryDirectory() as name:
        feeder = Sled(["indicator", "travel"], rate / 2)
        daemon = Daemon(Path(name), feeder.paths)
        try:
            time.sleep(1.5)
            daemon.client.send(Watch())
            daemon.client.send(Begin("fence-square", sweeps=50, lean=False))
            for _ in ("cautions", "set-up"):
                time.sleep(0.3)
                daemon.client.send(Press())
            feeder.start()
            got, spent, began = 0, cpu(daemon.process.pid), time.monotonic()
            while time.monotonic() < began + seconds:
                message = daemon.client.next(0.1)
                if isinstance(message, Readings):
                    got += len(message.values)
            spent = cpu(daemon.process.pid) - spent
            feeder.stop()
            return spent / max(1, got)
        finally:
            daemon.stop()


FILLED = 2_500_000  # readings after which the allocator's pools have found their size


def flat(million: int) -> tuple[float, int, float]:
    """Memory over a million readings, after so many that nothing fills up any more: KiB for each 100,000, by a line
    through what stands after each; readings; and KiB that it had grown until then."""
    from bench.protocol import Readings, Watch

    with tempfile.TemporaryDirectory() as name:
        feeder = Feeder(["indicator"], 16000.0)
        daemon = Daemon(Path(name), feeder.paths)
        try:
            daemon.client.send(Watch())
            daemon.client.next(1.0)
            feeder.start()
            got, at = 0, []
            while got < FILLED + million:
                message = daemon.client.next(5.0)
                if message is None:
                    break
                if isinstance(message, Readings):
                    last, got = got, got + len(message.values)
                    if got // 100_000 > last // 100_000:
                        at.append((got / 100_000, 1024 * memory(daemon.process.pid)))
            feeder.stop()
            before, after = (
                [y for x, y in at if x < FILLED / 1e5],
                [(x, y) for x, y in at if x >= FILLED / 1e5],
            )
            # the median of all pairs: one jump of the allocator is no slope
            slope = statistics.median((y2 - y1) / (x2 - x1) for (x1, y1), (x2, y2) in combinations(after, 2))
            return slope, got, before[-1] - before[0]
        finally:
            daemon.stop()


def latency(seconds: float) -> tuple[float, float, int, int]:
    """Wire to client at 100 readings a second: median and 99th percentile, s; lines sent, and those whose reading
    did not come within `PATIENCE`. Raises RuntimeError where none comes."""
    from bench.protocol import Watch

    with tempfile.TemporaryDirectory() as name:
        feeder = Feeder(["indicator"], 1.0)
        daemon = Daemon(Path(name), feeder.paths)
        try:
            daemon.client.send(Watch())
            until = time.monotonic() + 30.0
            while not reading(
                daemon, 0.5
            ):  # what is sent before the port is open, or before a line end, is dropped
                if time.monotonic() > until:
                    raise RuntimeError("the daemon reads none of the lines that are sent to it")
                os.write(feeder.masters["indicator"], b"\r\n" + LINE)
            time.sleep(1.0)  # numpy comes in after ready
            late, lost = [], 0
            for _ in range(int(seconds * 100)):
                began = time.monotonic()
                os.write(feeder.masters["indicator"], LINE)
                if not reading(daemon, PATIENCE):
                    lost += 1
                    continue
                late.append(time.monotonic() - began)
                time.sleep(max(0.0, 0.01 - late[-1]))
            late.sort()
            return statistics.median(late), late[int(0.99 * len(late))], len(late) + lost, lost
        finally:
            daemon.stop()


PATIENCE = 2.0  # s after which a line's reading counts as lost


def reading(daemon: Daemon, patience: float) -> bool:
    """Whether a reading comes within so many seconds."""
    from bench.protocol import Readings

    until = time.monotonic() + patience
    while (left := until - time.monotonic()) > 0:
        if isinstance(daemon.client.next(left), Readings):
            return True
    return False


def work_out() -> float:
    """Six sweeps of 2,000 readings to a finding, s; the median of five."""
    import random

    from bench.checks.model import Evidence, Trace
    from bench.procedure.conclusion import conclude

    chance = random.Random(1)
    traces = []
    for placement, slope in (("handle-left", 3e-4), ("handle-right", -3e-4)):
        for number in range(3):
            travel = [i * 0.11 for i in range(2000)]
            reading = [slope * s + round(chance.gauss(0, 0.001), 3) for s in travel]
            traces.append(Trace(placement, travel, reading, sweep=str(number)))
    evidence = Evidence("fence-square", traces)
    conclude(evidence, id="", at="")
    times = []
    for _ in range(5):
        began = time.perf_counter()
        conclude(evidence, id="", at="")
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def say_cpu(seconds: float) -> None:
    for rate in (100.0, 1000.0):
        bare = yardstick(rate, seconds)
        empty = yardstick(rate, seconds, EMPTY)
        each, sent, got, _ = through(["indicator"], rate, seconds)
        screen, *_ = through(["indicator"], rate, max(seconds, 10.0), SCREEN)
        check = in_check(rate, max(seconds, 12.0))
        say(
            "CPU a reading beside readline() + float()",
            rate=rate,
            bare_us=round(bare * 1e6, 1),
            asyncio_alone_us=round(empty * 1e6, 1),
            daemon_us=round(each * 1e6, 1),
            ratio=round(each / bare, 3),
            at_rest_ratio=round(screen / bare, 3),
            in_check_ratio=round(check / bare, 3),
            limit=0.5,
            sent=sent,
            got=got,
        )


def say_full_line(seconds: float) -> None:
    each, sent, got, _ = through(["indicator"], 8000.0, seconds)
    say(
        "8,000 readings a second",
        sent=sent,
        got=got,
        lost=sent - got,
        limit=0,
        cpu_us=round(each * 1e6, 1),
    )


def say_three_ports(seconds: float) -> None:
    names = ["indicator", "travel", "caliper"]
    loops = 3 * yardstick(67.0, seconds) * 67.0
    for way, most in (("a screen looks on", SCREEN), ("a client wants each as it comes", None)):
        each, sent, got, mib = through(names, 67.0, max(seconds, 10.0), most)
        say(
            f"what four instruments at 50 a second send, on three ports; {way}",
            core_percent=round(each * 201 * 100, 2),
            limit=3.0,
            bare_loops_percent=round(loops * 100, 2),
            memory_mib=round(mib, 1),
            lost=sent - got,
        )


def say_memory(readings: int) -> None:
    slope, got, grown = flat(readings)
    say(
        "memory over so many readings",
        readings=got,
        grown_kib=round(grown),
        then_kib_per_100_000=round(slope, 2),
        limit=16,
    )


def say_latency(seconds: float) -> None:
    median, worst, sent, lost = latency(seconds)
    say(
        "wire to client",
        median_ms=round(median * 1e3, 2),
        p99_ms=round(worst * 1e3, 2),
        limit_ms=5,
        sent=sent,
        lost=lost,
    )


def say_finding() -> None:
    say("six sweeps of 2,000 readings to a finding", ms=round(work_out() * 1e3, 1), limit_ms=50)


def seconds_of(*command: str) -> float:
    """The median of five runs."""
    times = []
    for _ in range(5):
        began = time.perf_counter()
        subprocess.run([sys.executable, *command], stdout=subprocess.DEVNULL, check=True)
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def say_start() -> None:
    ready = []
    for _ in range(5):
        with tempfile.TemporaryDirectory() as name:
            daemon = Daemon(Path(name), {})
            time.sleep(2.0)
            ready.append(daemon.ready)
            mib = memory(daemon.process.pid)
            daemon.stop()
    say(
        "start to ready",
        s=round(statistics.median(ready), 2),
        limit_s=0.6,
        memory_mib=round(mib, 1),
        limit_mib=60,
    )


def say_commands() -> None:
    with tempfile.TemporaryDirectory() as name:
        daemon = Daemon(Path(name), {})
        bare = round(seconds_of("-c", "pass"), 3)
        for command in (["--help"], ["--version"], ["status", "--json", "--socket", f"{name}/socket"]):
            s = round(seconds_of("-m", "bench.cli", *command), 3)
            say(f"sweepgauge {command[0]}", s=s, bare_python_s=bare, limit_s=0.12)
        daemon.stop()


PARTS = ("cpu", "line", "ports", "memory", "latency", "finding", "start", "commands")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=5.0)
    parser.add_argument(
        "--million", type=int, default=1_000_000, help="readings over which memory is looked at"
    )
    parser.add_argument("--only", nargs="+", choices=PARTS, default=PARTS)
    chosen = parser.parse_args()
    seconds = chosen.seconds
    parts = {
        "cpu": lambda: say_cpu(seconds),
        "line": lambda: say_full_line(seconds),
        "ports": lambda: say_three_ports(seconds),
        "memory": lambda: say_memory(chosen.million),
        "latency": lambda: say_latency(seconds),
        "finding": say_finding,
        "start": say_start,
        "commands": say_commands,
    }
    say("machine", load=[round(load, 2) for load in os.getloadavg()])
    for part in chosen.only:
        parts[part]()


if __name__ == "__main__":
    main()

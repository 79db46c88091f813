"""The screen's figures beside bare Textual in the same run; prints one JSON line each.

    python tests/benchmarks/console_figures.py [--seconds 10]

First true reading on a pseudo-terminal of 80 x 24; CPU and bytes to the terminal live (two instruments at 20
readings a second and a pass being drawn) and still; key to changed cell; another size to the last byte of it;
memory. The daemon is a scripted one in this process, so that only the screen
is measured. CPU seconds stand beside wall time, since a busy machine stretches only the latter; `load` says how busy.
"""

from __future__ import annotations

import argparse
import asyncio
import fcntl
import json
import math
import os
import random
import select
import signal
import statistics
import struct
import subprocess
import sys
import tempfile
import termios
import threading
import time
from pathlib import Path

from bench.protocol import (
    ChecksReply,
    Done,
    GearReply,
    GetChecks,
    GetGear,
    GetStatus,
    InstrumentState,
    Jig,
    PassNotice,
    Points,
    Prompt,
    Readings,
    RunState,
    StatusReply,
    Version,
    Watch,
    decode_request,
    encode,
)

BARE = """
from textual.app import App
from textual.widgets import Static
class Bare(App):
    def compose(self):
        yield Static("BARE")
Bare().run()
"""
PUSH = Prompt(
    phase="sweep", words="Push the sled, evenly, right through; stop; draw back.", ready=True, placement="handle-left",
    gather="sweep", step=1, steps=2, taken=1, wanted=3, side="right", mount="standing", picture="square-handle-left",
)  # fmt: skip


class Scripted(threading.Thread):
    """A daemon that says ten messages a second of two readings each, or as many as the screen asks for."""

    def __init__(self, path: Path, *, live: bool) -> None:
        super().__init__(daemon=True)
        self.path, self.live = path, live
        self.stopped = threading.Event()
        self.ready = threading.Event()
        self.every = 1  # turn in which something is said
        self._writers: list[asyncio.StreamWriter] = []

    def run(self) -> None:
        asyncio.run(self._run())

    async def _run(self) -> None:
        server = await asyncio.start_unix_server(self._serve, self.path)
        self.ready.set()
        draw, turn, began = random.Random(1), 0, time.monotonic()
        while not self.stopped.is_set():
            turn += 1
            await asyncio.sleep(max(0.0, began + turn * 0.1 - time.monotonic()))
            for message in self._turn(turn, draw) if turn % self.every == 0 else ():
                for writer in self._writers:
                    if not writer.is_closing():
                        writer.write(encode(message))
        server.close()

    def _turn(self, turn: int, draw: random.Random) -> list[object]:
        if not self.live:
            return [
                Readings("indicator", 2 * turn, [0.0, 0.05], [2.513, 2.513]),
                Readings("travel", 2 * turn, [0.0, 0.05], [12.25, 12.25]),
            ]
        sweep, place = divmod(turn, 60)
        travel = [place * 4.0, place * 4.0 + 2.0]
        reading = [2.4 + 3e-4 * s + draw.gauss(0, 0.002) for s in travel]
        out: list[object] = [PassNotice(f"s{sweep}", "handle-left", "running")] if place == 0 else []
        return [
            *out,
            Points(f"s{sweep}", travel, reading),
            Readings("indicator", 2 * turn, [0.0, 0.05], reading),
            Readings("travel", 2 * turn, [0.0, 0.05], travel),
        ]

    async def _serve(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        writer.write(encode(Version("scripted")))
        while line := await reader.readline():
            writer.write(encode(self._answer(decode_request(line))))
            if writer not in self._writers:
                self._writers.append(writer)
        self._writers.remove(writer)
        writer.close()

    def _answer(self, request: object) -> object:
        if isinstance(request, Watch) and request.most:
            self.every = max(1, round(10 / request.most))
        if isinstance(request, GetGear):
            return GearReply([Jig("sled")], [], [], [])  # with one it is at rest at home
        if isinstance(request, GetChecks):
            return ChecksReply([])
        if isinstance(request, GetStatus):
            instruments = [
                InstrumentState("indicator", "indicator", "open", "reads", "", 20.0, 0.0, 2.513),
                InstrumentState("travel", "travel", "open", "reads", "", 20.0, 0.0, 12.25),
            ]
            run = RunState("r", "fence-square", "sled", None, PUSH) if self.live else None
            return StatusReply("scripted", "", "recording", instruments, run, [])
        return Done("taken")

    def stop(self) -> None:
        self.stopped.set()
        self.join(3)
        self.path.unlink(missing_ok=True)


class Terminal:
    def __init__(self, args: list[str]) -> None:
        self.master, slave = os.openpty()
        fcntl.ioctl(self.master, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.began = time.monotonic()
        self.process = subprocess.Popen(
            [sys.executable, *args], stdin=slave, stdout=slave, stderr=slave, start_new_session=True,
            env={**os.environ, "TERM": "xterm-256color"}, preexec_fn=lambda: fcntl.ioctl(0, termios.TIOCSCTTY, 0),  # noqa: PLW1509 - one call, no lock
        )  # fmt: skip
        os.close(slave)

    def hear(self, seconds: float, wanted: bytes | None = None) -> tuple[int, bool]:
        """Bytes that came, and whether what was wanted was among them."""
        heard, until = b"", time.monotonic() + seconds
        count = 0
        while time.monotonic() < until:
            if select.select([self.master], [], [], 0.005)[0]:
                try:
                    data = os.read(self.master, 65536)
                except OSError:
                    break
                count += len(data)
                heard = (heard + data)[-65536:]
                if wanted is not None and wanted in heard:
                    return count, True
        return count, wanted is None

    def pids(self) -> list[int]:
        found, pid = [self.process.pid], self.process.pid
        while below := Path(f"/proc/{pid}/task/{pid}/children").read_text().split():
            pid = int(below[0])
            found.append(pid)
        return found

    def end(self) -> None:
        self.process.send_signal(signal.SIGTERM)
        self.hear(2.0)
        try:
            self.process.wait(3)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        os.close(self.master)


def cpu(pids: list[int]) -> float:
    ticks = 0
    for pid in pids:
        fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
        ticks += int(fields[11]) + int(fields[12])
    return ticks / os.sysconf("SC_CLK_TCK")


def work(pids: list[int]) -> tuple[float, int]:
    """s of CPU to the ns, and how often a thread slept and was woken; of threads that are there."""
    used, woken = 0, 0
    for thread in (one for pid in pids for one in Path(f"/proc/{pid}/task").iterdir()):
        used += int((thread / "schedstat").read_text().split()[0])
        woken += int((thread / "status").read_text().split("\nvoluntary_ctxt_switches:")[1].split()[0])
    return used / 1e9, woken


def memory(pids: list[int]) -> float:
    """MiB of both processes, what they share counted once."""
    kib = 0
    for pid in pids:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                kib += int(line.split()[1])
    return kib / 1024


def say(test: str, **figures: object) -> None:
    print(json.dumps({"test": test, **figures, "load": round(os.getloadavg()[0], 1)}), flush=True)


def first_reading(console: list[str], times: int) -> None:
    bare: list[tuple[float, float]] = []  # s on the wall, s of CPU
    ours: list[tuple[float, float]] = []
    for _ in range(times):
        for args, wanted, into in (["-c", BARE], b"BARE", bare), (console, b"mm indicator", ours):
            terminal = Terminal(args)
            if terminal.hear(10.0, wanted)[1]:
                into.append((time.monotonic() - terminal.began, cpu(terminal.pids())))
            terminal.end()
    wall, bare_wall = (statistics.median(one[0] for one in some) for some in (ours, bare))
    used, bare_used = (statistics.median(one[1] for one in some) for some in (ours, bare))
    say(
        "start to first true reading", s=round(wall, 3), bare_textual_s=round(bare_wall, 3),
        cpu_s=round(used, 3), bare_textual_cpu_s=round(bare_used, 3), ratio=round(used / bare_used, 2),
        limit_s=0.6, limit_ratio=1.5, **{"pass": wall <= 0.6 or used / bare_used <= 1.5},
    )  # fmt: skip


def at_work(args: list[str], shows: bytes, seconds: float) -> dict[str, float]:
    """The program once it shows that: its CPU, its wakeups, its bytes, its memory."""
    terminal = Terminal(args)
    terminal.hear(10.0, shows)
    terminal.hear(3.0)
    pids = terminal.pids()
    (used, woken), began = work(pids), time.monotonic()
    count, _ = terminal.hear(seconds)
    passed, (used_now, woken_now) = time.monotonic() - began, work(pids)
    out = {
        "cpu_percent": round((used_now - used) / passed * 100, 2),
        "wakeups_a_minute": round((woken_now - woken) / passed * 60),
        "kib_a_second": round(count / passed / 1024, 2),
        "memory_mib": round(memory(pids), 1),
    }
    terminal.end()
    return out


def running(console: list[str], seconds: float, name: str, most_cpu: float, most_bytes: float) -> None:
    """Beside bare Textual that shows one word and waits."""
    bare = at_work(["-c", BARE], b"BARE", seconds)
    ours = at_work(console, b"mm indicator", seconds)
    say(
        name, **ours, **{f"bare_textual_{key}": bare[key] for key in ("cpu_percent", "wakeups_a_minute")},
        limit_cpu_percent=most_cpu, limit_kib_a_second=most_bytes, limit_memory_mib=45,
        **{"pass": ours["cpu_percent"] <= most_cpu and ours["kib_a_second"] <= most_bytes},
    )  # fmt: skip


def key_to_cell(console: list[str], presses: int) -> None:
    """`/` opens the list of keys, `.` leaves it; what comes is heard for, beside a press in bare Textual."""
    terminal = Terminal(console)
    terminal.hear(10.0, b"mm indicator")
    terminal.hear(1.5)
    times, before = [], cpu(terminal.pids())
    for turn in range(presses):
        key, wanted = (b"/", b"All keys") if turn % 2 == 0 else (b".", b"mm indicator")
        began = time.monotonic()
        os.write(terminal.master, key)
        if terminal.hear(2.0, wanted)[1]:
            times.append(time.monotonic() - began)
        terminal.hear(0.07)
    times.sort()
    p95 = times[math.ceil(0.95 * len(times)) - 1]
    say(
        "key to cell, live", p50_ms=round(statistics.median(times) * 1e3, 1), p95_ms=round(p95 * 1e3, 1), limit_ms=50,
        presses=len(times),
        cpu_ms_a_press=round((cpu(terminal.pids()) - before) / presses * 1e3, 1),
        **{"pass": len(times) == presses and p95 <= 0.05},
    )  # fmt: skip
    terminal.end()


def resized(console: list[str], turns: int) -> None:
    """From another size to the last byte that follows from it; live, since that is when it matters."""
    terminal = Terminal(console)
    terminal.hear(10.0, b"mm indicator")
    terminal.hear(1.5)
    times, before = [], cpu(terminal.pids())
    for turn in range(turns):
        wide, high = ((160, 48), (40, 15), (24, 80), (80, 24))[turn % 4]
        began = last = time.monotonic()
        fcntl.ioctl(terminal.master, termios.TIOCSWINSZ, struct.pack("HHHH", high, wide, 0, 0))
        while time.monotonic() - last < 0.08:  # live, something comes every 0.1 s
            if terminal.hear(0.02)[0]:
                last = time.monotonic()
            if last - began > 2.0:
                break
        times.append(last - began)
    times.sort()
    p95 = times[math.ceil(0.95 * turns) - 1]
    say(
        "another size to its last byte, live", p50_ms=round(statistics.median(times) * 1e3, 1),
        p95_ms=round(p95 * 1e3, 1), cpu_ms_a_turn=round((cpu(terminal.pids()) - before) / turns * 1e3, 1),
        limit_ms=200, turns=turns, **{"pass": p95 <= 0.2},
    )  # fmt: skip
    terminal.end()


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=10.0)
    parser.add_argument("--starts", type=int, default=7)
    parser.add_argument("--turns", type=int, default=40, help="of the window")
    given = parser.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "socket"
        console = ["-m", "bench.cli", "console", "--look", "shop", "--socket", str(path)]
        still = Scripted(path, live=False)
        still.start()
        still.ready.wait(5)
        first_reading(console, given.starts)
        running(console, given.seconds, "still", 0.5, 0.0)
        still.stop()
        live = Scripted(path, live=True)
        live.start()
        live.ready.wait(5)
        running(console, given.seconds, "live at 20 readings a second, a pass being drawn", 12.0, 35.0)
        key_to_cell(console, 100)
        resized(console, given.turns)
        live.stop()


if __name__ == "__main__":
    main()

"""What the log's tests share: one life of a writer, and things worth recording."""

from __future__ import annotations

import asyncio
import contextlib
import sqlite3
import sys
import threading
import zlib
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from types import SimpleNamespace

import pytest

from bench.checks.model import Evidence, EvidenceGear, LeanTest, Trace
from bench.daemon.clients import Clients
from bench.daemon.request_handlers import answer_request
from bench.finding import Finding, Move, Quantity
from bench.gear import Indicator, Jig
from bench.log import packing
from bench.log.rows import Commit, Stamp
from bench.log.writer import LogWriter
from bench.protocol import Version
from bench.settings.settings_file import Settings
from hw import timeouts

with pytest.MonkeyPatch.context() as patch:
    # sqlite-utils imports pandas where statsmodels brought it: 1.3 s that no test here needs
    patch.setitem(sys.modules, "pandas", None)
    from sqlite_utils import Database

__all__ = ["Database"]

LOGS = Path(__file__).parents[3] / "fixtures" / "logs"

GEAR = EvidenceGear(
    indicator=Indicator(resolution=0.001), jig=Jig("big-sled", pivot_to_blade=250.0), leaves=(0.05, 0.1)
)


HANG_S = 60.0  # s that a busy machine may take to write what a test waits for


@pytest.fixture(autouse=True)
def patient(monkeypatch: pytest.MonkeyPatch) -> None:
    """A writer that is closed or flushed is given the time it takes; a test of giving up sets its own."""
    monkeypatch.setattr(timeouts, "LOG_CLOSE_S", HANG_S)
    monkeypatch.setattr(LogWriter.flush, "__defaults__", (HANG_S,))


class Clock:
    """A machine's clocks, moved by hand."""

    def __init__(
        self, monotonic_s: float = 100.0, wall_s: float = 1_800_000_000.0, synced: bool = True
    ) -> None:
        self.monotonic_s, self.wall_s, self.synced = monotonic_s, wall_s, synced

    def __call__(self) -> Stamp:
        self.monotonic_s += 0.001
        self.wall_s += 0.001
        return Stamp(round(self.monotonic_s * 1e9), self.wall_s, self.synced)


class Life:
    """One life of a writer, and what it told."""

    def __init__(self, path: Path, boot_id: str = "boot-a", clock: Callable[[], Stamp] | None = None) -> None:
        self.saved: list[Commit] = []
        self.troubles: list[str | None] = []
        self._told = threading.Condition()  # by the writer's own thread
        self.writer = LogWriter.open(
            path,
            boot_id=boot_id,
            program="test 1",
            on_saved=partial(self._tell, self.saved),
            on_trouble=partial(self._tell, self.troubles),
            clock=clock or Clock(),
        )

    def _tell(self, where: list, what: object) -> None:
        with self._told:
            where.append(what)
            self._told.notify_all()

    def until(self, true: Callable[[], object]) -> None:
        """Wait until what it tells is so."""
        with self._told:
            assert self._told.wait_for(true, HANG_S), (self.saved[-3:], self.troubles)

    def begin(self, run: str = "run-1", kind: str = "fence-square", **more: object) -> int:
        named = {
            "jig": "big-sled",
            "saw": None,
            "options": {"sweeps": 3, "radius": 90.5},
            "gear": GEAR,
        } | more
        return self.writer.begin_check(run, kind, **named)

    def sweep(
        self, sweep: str, run: str = "run-1", placement: str = "handle-right", count: int = 50
    ) -> Trace:
        trace = Trace(
            placement,
            [4.1 * n + 0.003 * (n % 7) for n in range(count)],
            [(n * 7 % 11) / 1000 for n in range(count)],
            True,
            sweep,
            "1",
            None,
            [0.02 * n for n in range(count)],
        )
        self.writer.start_sweep(sweep, run, placement)
        raw = b"".join(b"%+09.4f, MM\r\n" % value for value in trace.reading)
        half = len(raw) // 2
        self.writer.queue.put_block(
            sweep, "indicator", raw[:half], [20_000_000 * n for n in range(count // 2)]
        )
        self.writer.queue.put_block(
            sweep, "indicator", raw[half:], [20_000_000 * n for n in range(count // 2, count)]
        )
        self.writer.end_sweep(sweep, "whole", trace=trace)
        return trace

    def whole_check(
        self, run: str, sweeps: int = 3, count: int = 50, **more: object
    ) -> tuple[Finding, Evidence]:
        dated = {key: more.pop(key) for key in ("at",) if key in more}
        self.begin(run, **more)
        traces = [self.sweep(f"{run}-s{n}", run, count=count) for n in range(sweeps)]
        finding = found(f"{run}-f", **dated, **{key: more[key] for key in ("jig",) if key in more})
        evidence = Evidence(
            "fence-square", traces, {"sweeps": 3}, GEAR, leans=[LeanTest("handle-right", -0.01, 0.02)]
        )
        self.writer.finding(run, finding, evidence)
        return finding, evidence


def found(name: str, jig: str | None = "big-sled", at: str = "2026-01-01T10:00:00+00:00") -> Finding:
    quantity = Quantity("fence", 0.0003, "rad", 0.00002, 11.3, 0.000167, "outside", "left end too near you")
    return Finding(
        id=name,
        check="fence-square",
        jig=jig,
        at=at,
        quantities=[quantity],
        verdict="outside",
        profile=[(0.0, 0.1), (50.0, 0.2)],
    )


MOVE = Move("left", "away", 0.15, 0.011, [0.15], 0.0, "Move the left end away by 0.15 mm.")


def load_raw_readings(db: sqlite3.Connection, sweep: str) -> dict[str, tuple[bytes, list[int]]]:
    """By instrument: bytes of the wire and arrivals (monotonic us) of an ended sweep."""
    rows = db.execute(
        "SELECT instrument, raw_zlib, arrival_us_packed FROM sweep JOIN reading USING (sweep_key) WHERE sweep = ?",
        (sweep,),
    )
    return {name: (zlib.decompress(raw), packing.unpack_integers(times)) for name, raw, times in rows}


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "log.sqlite"


@pytest.fixture
def live(path: Path) -> Iterator[Callable[..., Life]]:
    """Begins lives on the test's log and closes whatever was left open."""
    lives: list[Life] = []

    def begin(*args: object, at: Path = path, **kwargs: object) -> Life:
        lives.append(Life(at, *args, **kwargs))
        return lives[-1]

    yield begin
    for life in lives:
        life.writer.close()


@pytest.fixture
def make() -> SimpleNamespace:
    return SimpleNamespace(found=found, gear=GEAR, move=MOVE, Clock=Clock)


async def serve_log(
    path: Path, at: Path, writer: LogWriter | None, begun: Callable[[], None] = lambda: None
) -> None:
    """What answers for the log in the daemon, without its instruments; until it is cancelled."""
    shared = SimpleNamespace(paths=SimpleNamespace(log=path), log=writer, last=[], settings=Settings())
    answer = partial(answer_request, SimpleNamespace(shared=shared))
    clients = Clients(at, lambda client: client.send(Version("test", log=str(path))), answer)
    await clients.start()
    begun()
    try:
        await asyncio.Event().wait()
    finally:
        await clients.stop()


@pytest.fixture
def serving(tmp_path: Path) -> Iterator[Callable[..., Path]]:
    """Begins to answer for a log; gives the socket."""
    loop, begun, tasks = asyncio.new_event_loop(), threading.Event(), []

    def start(path: Path, writer: LogWriter | None = None) -> Path:
        tasks.append(loop.create_task(serve_log(path, tmp_path / "socket", writer, begun.set)))
        thread.start()
        assert begun.wait(HANG_S)
        return tmp_path / "socket"

    def run() -> None:
        with contextlib.suppress(asyncio.CancelledError):
            loop.run_until_complete(tasks[0])

    thread = threading.Thread(target=run)
    yield start
    if tasks:
        loop.call_soon_threadsafe(tasks[0].cancel)
        thread.join(10)
    loop.close()

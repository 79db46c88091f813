"""How large the log grows, as a plain count of bytes; and that opening it does not slow down with its age."""

from __future__ import annotations

import json
import random
import sqlite3
import time
from contextlib import closing

import pytest

from bench.checks.model import Evidence, Trace
from bench.log import schema
from bench.log.committer import Committer
from bench.log.findings import list_findings
from bench.log.log_file import COMMIT_PAGES_BYTES, COMMIT_TIMES
from bench.log.read_only import open_read
from bench.log.schema import PAGE_BYTES
from bench.log.write_queue import WriteQueue


def record(life, make, runs: int, readings: int = 400, seed: int = 1, first: int = 0) -> int:
    """Checks of six sweeps as two instruments at 50 readings a second give them: noise, uneven push, jitter."""
    chance = random.Random(seed)
    writer = life.writer
    for run in range(first, first + runs):
        name = f"run-{run}"
        life.begin(name)
        traces = []
        for number in range(6):
            sweep = f"{name}-{number}"
            writer.start_sweep(sweep, name, "handle-left" if number % 2 else "handle-right")
            travel = reading = 0.0
            travels, values, arrivals = [], [], []
            for n in range(readings):
                travel += 0.6 * chance.uniform(0.5, 1.5)
                reading = 2.0 + 0.0003 * travel + chance.gauss(0.0, 0.002)
                travels.append(round(travel, 6))
                values.append(round(reading, 3))
                arrivals.append(int(n * 20e6 + chance.gauss(0.0, 3e5)))
            for block in range(0, readings, 5):
                part = slice(block, block + 5)
                for instrument, numbers in (("indicator", values[part]), ("travel", travels[part])):
                    raw = b"".join(b"%+09.4f, MM\r\n" % value for value in numbers)
                    writer.queue.put_block(sweep, instrument, raw, arrivals[part])
            traces.append(
                Trace("handle-right", travels, values, True, sweep, at=[at / 1e9 for at in arrivals])
            )
            writer.end_sweep(sweep, "whole", trace=traces[-1])
        writer.finding(name, make.found(f"{name}-f"), Evidence("fence-square", traces, {}, make.gear))
        writer.flush()
    return 2 * 6 * runs * readings  # readings of both instruments


def test_bytes_a_reading(live, path, make) -> None:
    life = live()
    record(life, make, 1)  # the empty tables are not the readings' fault
    life.writer.close()
    before = path.stat().st_size
    life = live("boot-b")
    readings = record(life, make, 2, first=1, seed=2)
    life.writer.close()
    figure = (path.stat().st_size - before) / readings
    with closing(sqlite3.connect(path)) as db:
        raw = db.execute("SELECT sum(length(raw_zlib) + length(arrival_us_packed)) FROM reading").fetchone()[
            0
        ]
        count = db.execute("SELECT sum(readings) FROM reading").fetchone()[0]
    detail = {"file": round(figure, 2), "raw_and_times": round(raw / count, 2)}
    print(json.dumps({"test": "log bytes a reading", "figure": detail, "limit": 20, "pass": figure <= 20}))
    assert figure <= 20


@pytest.mark.parametrize("page", [PAGE_BYTES, 4096])
def test_a_commit_writes_no_more_than_room_is_kept_for(page, live, make, path, monkeypatch) -> None:
    """On pages of new logs and of those made before: what SQLite adds to the write-ahead file and to the log.

    The writes are put together as a slow disk may find them: all, some, few or one.
    """
    commit, batch_of_all, committed = Committer._commit, WriteQueue.batch, []
    chance = random.Random(page)

    def some(self):
        batch = batch_of_all(self)
        return batch[: chance.choice([len(batch), chance.randint(1, 8), chance.randint(1, len(batch) or 1)])]

    def measured(self, batch):
        files = [self.path.with_name(self.path.name + "-wal"), self.path]
        merge = self._file.db.execute
        merge("PRAGMA wal_checkpoint(TRUNCATE)")
        before = [file.stat().st_size for file in files]
        done = commit(self, batch)
        wal = files[0].stat().st_size
        merge("PRAGMA wal_checkpoint(TRUNCATE)")
        most = COMMIT_PAGES_BYTES + COMMIT_TIMES * sum(queued.size for queued in batch)
        committed.append(max(wal - before[0], files[1].stat().st_size - before[1]) / most)
        return done

    monkeypatch.setattr(schema, "PAGE_BYTES", page)
    monkeypatch.setattr(Committer, "_commit", measured)
    monkeypatch.setattr(WriteQueue, "batch", some)
    life = live()
    for seed, readings in enumerate((5, 10, 20, 200, 2000)):
        record(life, make, 1, readings=readings, first=readings, seed=seed)
    with closing(sqlite3.connect(f"{path.as_uri()}?mode=ro", uri=True)) as db:
        assert db.execute("PRAGMA page_size").fetchone() == (page,)
    assert committed and max(committed) <= 1.0


@pytest.mark.slow
@pytest.mark.timeout(1800)
def test_ten_years_of_daily_checks_open_as_fast_as_one_check(live, path, make) -> None:
    """A ratio in one run: nothing at the start may grow with the log."""
    small = path.with_name("small.sqlite")
    life = live(at=small)
    record(life, make, 1)
    life.writer.close()
    life = live()
    readings = record(life, make, 3650, readings=120)
    life.writer.close()
    took = {}
    for name, file in (("small", small), ("old", path)):
        times = []
        for n in range(5):
            began = time.perf_counter()
            life = live(f"look-{n}", at=file)
            times.append(time.perf_counter() - began)
            life.writer.close()
        began = time.perf_counter()
        with open_read(file) as db:
            list_findings(db, last=5)
        took[name] = {"open_s": min(times), "last_findings_s": time.perf_counter() - began}
    took["old"]["bytes"] = path.stat().st_size
    took["old"]["readings"] = readings
    passed = took["old"]["open_s"] <= 0.2
    print(json.dumps({"test": "ten years open", "figure": took, "limit": 0.2, "pass": passed}))
    assert took["old"]["open_s"] < 5 * took["small"]["open_s"] + 0.15

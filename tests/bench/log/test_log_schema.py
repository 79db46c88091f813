"""Changes to the tables are atomic, foreign and newer files are left as they are, everything is described."""

from __future__ import annotations

import gzip
import os
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import closing

import log_page
import pytest

from bench.log import schema
from bench.log.findings import find_finding, list_findings, list_moves
from bench.log.read_only import open_read
from bench.log.rows import LogError, LogNewer, LogUnknown
from bench.log.schema import APPLICATION_ID, CHANGES, SCHEMA_VERSION, migrate
from tests.bench.log.conftest import LOGS, Database


def test_every_table_and_column_is_described(live, path) -> None:
    live().writer.close()
    with closing(Database(path)) as log:
        described = {(row["table_name"], row["column_name"]) for row in log.table("description").rows}
        assert all(row["words"] for row in log.table("description").rows)
        tables = [table for table in log.tables if table.name != "sqlite_sequence"]  # that is SQLite's own
        assert all(table.strict for table in tables)
        columns = {(table.name, column.name) for table in tables for column in table.columns}
        assert described == columns | {(table.name, "") for table in tables}


def test_the_page_says_what_every_table_and_column_means(live, path) -> None:
    """U15: the page beside the tables is that of the real schema."""
    live().writer.close()
    text = log_page.PAGE.read_text("utf-8")
    assert text == log_page.page(), "run: python tests/benchmarks/log_page.py --write"
    with closing(Database(path)) as log:
        tables = [table for table in log.tables if table.name != "sqlite_sequence"]
        assert text.count("## `") == len(tables)
        assert text.count("\n| `") == sum(len(table.columns) for table in tables)


def test_it_is_durable_and_says_whose_it_is(live, path) -> None:
    live()
    with closing(schema.connect(path)) as db:
        assert db.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert db.execute("PRAGMA synchronous").fetchone() == (2,)
        assert db.execute("PRAGMA application_id").fetchone() == (APPLICATION_ID,)
        names = db.execute("SELECT name FROM migration ORDER BY migration_key").fetchall()
    assert names == [("first tables",), *((name,) for name, _ in CHANGES)]


def test_a_failing_change_leaves_the_one_before(path) -> None:
    def next_tables(log: Database) -> None:
        log.table("next_one").create({"x": int}, strict=True)
        log.table("trace").transform(rename={"push": "pushed"})
        log.execute("INSERT INTO nowhere VALUES (1)")

    with closing(schema.connect(path)) as db:
        before = db.execute("SELECT * FROM sqlite_schema").fetchall()
        with pytest.raises(sqlite3.OperationalError, match="nowhere"):
            migrate(db, [*CHANGES, ("next", next_tables)])
        assert db.execute("PRAGMA user_version").fetchone() == (SCHEMA_VERSION,)
        assert db.execute("SELECT count(*) FROM migration").fetchone() == (SCHEMA_VERSION,)
        assert db.execute("SELECT * FROM sqlite_schema").fetchall() == before


def test_changes_run_once_and_in_order(path) -> None:
    ran: list[str] = []
    changes = [(f"change {n}", lambda log, n=n: ran.append(f"change {n}")) for n in range(3)]
    with closing(schema.connect(path)) as db:
        assert migrate(db, [*CHANGES, *changes[:2]]) == ["change 0", "change 1"]
        assert migrate(db, [*CHANGES, *changes]) == ["change 2"]
        assert migrate(db, [*CHANGES, *changes]) == []
        names = db.execute("SELECT name FROM migration ORDER BY migration_key").fetchall()
        assert [name for (name,) in names[SCHEMA_VERSION:]] == ran
    assert ran == ["change 0", "change 1", "change 2"]


def test_a_log_of_the_first_version_stays_readable(path, live) -> None:
    """The fixture was written before the tables moved into `tables.sql`: a new log has them on the same
    pages, as salvage lays a new list of tables over a damaged one."""
    path.write_bytes(gzip.decompress((LOGS / "first_tables.sqlite.gz").read_bytes()))
    with closing(Database(path)) as old, closing(sqlite3.connect(":memory:", isolation_level=None)) as new:
        migrate(new, ())
        assert list(old.execute(LIST_OF_TABLES)) == list(new.execute(LIST_OF_TABLES))
        columns = "SELECT * FROM description"
        assert list(old.execute(columns)) == list(new.execute(columns))
    life = live()
    assert [run.run for run in life.writer.unfinished.runs] == ["run-2"]
    life.whole_check("run-3")
    assert life.writer.close()
    with open_read(path) as db:
        assert [row.finding.id for row in list_findings(db)] == ["run-1-f", "run-3-f"]
        finding, evidence = find_finding(db, "run-1-f")
        assert finding.quantities[0].value == 0.0003
        assert [trace.sweep for trace in evidence.traces] == ["run-1-s0", "run-1-s1", "run-1-s2"]
        assert [move.made for move in list_moves(db)] == [{"how": "leaves", "distance_mm": 0.15}]


LIST_OF_TABLES = "SELECT type, name, rootpage, sql FROM sqlite_schema ORDER BY rowid"

MIGRATOR = r"""
import sys
from pathlib import Path
sys.modules["pandas"] = None  # sqlite-utils would import it
import sqlite_utils
from bench.log import schema
from bench.log.schema import CHANGES, migrate

def many(log):
    for n in range(20):
        log.table(f"extra_{n}").create({"x": int, "y": bytes}, strict=True)
        log.table(f"extra_{n}").insert({"x": 1, "y": bytes(20000)})

db = schema.connect(Path(sys.argv[1]))
print("go", flush=True)
migrate(db, [*CHANGES, ("many", many)])
print("done", flush=True)
sys.stdin.read()
"""


def migrated(path, moment_s: float | None) -> tuple[int, float]:
    """How many tables are there of a change that was killed at that moment (None: when it was done), and
    how long it took."""
    path.unlink(missing_ok=True)
    child = [sys.executable, "-c", MIGRATOR, str(path)]
    with subprocess.Popen(child, stdin=subprocess.PIPE, stdout=subprocess.PIPE) as process:
        assert process.stdout.readline() == b"go\n"
        began = time.perf_counter()
        if moment_s is None:
            assert process.stdout.readline() == b"done\n"
        else:
            time.sleep(moment_s)
        took = time.perf_counter() - began
        process.send_signal(signal.SIGKILL)
    with closing(Database(path)) as log:
        assert log.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        count = sum(name.startswith("extra_") for name in log.table_names())
        version = log.execute("PRAGMA user_version").fetchone()[0]
        assert version == log.table("migration").count == SCHEMA_VERSION + (count > 0)
    return count, took


def kill_changes(path, moments: int) -> list[int]:
    """Tables that were there after kills at evenly spread moments of a change."""
    whole, took = migrated(path, None)
    assert whole == 20
    return [migrated(path, 1.1 * took * moment / moments)[0] for moment in range(moments)]


@pytest.mark.ci
def test_a_killed_change_is_old_or_new_never_between(path) -> None:
    assert set(kill_changes(path, 2)) <= {0, 20}


@pytest.mark.slow
@pytest.mark.timeout(600)
def test_a_change_killed_at_fifty_moments(path) -> None:
    seen = kill_changes(path, 50)
    print({"change killed": len(seen), "old": seen.count(0), "new": seen.count(20)})
    assert set(seen) == {0, 20}


def everything_in(folder) -> dict[str, bytes]:
    return {name: (folder / name).read_bytes() for name in os.listdir(folder) if not name.endswith(".lock")}


def test_a_newer_log_is_refused_with_its_bytes_unchanged(path, live) -> None:
    life = live()
    life.whole_check("run-1")
    life.writer.close()
    with closing(sqlite3.connect(path)) as db:
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
    before = everything_in(path.parent)
    for _ in range(2):
        with pytest.raises(LogNewer, match="newer program"):
            live()
        with pytest.raises(LogNewer, match="newer program"), open_read(path):
            pass
    assert everything_in(path.parent) == before


def test_a_newer_log_is_seen_even_if_only_its_write_ahead_log_says_so(path, live, tmp_path_factory) -> None:
    """Killed before a checkpoint, the newer program's change stands in the -wal file alone."""
    life = live()
    life.whole_check("run-1")
    life.writer.close()
    elsewhere = tmp_path_factory.mktemp("killed") / path.name
    with closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA wal_autocheckpoint = 0")
        db.execute(f"PRAGMA user_version = {SCHEMA_VERSION + 1}")
        for suffix in ("", "-wal"):
            source = path.with_name(path.name + suffix)
            elsewhere.with_name(elsewhere.name + suffix).write_bytes(source.read_bytes())
    before = everything_in(elsewhere.parent)
    with pytest.raises(LogNewer, match="newer program"):
        live(at=elsewhere)
    assert everything_in(elsewhere.parent) == before


def test_somebody_elses_database_is_left_alone(path, live) -> None:
    with closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE recipes (x)")
        db.execute("PRAGMA user_version = 7")
    before = everything_in(path.parent)
    with pytest.raises(LogUnknown, match="some other program"):
        live()
    assert everything_in(path.parent) == before


def test_an_empty_file_becomes_a_log(path, live) -> None:
    path.touch()
    life = live()
    life.whole_check("run-1")
    assert life.writer.close()
    assert life.writer.unfinished.words == []


def test_no_file_no_log(path) -> None:
    with pytest.raises(LogError, match="there is no log at"), open_read(path):
        pass


def test_the_climate_is_salvaged_with_the_rest(live, path) -> None:
    """Where the list of tables can be read; where that is damaged too, the table is lost and nothing else."""
    from bench.log import salvage

    life = live()
    life.whole_check("run-1")
    for number in range(5):
        life.writer.climate("sht3x", 20.0 + number, 0.5)
    assert life.writer.close()
    salvage.set_aside(path)
    with open_read(path) as db:
        assert db.execute("SELECT count(*), max(temperature_c) FROM climate").fetchone() == (5, 24.0)
        assert len(list_findings(db)) == 1
    page = bytearray(path.read_bytes())
    page[100:1000] = bytes(900)  # of the list of tables
    path.write_bytes(page)
    salvage.set_aside(path)
    with open_read(path) as db:
        assert db.execute("SELECT count(*) FROM climate").fetchone() == (0,)
        assert len(list_findings(db)) == 1
